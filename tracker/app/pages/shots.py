"""Shots: the table beside the film; a chosen shot is stepped through, judged and moved."""

from nicegui import ui

from calibration.errors import InputError
from tracker.app import parts, tasks
from tracker.app.shots.desk import Desk
from tracker.app.shots.film import FilmPicture, Picked, state_of
from tracker.app.shots.listing import Listing
from tracker.app.shots.panel import Panel
from tracker.app.shots.tasks import look_for_added
from tracker.app.stale import not_kept
from tracker.app.view import Page, View
from tracker.app.work import Phase
from tracker.records import RejectedCandidate, Shot
from tracker.report.review_table import answer_words
from tracker.session import Verdict

LOOKED_S = 0.4
"""How often running work is looked at, s. Common practice, no source."""

ADDED = "The ball is looked for between your two places; until then they alone are fitted."

LEVEL = "The files of the results follow your decisions."
BEHIND = "The figures here follow your decisions; the files of the results do not yet."
BUSY = "The results are brought up to date."


async def build(view: View) -> None:
    """Build the page."""
    ui.add_head_html(f'<link rel="stylesheet" href="{view.prefix}/static/shots.css">')
    session = view.look.session
    if session is None or session.bare or not view.look.measured:
        parts.sentence(_why_empty(view), "lead")
        parts.link("To the page Measure", view.address("measure"))

        def measured() -> None:
            if view.look.measured:
                ui.navigate.reload()

        view.on_change(measured)
        return
    desk = Desk(view)
    try:
        await desk.read()
    except InputError as error:
        for words in error.sentences():
            parts.sentence(words, "fault")
        return
    if desk.shots is None:
        parts.sentence(f"{not_kept()} then its shots are shown here with their films.", "lead")
        parts.link("To the page Measure", view.address("measure"))
        return
    Shots(desk).build()


def _why_empty(view: View) -> str:
    session = view.look.session
    if session is not None and session.bare:
        return (
            "A video file alone keeps no decisions. Make a session of it on the page Begin; then "
            "look at its shots here."
        )
    return "Nothing is measured yet. Once it is, each shot is shown here with its film."


class Shots:
    """The page as a tab shows it.

    Parameters
    ----------
    desk : Desk
    """

    def __init__(self, desk: Desk) -> None:
        self.desk, self.view = desk, desk.view
        self.listing = Listing(desk, self.choose, self.look_at)
        self.panel = Panel(desk, self.pick, self._neighbour)
        self._following: set[str] = set()

    def build(self) -> None:
        """Put table, film and panel."""
        with parts.group("stack shots-state"):
            self._remarks = parts.Lines()
            with parts.group("row"):
                self._bring = parts.button("Bring them into the results", self.measure, key="m")
                self._state = parts.sentence("", "quiet")
        with parts.group("shots-page"):
            with parts.group("shots-list"):
                self._listed = parts.group()
            with parts.group("shots-view"):
                self.film = FilmPicture(state_of(self.desk.scene(), self.desk.picking, True))
                self.panel.steps()
                self._figures = parts.group("shots-said")
                self._figures.props["aria-live"] = "polite"
                self._actions = parts.group()
        self.film.on_picked(self.picked)
        self.film.on("cancelled", lambda _: self.cancel())
        self._redraw()
        self.view.on_change(self.changed)
        ui.timer(LOOKED_S, self._look_at_work)
        self._keys()

    def _keys(self) -> None:
        film = self.film
        keys = {
            "ArrowRight": ("one frame on", lambda: film.do("step", 1)),
            "ArrowLeft": ("one frame back", lambda: film.do("step", -1)),
            "Shift+ArrowRight": ("ten frames on", lambda: film.do("step", 10)),
            "Shift+ArrowLeft": ("ten frames back", lambda: film.do("step", -10)),
            "Home": ("to the release", lambda: film.do("toRelease")),
            "End": ("to the landing", lambda: film.do("toLanding")),
            "Space": ("play or pause", lambda: film.do("play")),
            "z": ("zoom on the ball", lambda: film.do("zoom")),
            ",": ("one frame back while picking", lambda: film.do("step", -1)),
            ".": ("one frame on while picking", lambda: film.do("step", 1)),
            "ArrowDown": ("next shot", lambda: self._neighbour(1)),
            "ArrowUp": ("shot before", lambda: self._neighbour(-1)),
            "a": ("accept the shot, take the candidate", lambda: self.panel.judge(Verdict.ACCEPT)),
            "r": ("reject the shot", lambda: self.panel.judge(Verdict.REJECT)),
            "t": ("take back the decision", self.panel.take_back),
            "l": ("move the landing", lambda: self.pick("landing")),
            "s": ("move the release", lambda: self.pick("release")),
            "n": ("add a missed shot", lambda: self.pick("add")),
            "Escape": ("stop picking", self.cancel),
            "m": ("bring the decisions into the results", self.measure),
        }
        for key, (does, call) in keys.items():
            self.view.key(key, does, call)

    # What a person does -------------------------------------------------------------------------

    def choose(self, shot: Shot) -> None:
        """Show a shot."""
        self.desk.choose(shot)
        self._chosen()

    def look_at(self, candidate: RejectedCandidate) -> None:
        """Show a rejected candidate."""
        self.desk.look_at(candidate)
        self._chosen()

    def _neighbour(self, by: int) -> None:
        shot = self.desk.neighbour(by)
        if shot is not None:
            self.choose(shot)

    def pick(self, mode: str) -> None:
        """Begin to pick a place in the film."""
        if mode != "add" and self.desk.shot is None:
            return
        self.desk.begin(mode)
        self.view.say(self.desk.picking.hint)
        self._show(jump=False)

    def cancel(self) -> None:
        """Stop picking."""
        self.view.settle(())
        self.desk.cancel()
        self._show(jump=False)

    async def picked(self, place: Picked) -> None:
        """Take a picked place."""
        before = self.desk.shot
        done = await self.desk.picked(place)
        if done and place.mode == "add":
            self.view.say(ADDED)
            self._start_looking()
        elif done and before is not None and self.desk.shot is not None:
            self.desk.answer = " ".join(answer_words(self.desk.shot)[:1]).capitalize() + "."
            self._redraw()
        elif place.mode == "add" and self.desk.picking.mode:
            self.view.say(self.desk.picking.hint)
        self._show(jump=False)

    def _start_looking(self) -> None:
        try:
            self.view.opened.start(
                "added", "Looking for the ball", look_for_added, self.desk.folder
            )
        except InputError:
            return
        self._following.add("added")

    def measure(self) -> None:
        """Bring the decisions into the results."""
        try:
            self.view.opened.start("measure", "Measuring", tasks.measure, self.view.opened.place)
        except InputError as error:
            self.view.complain(error.sentences())
        self._following.add("measure")
        self._draw_state()

    # What is shown ------------------------------------------------------------------------------

    async def changed(self) -> None:
        """Show the shots as they are decided now."""
        try:
            await self.desk.read()
        except InputError as error:
            self.view.complain(error.sentences())
            return
        if self.desk.shots is None:
            ui.navigate.reload()
            return
        self._redraw()
        self._show(jump=False)

    def _chosen(self) -> None:
        self.view.settle(())
        self.listing.mark()
        self._draw_panel()
        self._show(jump=True)

    def _show(self, jump: bool) -> None:
        self.film.show(state_of(self.desk.scene(), self.desk.picking, jump))

    def _redraw(self) -> None:
        self.listing.show(self._listed)
        self._draw_panel()
        self._draw_state()

    def _draw_panel(self) -> None:
        self._figures.clear()
        with self._figures:
            self.panel.figures()
        self.panel.show_actions(self._actions)

    def _draw_state(self) -> None:
        """Put what could not be applied, and whether the results are behind."""
        notes = self.desk.shots.notes if self.desk.shots else ()
        self._remarks.show((words, "doubt") for words in notes)
        running = self.view.opened.works.get("measure")
        busy = running is not None and running.phase is Phase.RUNNING
        behind = self.view.look.outdated and not busy
        words = BUSY if busy else BEHIND if behind else LEVEL
        # In a row that is always there: a decision moves nothing of what is below it.
        if (self._state.text, self._bring.props.get("disabled")) != (words, not behind):
            self._state.text = words
            self._bring.props["disabled"] = not behind

    async def _look_at_work(self) -> None:
        for kind in list(self._following):
            work = self.view.opened.works.get(kind)
            if work is None or work.phase is Phase.RUNNING:
                continue
            self._following.discard(kind)
            for words in work.faults:
                self.view.complain([words])
            await self.view.renew()
            if kind == "added" and self.desk.shot is not None:
                self.view.say(" ".join(answer_words(self.desk.shot)[:1]).capitalize() + ".")


PAGE = Page("shots", "Shots", build, order=40)
