"""Planning a field: the picture from above, what it gives, and a planned session kept of it."""

from dataclasses import replace
from functools import partial
from pathlib import Path

from nicegui import background_tasks

from calibration.errors import InputError
from tracker.app import parts
from tracker.app.before.plan import CAMERA, MovedThing, PlanPicture, plan_state
from tracker.app.view import View
from tracker.app.workspace import in_thread
from tracker.session import MarkerEntry, Session, length_m
from tracker.workflow.field_edits import next_to
from tracker.workflow.plan_session import field_changes, is_planned, save_plan
from tracker.workflow.planned_field import (
    PlanAnswer,
    PlannedField,
    plan_answer,
    planned_field,
    replaced,
)

AXES = ("along", "across", "up")

HELP = (
    "Drag the camera and the markers, or move the one that has the keyboard with the arrow keys: "
    "half a metre, with Shift 0.1 m, with Ctrl 5 m."
)


class Planning:
    """One tab's plan.

    Parameters
    ----------
    view : View
    field : PlannedField
    answer : PlanAnswer
        What the field gives as it is.
    """

    def __init__(self, view: View, field: PlannedField, answer: PlanAnswer) -> None:
        self.view = view
        self.field = field
        self.answer = answer
        self.chosen = CAMERA
        self._asked = 0

    @property
    def source(self) -> Session | None:
        """The session that the plan began with; None for a usual one."""
        session = None if self.view.session is None else self.view.look.session
        return None if session is None or session.bare else session

    @property
    def keeps(self) -> bool:
        """Whether every change is kept in the session: it is planned, not filmed."""
        return self.source is not None and is_planned(self.source)

    def build(self) -> None:
        """Put the elements and show the answer."""
        with parts.group("field-page"):
            with parts.group("field-picture"):
                self.picture = PlanPicture(self._state())
                parts.sentence(HELP, "hint").props["id"] = "plan-help"
                with parts.group("plan-form"):
                    self.choices = parts.group("field-choice")
                    self.form = parts.group("field-metres", label="Place of what is chosen")
                with parts.group("row"):
                    parts.button("Add a marker", self.add)
                    self.away = parts.button("Take this marker away", self.remove)
            with parts.group("field-side"):
                self.words = parts.group("field-answer")
                self.words.props.update({"role": "status", "aria-live": "polite"})
                self._put_keeping()
        self._show_choice()
        self.picture.on_moved(self.moved)
        self.picture.on("choose", lambda event: self.choose(str(event.args)))
        if self.view.session is not None:
            self.view.on_change(self.renewed)
        self._show_form()
        self.show()
        self._think()

    # What is shown ------------------------------------------------------------------------------

    def show(self, serial: int = 0) -> None:
        """Show the field and what it gives."""
        self.picture.show(self._state(), serial)
        self.words.clear()
        with self.words:
            for words in self.answer.faults:
                parts.sentence(words, "fault")
            for number, words in enumerate(self.answer.sentences):
                parts.sentence(words, "" if number else "lead")
            if self.answer.details:
                with parts.fold("What this assumes, and how the ball will be seen"):
                    for words in self.answer.details:
                        parts.sentence(words)
            if self.answer.caution:
                parts.sentence(self.answer.caution, "caution")

    def _state(self) -> dict[str, object]:
        return plan_state(self.field, self.answer, self.chosen)

    def _show_choice(self) -> None:
        options = [("", "Camera"), *((one.name, one.name) for one in self.field.markers)]
        self.choices.clear()
        with self.choices:
            parts.choice("Chosen", options, self.chosen, self.choose)

    def _show_form(self) -> None:
        self.form.clear()
        with self.form:
            for axis, name in enumerate(AXES):
                value = self._place_of(self.chosen)[axis]
                parts.field(name.capitalize(), f"{value:.4g}", partial(self.typed, axis), "m")
        self.away.props["disabled"] = self.chosen == CAMERA
        self.away.update()

    def _put_keeping(self) -> None:
        if self.keeps:
            parts.sentence("This session is planned: every change is kept in it.", "quiet")
            return
        name = f"{self.source.name}, next time" if self.source else "Next evening"
        self.name = parts.field("Name of the plan", name, self._named)
        self._plan_name = name
        parts.button("Keep as a planned session", self.save, main=True)

    def _named(self, text: str) -> None:
        self._plan_name = text

    def _place_of(self, key: str) -> tuple[float, float, float]:
        if key == CAMERA:
            return self.field.position_m
        return next(one.ground_m for one in self.field.markers if one.name == key)

    # What a person does -------------------------------------------------------------------------

    def choose(self, key: str) -> None:
        """Choose the camera or a marker."""
        names = {one.name for one in self.field.markers}
        if key == CAMERA or key in names:
            self.chosen = key
            self.view.settle((), ("place",))
            self.picture.show(self._state())
            self._show_choice()
            self._show_form()

    async def moved(self, moved: MovedThing) -> None:
        """Answer a new place, and keep it once it is final."""
        if moved.key != CAMERA and all(one.name != moved.key for one in self.field.markers):
            return
        up = self._place_of(moved.key)[2]
        await self._put(moved.key, (moved.along_m, moved.across_m, up), moved.serial)
        if moved.final:
            await self._keep(f"{moved.key or 'camera'} moved")

    async def typed(self, axis: int, text: str) -> None:
        """Take a typed coordinate."""
        try:
            value = length_m(text)
        except InputError as error:
            self.view.complain(error.sentences(), about=("place", axis))
            return
        self.view.settle(("place", axis))
        place = list(self._place_of(self.chosen))
        place[axis] = value
        await self._put(self.chosen, (place[0], place[1], place[2]))
        await self._keep(f"{self.chosen or 'camera'}: {AXES[axis]} {value:g} m")

    async def add(self) -> None:
        """Add the usual next marker."""
        marker = next_to(self.field.markers)
        self.chosen = marker.name
        await self._replace(self.field.position_m, (*self.field.markers, marker))
        await self._keep(f"marker {marker.name} added")

    async def remove(self) -> None:
        """Take the chosen marker away."""
        name = self.chosen
        left = tuple(one for one in self.field.markers if one.name != name)
        self.chosen = CAMERA
        await self._replace(self.field.position_m, left)
        await self._keep(f"marker {name} taken away")

    async def save(self) -> None:
        """Keep the plan as a session of its own, and go there."""
        field = self.field
        folder: Path | None = await self.view.attempt(
            save_plan,
            self.view.workspace.home,
            self._plan_name,
            self.source,
            field.position_m,
            field.markers,
        )
        if folder is not None:
            self.view.go("before", self.view.workspace.open(folder))

    async def _put(self, key: str, place: tuple[float, float, float], serial: int = 0) -> None:
        field = self.field
        position = place if key == CAMERA else field.position_m
        markers = tuple(
            replace(one, ground_m=place) if one.name == key else one for one in field.markers
        )
        await self._replace(position, markers, serial)

    async def _replace(
        self,
        position_m: tuple[float, float, float],
        markers: tuple[MarkerEntry, ...],
        serial: int = 0,
    ) -> None:
        self.field = replaced(self.field, position_m, markers)
        asked = self.field
        answer = await in_thread(plan_answer, asked, False)
        if asked is self.field:
            # What takes longer to judge stays until it is judged anew, so that nothing jumps.
            before = self.answer
            kept = (*answer.sentences, *before.sentences[len(answer.sentences) :])
            self.answer = replace(
                answer, sentences=kept, details=before.details, caution=before.caution
            )
        self.show(serial)

    async def _keep(self, what: str) -> None:
        """Write the change into a planned session; judge the whole either way."""
        self._show_choice()
        self._show_form()
        if self.keeps:
            changes = field_changes(self.source, self.field.position_m, self.field.markers)
            await self.view.edit(what, *changes)  # which shows and judges the file anew
        else:
            self._think()

    async def renewed(self) -> None:
        """Show the session's file as it is now, where the plan is kept in it."""
        source = self.source
        if source is None or not self.keeps:
            return
        field = await self.view.attempt(planned_field, source)
        if field is None:
            return
        self.field = field
        if all(one.name != self.chosen for one in field.markers):
            self.chosen = CAMERA
        self.answer = await in_thread(plan_answer, field, False)
        self._show_choice()
        self._show_form()
        self.show()
        self._think()

    # What comes by itself -----------------------------------------------------------------------

    def _think(self) -> None:
        self._asked += 1
        background_tasks.create(self._thought(self._asked))

    async def _thought(self, number: int) -> None:
        asked = self.field
        answer = await in_thread(plan_answer, asked, True)
        if number == self._asked and asked is self.field and not self.words.is_deleted:
            self.answer = answer
            self.show()
