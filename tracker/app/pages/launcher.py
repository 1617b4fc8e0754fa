"""Launcher: how it is built, what to expect of it, what if, and what its shots teach."""

from nicegui import background_tasks, ui

from calibration.errors import InputError
from tracker.app import parts
from tracker.app.charts import use_charts
from tracker.app.launcher.fields import SetupFields
from tracker.app.launcher.names import in_words
from tracker.app.launcher.what_if import SLIDERS, WhatIf
from tracker.app.stale import STALE, is_stale
from tracker.app.view import Page, View
from tracker.report.launcher_tables import left_out_rows, missed_sentences
from tracker.report.outlook_words import discharge_sentence
from tracker.session import FieldChange, SetupEntry
from tracker.workflow.gathering import EDITED
from tracker.workflow.launcher import Launcher, launcher_of

NO_SETUP = "Nothing says how the launcher is built. Describe it, and its shots can be predicted."
TOO_LITTLE = (
    "Not enough is known to predict its shots: give the wheels' diameter and mass, and the motor's "
    "voltage, speed without load and power."
)
NOTHING_LEARNED = (
    "No shot has taught the model yet. Describe above each setup that was shot, and measure two "
    "wheels or more: what is uncertain about motor, grip and air is corrected by them."
)
FIRST_NAME = "wheels"


class LauncherDesk:
    """The page of one tab.

    Parameters
    ----------
    view : View
    """

    def __init__(self, view: View) -> None:
        self.view = view
        self._chosen = self._names()[0]
        self._listed: list[str] = []
        self._stale: tuple[str, ...] = ()
        self._sliders: WhatIf | None = None
        self._serial = 0
        view.key("n", "show the next setup", self._next)
        view.key("0", "set the sliders back", self._set_back)

    async def prepare(self) -> parts.Handler:
        """Compute what to expect; return what puts the page, so that nothing moves afterwards."""
        seen = self.view.look.seen
        launcher = await self._launcher()
        sliders = None if launcher is None else await self._what_if_of(launcher)

        def build() -> None:
            self._build(launcher, sliders)
            self.view.on_change(self.renew)
            if seen != self.view.look.seen:
                background_tasks.create(self.renew())

        return build

    def _build(self, launcher: Launcher | None, sliders: WhatIf | None) -> None:
        """Put the choice of a setup, what to expect of it, its fields and what was learned."""
        self._top = parts.group("chosen")
        self._what_if = parts.group("content")
        self._notes = parts.Lines()
        parts.heading("How it is built")
        parts.sentence(
            "A number that is left out has a usual value. Each may have its standard uncertainty "
            "in session.toml, as diameter_u_mm.",
            "hint",
        )
        self._fields_at = parts.group()
        self._learned = parts.group("content")
        self._put_choice()
        self._put_fields()
        if launcher is not None:
            self._put(launcher, sliders)
            background_tasks.create(self._show_learned(launcher, self._serial))

    async def renew(self) -> None:
        """Show the files as they are now."""
        if self.view.look.session is None or not self._names():
            ui.navigate.reload()
            return
        if self._chosen not in self._names():
            self._chosen = self._names()[0]
            self._put_fields()
        self._put_choice()
        self._fields.renew()
        await self.draw()

    async def draw(self) -> None:
        """Compute what to expect and show it."""
        self._serial += 1
        mine = self._serial
        launcher = await self._launcher()
        if launcher is None or mine != self._serial:
            return
        entry = self._entry_in(launcher)
        if entry is not None and self._sliders is not None and self._sliders.renew(launcher, entry):
            self._show_notes(launcher)
            await self._sliders.ask()
        else:
            sliders = await self._what_if_of(launcher)
            if mine != self._serial:
                return
            self._put(launcher, sliders)
        await self._show_learned(launcher, mine)

    async def _launcher(self) -> Launcher | None:
        found: Launcher | None = await self.view.attempt(launcher_of, self.view.opened.folder)
        return found

    def _entry_in(self, launcher: Launcher) -> SetupEntry | None:
        """Return the chosen setup; None where it says too little."""
        session = self.view.look.session
        known = session is not None and self._chosen in launcher.names
        return session.setup(self._chosen) if known and session is not None else None

    async def _what_if_of(self, launcher: Launcher) -> WhatIf | None:
        """Return the sliders of the chosen setup with their first answer."""
        entry = self._entry_in(launcher)
        if entry is None:
            return None
        made = WhatIf(self.view, launcher, entry)
        try:
            await made.prepare()
        except InputError as error:
            self.view.complain(error.sentences(), about=SLIDERS)
        return made

    def _put(self, launcher: Launcher, sliders: WhatIf | None) -> None:
        """Put the sliders of another setup."""
        self._sliders = sliders
        self._what_if.clear()
        with self._what_if:
            if sliders is None:
                parts.sentence(TOO_LITTLE, "lead")
            else:
                sliders.build()
        self._show_notes(launcher)

    def _show_notes(self, launcher: Launcher) -> None:
        # What is typed here changes the session's file, and nothing that was measured.
        notes = [words for words in launcher.notes if EDITED not in words]
        self._notes.show((words, "doubt") for words in (*notes, *self._stale))

    async def _show_learned(self, launcher: Launcher, mine: int) -> None:
        learned = await self.view.attempt(launcher.learned) or ()
        left_out = await self.view.attempt(launcher.left_out) or ()
        drains = await self.view.attempt(launcher.discharges) or {}
        stale = await is_stale(self.view)
        if mine != self._serial or self._learned.is_deleted:
            return
        self._stale = (f"{STALE} Measure it again on the page Measure.",) if stale else ()
        self._show_notes(launcher)
        self._learned.clear()
        with self._learned:
            if self._chosen in drains:
                parts.heading("An evening on one charge")
                parts.sentence(discharge_sentence(drains[self._chosen]))
            parts.heading("What the shots say of the model")
            for words in learned or (NOTHING_LEARNED,):
                parts.sentence(in_words(words))
            for words in missed_sentences(left_out):
                parts.sentence(words, "doubt")
            if left_out:
                head = ("setup", "measured, m/s", "predicted, m/s", "error, m/s")
                caption = "Each setup's exit speed predicted from the others; ± is one standard "
                parts.table(
                    head, left_out_rows(left_out), f"{caption}uncertainty.", range(1, len(head))
                )

    def _put_choice(self) -> None:
        """Put the choice of a setup anew where the setups are others."""
        if self._listed == self._names():
            return
        self._listed = self._names()
        self._top.clear()
        with self._top:
            names = [(name, name) for name in self._listed]
            self._choice = parts.choice("Setup", names, self._chosen, self._choose)

    def _put_fields(self) -> None:
        """Put the fields of the chosen setup."""
        self._fields = SetupFields(self.view, lambda: self._chosen)
        self._fields_at.clear()
        with self._fields_at:
            self._fields.build()

    async def _choose(self, name: str) -> None:
        self._chosen = name
        self._choice.props["value"] = name
        self._choice.update()
        self._put_fields()
        await self.draw()

    async def _set_back(self) -> None:
        if self._sliders is not None:
            await self._sliders.set_back()

    async def _next(self) -> None:
        names = self._names()
        if not self._listed:  # not computed yet
            return
        await self._choose(names[(names.index(self._chosen) + 1) % len(names)])

    def _names(self) -> list[str]:
        session = self.view.look.session
        return [] if session is None else [one.name for one in session.setups]


def build(view: View) -> None:
    """Build the page."""
    use_charts(view)
    session = view.look.session
    if session is not None and session.bare:
        parts.sentence(
            "A video file alone describes no launcher. Make a session of it on the page Begin.",
            "lead",
        )
        return
    if session is None or not session.setups:
        _empty(view)
        return
    desk = LauncherDesk(view)
    parts.fill("The launcher is being computed.", desk.prepare)


def _empty(view: View) -> None:
    """Put what to do where there is no setup, or the file cannot be read."""
    view.on_change(ui.navigate.reload)
    if view.look.session is None:
        parts.sentence("The launcher is shown as soon as session.toml can be read.", "lead")
        return
    parts.sentence(NO_SETUP, "lead")
    chosen = [FIRST_NAME]

    async def add() -> None:
        change = FieldChange(("setup", 0), {"name": chosen[0]})
        await view.edit(f"setup {chosen[0]} added", change)

    def named(text: str) -> None:
        chosen[0] = text.strip() or FIRST_NAME

    parts.field("Name of the first setup", FIRST_NAME, named, hint="as 140 mm wheels")
    parts.button("Describe the launcher", add, main=True)


PAGE = Page("launcher", "Launcher", build, order=60)
