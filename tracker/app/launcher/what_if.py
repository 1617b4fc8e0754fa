"""Sliders for what a person can turn, with what to expect there."""

from functools import partial

from nicegui import ui

from calibration.errors import InputError
from tracker.app import parts
from tracker.app.charts import chart
from tracker.app.view import View
from tracker.app.workspace import in_thread
from tracker.comparison.target import GRAINS
from tracker.comparison.what_if import Curve, Outlook
from tracker.report.document.sweep_chart import sweep_chart
from tracker.report.field_words import meaning_of, unit_of
from tracker.report.outlook_words import outlook_sentence
from tracker.session import FieldChange, SetupEntry, number
from tracker.workflow.launcher import Launcher, Turned

CURVE = (
    "The line is expected, the band its 95 % interval; squares are measured means. The dashed line "
    "stands where the slider does."
)

SLIDERS = ("sliders",)
"""What a notice is about that the sliders' answer gives."""


class WhatIf:
    """Sliders of one setup and their answer.

    Parameters
    ----------
    view : View
    launcher : Launcher
    entry : SetupEntry
        The setup, whose tables say enough.
    """

    def __init__(self, view: View, launcher: Launcher, entry: SetupEntry) -> None:
        self._view, self._launcher, self._entry = view, launcher, entry
        self._turned = _turned(launcher, entry)
        self._at = {key: one.present for key, one in self._turned.items()}
        self._along = "wheel.diameter_mm"
        self._sliders: dict[str, tuple[ui.element, parts.Text]] = {}
        self._asked = self._begun = 0
        self._busy = False
        self._name = ""
        self._first: tuple[Outlook, Curve | None] | None = None

    def build(self) -> None:
        """Put sliders, their answer and the chart along one of them."""
        with parts.group("two"):
            with parts.group("stack"):
                for one in self._turned.values():
                    self._slider(one)
                with parts.group("row"):
                    parts.button("Set back", self.set_back, key="0")
                options = [(key, meaning_of(key)) for key in self._turned]
                parts.choice("Chart along", options, self._along, self._chosen)
            with parts.group():
                self._lead = parts.sentence("", "lead")
                self._lead.props["aria-live"] = "polite"
                self._answer = parts.Lines()
        self._drawing = parts.group()
        self._hit()
        self._new_setup()
        if self._first is not None:
            self._show(*self._first)

    def renew(self, launcher: Launcher, entry: SetupEntry) -> bool:
        """Take what the files say now, in place; return whether the same can be turned.

        What a person has turned stays turned.
        """
        turned = _turned(launcher, entry)
        if entry.name != self._entry.name or list(turned) != list(self._turned):
            return False
        changed = self.changes
        self._launcher, self._entry, self._turned = launcher, entry, turned
        for key, one in turned.items():
            at = changed.get(key, one.present)
            self._at[key] = at if one.low <= at <= one.high else one.present
            self._place(key)
            self._tell(key)
        return True

    @property
    def changes(self) -> dict[str, float]:
        """What the sliders change."""
        return {key: at for key, at in self._at.items() if at != self._turned[key].present}

    async def set_back(self) -> None:
        """Set every slider to what the file says."""
        for key, one in self._turned.items():
            self._at[key] = one.present
            self._place(key)
            self._tell(key)
        await self.ask()

    async def prepare(self) -> None:
        """Compute the first answer, so that `build` puts everything at once."""
        self._first = await in_thread(self._computed, {}, self._along)

    async def ask(self) -> None:
        """Have the answer computed and shown; of several moves only the last counts."""
        self._asked += 1
        if self._busy:
            return
        self._busy = True
        try:
            while self._begun < self._asked:
                self._begun = self._asked
                await self._answered()
        finally:
            # Whatever went wrong, the next move is answered.
            self._busy = False

    async def _answered(self) -> None:
        try:
            found, line = await in_thread(self._computed, dict(self.changes), self._along)
        except InputError as error:
            self._view.complain(error.sentences(), about=SLIDERS)
            return
        self._view.settle(SLIDERS)
        self._show(found, line)

    def _computed(self, changes: dict[str, float], along: str) -> tuple[Outlook, Curve | None]:
        name = self._entry.name
        return (
            self._launcher.outlook(name, changes),
            self._launcher.curve(name, changes, along),
        )

    def _slider(self, one: Turned) -> None:
        meaning = meaning_of(one.key)
        grain = GRAINS[one.key]
        with parts.group("turn"):
            moved = parts.slider(
                meaning[:1].upper() + meaning[1:],
                (round(one.low, 3), round(one.high, 3), grain),
                one.present,
                partial(self._moved, one.key),
            )
            said = parts.text("span", "", "at")
        self._sliders[one.key] = (moved, said)
        self._place(one.key)
        self._tell(one.key)

    def _place(self, key: str) -> None:
        """Put a slider where its value is, between the bounds that it has now."""
        one, moved = self._turned[key], self._sliders[key][0]
        # A slider stops at its own steps: the present value may lie between them.
        step = "any" if one.present % GRAINS[key] else GRAINS[key]
        bounds = {"min": round(one.low, 3), "max": round(one.high, 3), "step": step}
        moved.props.update({**bounds, "value": self._at[key]})
        moved.update()

    def _tell(self, key: str) -> None:
        """Show the value of a slider with its unit."""
        self._sliders[key][1].set_text(f"{self._at[key]:.4g} {unit_of(key)}")

    async def _moved(self, key: str, value: float) -> None:
        one = self._turned[key]
        near = abs(value - one.present) < 0.5 * GRAINS[key]
        self._at[key] = one.present if near else value
        self._tell(key)
        await self.ask()

    async def _chosen(self, key: str) -> None:
        self._along = key
        await self.ask()

    def _show(self, found: Outlook, line: Curve | None) -> None:
        self._lead.set_text(outlook_sentence(found))
        own = "As the file has it, with its own shots."
        self._answer.show(
            [
                (own if found.own else "With the sliders as they stand; nothing is saved.", "hint"),
                *((words, "caution") for words in found.cautions),
                (found.safety[:1].upper() + found.safety[1:], "quiet"),
            ]
        )
        self._drawing.clear()
        with self._drawing:
            if line is not None and any(one is not None for one in line.expected):
                chart(sweep_chart(line, self._at[self._along]), CURVE)

    # A wanted carry, and a further setup ---------------------------------------------------------

    def _hit(self) -> None:
        with parts.fold("Which settings carry a wanted distance"):
            found = parts.group()

            async def wanted(text: str) -> None:

                said = await self._view.attempt(
                    lambda: self._launcher.settings(self._entry.name, number(text))
                )
                found.clear()
                if said is not None:
                    self._view.settle(())
                with found:
                    for words in said or ():
                        parts.sentence(words)

            parts.field("Wanted carry", "", wanted, "m")
            found.move(target_index=-1)

    def _new_setup(self) -> None:
        with parts.fold("Keep the sliders' numbers as a further setup"):
            parts.sentence(
                "It stands beside the others before it is built and shot, on the page Setups too."
            )

            def named(text: str) -> None:
                self._name = text.strip()

            with parts.group("row"):
                parts.field("Its name", "", named)
                parts.button("Add the setup", self._add)

    async def _add(self) -> None:
        session = self._view.look.session
        if session is None or not self._name:
            self._view.complain(["Give the new setup a name first, as 160 mm wheels."])
            return
        if any(one.name == self._name for one in session.setups):
            self._view.complain([f'There is a setup "{self._name}" already: give another name.'])
            return
        tables = self._launcher.tables_with(self._entry, self.changes)
        change = FieldChange(("setup", len(session.setups)), {"name": self._name, **tables})
        if await self._view.edit(f"setup {self._name} added", change):
            self._view.say(f'"{self._name}" is added.')


def _turned(launcher: Launcher, entry: SetupEntry) -> dict[str, Turned]:
    """Return what a person can turn of a setup, by its key."""
    return {one.key: one for one in launcher.turned(entry.name)}
