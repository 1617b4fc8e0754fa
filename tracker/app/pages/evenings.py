"""Evenings: this one's report and films, and the logbook as a list."""

from collections.abc import Sequence
from datetime import date
from functools import partial
from pathlib import Path

from calibration.errors import InputError
from tracker.app import parts, tasks
from tracker.app.running import follow
from tracker.app.view import Page, View
from tracker.app.work import Phase
from tracker.logbook import Summary
from tracker.logbook.entries import EVERYTHING
from tracker.session import FieldChange
from tracker.workflow.entering import add_sessions
from tracker.workflow.log import list_sessions

MOST = 200
"""Sessions of the logbook that are listed, the newest first. Common practice, no source."""

KINDS = (
    ("report", "Writing the report", tasks.report),
    ("film", "Making the films", tasks.overlay),
)
"""Kind of work, what it is in words, and the function that does it."""


async def build(view: View) -> None:
    """Build the page."""
    if view.session is not None:
        _this_evening(view)
    parts.heading("Logbook")
    listed = parts.group("stack")

    async def draw() -> None:
        lines = await view.attempt(list_sessions, EVERYTHING, MOST, view.workspace.logbook)
        listed.clear()
        with listed:
            if lines is not None and not lines:
                parts.sentence("The logbook is empty. Put a measured session into it.", "lead")
            for line in lines or ():
                _line(view, line)

    view.on_change(draw)
    await draw()


def _line(view: View, line: Summary) -> None:
    """Put one session of the logbook."""
    folder = Path(line.folder)
    day = "" if line.filmed_on is None else f"{line.filmed_on:%d %B %Y}: "
    carry = "" if line.mean_carry_m is None else f", mean carry {line.mean_carry_m:.1f} m"
    with parts.group("entry"):
        opens = parts.button(line.name, partial(_open, view, folder))
        about = f"{day}{_many(line.setups, 'setup')}, {_many(line.shots, 'shot')}{carry}"
        parts.text("span", about)
        if not folder.is_dir():
            opens.props["disabled"] = True
            parts.text("span", "Its folder is not there any more.", "quiet")


def _many(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _open(view: View, folder: Path) -> None:
    view.go("measure", view.workspace.open(folder))


def _this_evening(view: View) -> None:
    """Put what can be made of the open session, and what was made."""
    _called(view, parts.heading(view.title))
    above = parts.group("row")

    def start(kind: str) -> None:
        if not view.look.measured:
            return
        try:
            what, function = next((what, does) for each, what, does in KINDS if each == kind)
            view.opened.start(kind, what, function, view.opened.place)
        except InputError as error:
            view.complain(error.sentences())

    async def log() -> None:
        entered = await view.attempt(add_sessions, [view.opened.place], view.workspace.logbook)
        for each in entered or ():
            words = {"new": "is in the logbook now", "updated": "is replaced in the logbook"}
            view.say(f"{each.name} {words.get(each.done, 'is in the logbook already')}.")
        await view.renew()

    async def ended(kind: str) -> None:
        work = view.opened.works[kind]
        if work.phase is Phase.FAILED:
            view.complain(work.faults)
        await view.renew()

    for kind, _, _ in KINDS:
        follow(view, kind, partial(ended, kind))
    made = parts.group("stack")
    shown: list[object] = [None, None]

    def draw() -> None:
        # What says the same stays: a button that is put anew loses the press that is on its way.
        if shown[0] != view.look.measured:
            shown[0] = view.look.measured
            above.clear()
            with above:
                buttons()
        files = _files(view.look.results) if view.look.measured else []
        if shown[1] != files:
            shown[1] = files
            made.clear()
            with made:
                _made(view, files)

    def buttons() -> None:
        if not view.look.measured:
            parts.sentence("Measure the session first; then its report is written here.")
            parts.link("Measure", view.address("measure"))
            return
        parts.button("Write the report", partial(start, "report"), main=True, key="r")
        parts.button("Make the films", partial(start, "film"), key="f")
        parts.button("Put into the logbook", log, key="l")

    view.key("r", "write the report", partial(start, "report"))
    view.key("f", "make the films", partial(start, "film"))
    view.key("l", "put the session into the logbook", log)
    view.on_change(draw)
    draw()


def _called(view: View, heading: parts.Text) -> None:
    """Put the session's name and its day, which head the report and the logbook's line."""
    if view.look.session is None or view.look.session.bare:
        return

    async def named(text: str) -> None:
        if text.strip():
            await view.edit(f"name {text.strip()}", FieldChange(("name",), text.strip()))
        renew()

    async def dated(text: str) -> None:
        try:
            day = date.fromisoformat(text.strip()) if text.strip() else None
        except ValueError:
            view.complain([f"{text} is not a date: write it as 2026-05-17."], about=("date",))
            return
        if await view.edit(f"filmed on {day}", FieldChange(("date",), day)):
            renew()

    def renew() -> None:
        session = view.look.session
        if session is not None:
            heading.text = session.name
            name.rewrite(session.name)
            day.rewrite("" if session.date is None else session.date.isoformat())

    with parts.group("row"):
        name = parts.field("Name of this session", view.title, named)
        day = parts.field("Filmed on", "", dated)
        day.props["placeholder"] = "as 2026-05-17"
    view.on_change(renew)
    renew()


def _files(results: Path) -> list[str]:
    """Return the names of what was made of a measured session."""
    report = ["report.html"] if (results / "report.html").is_file() else []
    return [*report, "shots.csv", *sorted(film.name for film in results.glob("*.mp4"))]


def _made(view: View, files: Sequence[str]) -> None:
    """Put links to what was made of the session."""
    if "report.html" in files:
        with parts.group("row"):
            parts.link("Read the report", view.result_address("report.html"))
            parts.link("Download it", view.result_address("report.html"), download=True)
    if files:
        table = view.result_address("shots.csv")
        with parts.group("row"):
            parts.link("Download the table", table, download=True)
            parts.link("with decimal commas", f"{table}?decimal=comma", download=True)
    for film in (name for name in files if name.endswith(".mp4")):
        parts.link(f"Download {film}", view.result_address(film), download=True)


PAGE = Page("evenings", "Evenings", build, order=80, needs_session=False)
