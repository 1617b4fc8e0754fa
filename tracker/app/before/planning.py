"""Planning a field: the picture from above, what it gives, and a planned session kept of it."""

import asyncio
from dataclasses import replace
from functools import partial
from pathlib import Path

from nicegui import background_tasks

from calibration.errors import InputError
from tracker.app import parts
from tracker.app.before.changes import Add, Change, Put, Remove
from tracker.app.before.plan import CAMERA, MovedThing, PlanPicture, plan_state
from tracker.app.view import View
from tracker.app.workspace import in_thread
from tracker.session import Session, length_m
from tracker.workflow.field_edits import next_to
from tracker.workflow.plan_session import field_changes, is_planned, save_plan
from tracker.workflow.planned_field import (
    PlanAnswer,
    PlannedField,
    plan_answer,
    planned_field,
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
        self._kept = field
        self._unkept: list[tuple[str, Change]] = []
        self._shown = CAMERA
        self._keeping = asyncio.Lock()

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
                    with parts.group("field-choice"):
                        self.choice = parts.choice("Chosen", [], self.chosen, self.choose)
                    with parts.group("field-metres", label="Place of what is chosen"):
                        self.metres = [
                            parts.field(name.capitalize(), "", partial(self.typed, axis), "m")
                            for axis, name in enumerate(AXES)
                        ]
                with parts.group("row"):
                    parts.button("Add a marker", self.add)
                    self.away = parts.button("Take this marker away", self.remove)
            with parts.group("field-side"):
                self._put_keeping()
                with parts.group("field-answer") as answer:
                    self.words = parts.Lines()
                    self.more = parts.fold("What this assumes, and how the ball will be seen")
                    with self.more:
                        self.details = parts.Lines()
                    self.caution = parts.Lines()
                answer.props.update({"role": "status", "aria-live": "polite"})
        self.picture.on_moved(self.moved)
        self.picture.on("choose", lambda event: self.choose(str(event.args)))
        if self.view.session is not None:
            self.view.on_change(self.renewed)
        self._show_chosen()
        self.show()
        self._think()

    # What is shown ------------------------------------------------------------------------------

    def show(self, serial: int = 0) -> None:
        """Show the field and what it gives; what stays is not put anew."""
        self.picture.show(self._state(), serial)
        answer = self.answer
        kinds = ("lead", *("" for _ in answer.sentences[1:]))
        faults = ((words, "fault") for words in answer.faults)
        self.words.show((*faults, *zip(answer.sentences, kinds, strict=False)))
        self.details.show((words, "") for words in answer.details)
        parts.show_if(bool(answer.details), self.more)
        self.caution.show([(answer.caution, "caution")])

    def _state(self) -> dict[str, object]:
        return plan_state(self.field, self.answer, self.chosen)

    def _show_chosen(self) -> None:
        """Show which one is chosen and where it is; where it is another, over what was typed."""
        other, self._shown = self.chosen != self._shown, self.chosen
        options = [("", "Camera"), *((one.name, one.name) for one in self.field.markers)]
        parts.renew_choice(self.choice, options, self.chosen)
        for entry, value in zip(self.metres, self._place_of(self.chosen), strict=True):
            entry.rewrite(f"{value:.4g}", entry.props["value"] if other else None)
        self.away.props["disabled"] = self.chosen == CAMERA

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
            self._show_chosen()

    async def moved(self, moved: MovedThing) -> None:
        """Answer a new place, and keep it once it is final."""
        if moved.key != CAMERA and all(one.name != moved.key for one in self.field.markers):
            return
        up = self._place_of(moved.key)[2]
        change = Put(moved.key, (moved.along_m, moved.across_m, up))
        if moved.final:
            await self._change(change, f"{moved.key or 'camera'} moved", moved.serial)
        else:
            self.field = change(self.field)
            await self._answer(moved.serial)

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
        change = Put(self.chosen, (place[0], place[1], place[2]))
        await self._change(change, f"{self.chosen or 'camera'}: {AXES[axis]} {value:g} m")

    async def add(self) -> None:
        """Add the usual next marker."""
        marker = next_to(self.field.markers)
        self.chosen = marker.name
        await self._change(Add(marker), f"marker {marker.name} added")

    async def remove(self) -> None:
        """Take the chosen marker away."""
        name = self.chosen
        self.chosen = CAMERA
        await self._change(Remove(name), f"marker {name} taken away")

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

    async def _change(self, change: Change, what: str, serial: int = 0) -> None:
        """Change the field and answer; keep it in a planned session, else judge the whole."""
        self.field = change(self.field)
        keeps = self.keeps
        if keeps:
            self._unkept.append((what, change))
        self._show_chosen()
        await self._answer(serial)
        if not keeps:
            self._think()
            return
        async with self._keeping:
            # The oldest first, whichever was answered first. From here on the file is the truth:
            # what the change is refused for is shown.
            what, change = self._unkept.pop(0)
            kept = change(self._kept)
            changes = field_changes(self.source, kept.position_m, kept.markers)
            await self.view.edit(what, *changes)  # which shows and judges the file anew

    async def _answer(self, serial: int = 0) -> None:
        """Show what the field gives at once."""
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

    async def renewed(self) -> None:
        """Show the session's file as it is now, where the plan is kept in it."""
        source = self.source
        if source is None or not self.keeps:
            return
        field = await self.view.attempt(planned_field, source)
        if field is None or source is not self.source:
            return
        self._kept = field
        # What a person changed meanwhile is kept next.
        for _, change in self._unkept:
            field = change(field)
        self.field = field
        if all(one.name != self.chosen for one in field.markers):
            self.chosen = CAMERA
        self._show_chosen()
        await self._answer()
        self._think()

    # What comes by itself -----------------------------------------------------------------------

    def _think(self) -> None:
        self._asked += 1
        background_tasks.create(self._thought(self._asked))

    async def _thought(self, number: int) -> None:
        asked = self.field
        answer = await in_thread(plan_answer, asked, True)
        if number == self._asked and asked is self.field and not self.picture.is_deleted:
            self.answer = answer
            self.show()
