"""Beside the film: the figures of a shot, why it is doubted, and what a person decides."""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial

from nicegui import ui

from tracker.app import parts
from tracker.app.shots.desk import Desk
from tracker.records import Shot
from tracker.report.answer_words import FIGURES
from tracker.report.rounding import with_uncertainty
from tracker.session import StatedEnds, Verdict, length_m

APEX = ("apex", "apex_m", "apex_u_m", "m")

TAPED = {"along": "Along", "across": "Across, to the left", "u": "Give or take"}
"""Fields of a taped landing, each with its label."""


@dataclass
class Panel:
    """The panel as a tab shows it.

    Attributes
    ----------
    desk : Desk
    on_mode : callable
        Called with what is to be picked in the film.
    on_neighbour : callable
        Called with how many shots on to go.
    """

    desk: Desk
    on_mode: Callable[[str], object]
    on_neighbour: Callable[[int], object]
    _reason: str = ""
    _typed: dict[str, str] = field(default_factory=lambda: {"along": "", "across": "0", "u": "0.1"})
    _entry: ui.element | None = None
    _setup: ui.element | None = None
    _put: tuple[object, ...] = ()

    def figures(self) -> None:
        """Put the figures, why the shot is doubted, and what was decided."""
        shot, candidate = self.desk.shot, self.desk.candidate
        if candidate is not None:
            parts.heading(f"Candidate at {candidate.release_s:.2f} s")
            parts.sentence(f"Not a shot, since: {candidate.reason}")
            return
        if shot is None:
            parts.sentence("Choose a shot, or add one that was missed.", "lead")
            return
        row = shot.shot
        parts.heading(f"Shot {row.shot}, {row.setup}")
        said = [_figure(row, figure) for figure in (*FIGURES, APEX)]
        words = "; ".join(said)
        parts.sentence(f"{words[:1].upper()}{words[1:]}.", "shots-figures")
        if row.reason:
            parts.sentence(row.reason, "doubt" if row.quality != "good" else "")
        about = self.desk.decision()
        if about is not None:
            parts.sentence(f"Decided: {about.words}.")
        if self.desk.answer:
            parts.sentence(self.desk.answer, "good")

    def steps(self) -> None:
        """Put what goes on to another shot, whichever is chosen."""
        with parts.group("row"):
            parts.button("Shot before", partial(self.on_neighbour, -1), key="ArrowUp")
            parts.button("Next shot", partial(self.on_neighbour, 1), key="ArrowDown")
            parts.button("Add a missed shot", lambda: self.on_mode("add"), key="n")

    def show_actions(self, place: ui.element) -> None:
        """Show what a person can do with the chosen shot or candidate; what stays is not put anew.

        A reason that is being typed stays so, and so does the field that has the keyboard.
        """
        shot, session = self.desk.shot, self.desk.view.look.session
        setups = () if session is None else tuple(setup.name for setup in session.setups)
        decided = self.desk.decision() is not None
        wanted = (shot is None, self.desk.candidate is None, decided, setups)
        if wanted != self._put:
            self._put, self._entry, self._setup = wanted, None, None
            place.clear()
            with place:
                self.actions()
        elif self._setup is not None and shot is not None:
            self._setup.props["value"] = shot.shot.setup
            self._setup.update()

    def actions(self) -> None:
        """Put what a person can do with the chosen shot or candidate."""
        if self.desk.candidate is not None:
            parts.button("Take it as a shot", self.take, main=True, key="a")
        if self.desk.shot is None:
            return
        with parts.group("shots-decide"):
            self._judging()
            with parts.group("row"):
                parts.button("Move the release", lambda: self.on_mode("release"), key="s")
                parts.button("Move the landing", lambda: self.on_mode("landing"), key="l")
                if self.desk.decision() is not None:
                    parts.button("Take back the decision", self.take_back, key="t")
            self._setups()
            self._taped()

    def _judging(self) -> None:
        with ui.element("label").classes("field"):
            parts.text("span", "Reason", "label")
            self._entry = ui.element("input")
            self._entry.props.update(
                {"type": "text", "value": self._reason, "autocomplete": "off", "id": "reason"}
            )
            self._entry.on("input", js_handler=parts.KEPT)
            self._entry.on("input", self._typing, js_handler="(e) => emit(e.target.value)")
        with parts.group("row"):
            parts.button("Accept", lambda: self.judge(Verdict.ACCEPT), key="a")
            parts.button("Reject", lambda: self.judge(Verdict.REJECT), key="r")

    def _typing(self, event: object) -> None:
        self._reason = str(getattr(event, "args", ""))

    def _setups(self) -> None:
        session, shot = self.desk.view.look.session, self.desk.shot
        if session is None or shot is None or len(session.setups) < 2:
            return
        names = [(setup.name, setup.name) for setup in session.setups]

        async def moved(name: str) -> None:
            await self.desk.decide(f"moved to {name}", setup=name)

        self._setup = parts.choice("Setup", names, shot.shot.setup, moved)

    def _taped(self) -> None:
        """Put the landing as somebody taped it."""
        with parts.fold("The landing was taped on the field"):
            with parts.group("row"):
                for name, label in TAPED.items():
                    parts.field(label, self._typed[name], partial(self._type, name), "m")
            parts.button("Use this landing", self.use_taped)

    def _type(self, name: str, text: str) -> None:
        self._typed[name] = text

    # What the buttons and keys do ---------------------------------------------------------------

    async def judge(self, verdict: Verdict) -> None:
        """Reject or accept the chosen shot for the reason typed, or take the candidate."""
        if self.desk.candidate is not None:
            if verdict is Verdict.ACCEPT:
                await self.take()
            return
        if self.desk.shot is None:
            return
        if not self._reason.strip():
            word = "rejected" if verdict is Verdict.REJECT else "accepted"
            self.desk.view.say(f"Say first why the shot is {word}, then press the key again.")
            ui.run_javascript('document.getElementById("reason")?.focus()')
            return
        if not await self.desk.judge(verdict, self._reason.strip()):
            # It stands there to be used again.
            return
        self._reason = ""
        if self._entry is not None:
            self._entry.props["value"] = ""
            self._entry.update()

    async def take_back(self) -> None:
        """Take back the decision about the chosen shot."""
        await self.desk.take_back()

    async def take(self) -> None:
        """Take the candidate that is looked at."""
        await self.desk.take()

    async def use_taped(self) -> None:
        """Use the taped landing."""
        from calibration.errors import InputError

        try:
            along, across, u = (length_m(self._typed[name]) for name in TAPED)
        except InputError as error:
            self.desk.view.complain(error.sentences())
            return
        ends = StatedEnds(landing_m=(along, across), landing_u_m=u)
        await self.desk.decide("landing as taped", ends=ends)


def _figure(row: Shot, figure: tuple[str, str, str, str]) -> str:
    name, column, u_column, unit = figure
    value = with_uncertainty(getattr(row, column), getattr(row, u_column))
    return f"{name} {value}{'' if unit == '°' else ' '}{unit}"
