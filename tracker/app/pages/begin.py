"""Begin: clips into a session, measured without another question."""

from collections.abc import Sequence
from datetime import date
from functools import partial
from pathlib import Path

from tracker.app import parts, tasks
from tracker.app.drop import drop_zone
from tracker.app.view import Page, View
from tracker.app.workspace import in_thread
from tracker.workflow.begin import also_in, begin_session, empty_session, sessions_in, sort_out
from tracker.workflow.incoming import find, safe_name, unfinished
from tracker.workflow.look import refuse_missing

SHOWN = 12
"""Sessions of the home folder that are listed; the logbook has all. Common practice, no source."""


async def build(view: View) -> None:
    """Build the page."""

    async def sent(keys: Sequence[str]) -> None:
        begun = await view.attempt(_begin, view, keys)
        if begun is not None:
            folder, faults = begun
            session = view.workspace.open(folder)
            session.pending.extend(faults)
            session.start("measure", "Measuring", tasks.measure, folder)
            view.go("measure", session)

    async def named(text: str) -> None:
        place = Path(text.strip().strip('"')).expanduser()
        await view.attempt(lambda: refuse_missing([place]))
        if text.strip() and place.exists():
            view.go("measure", view.workspace.open(place))

    parts.sentence(
        "Film a ball launcher from the side, and drop the clips here. They are measured at once, "
        "with gravity as the scale; what you tape later makes the figures better.",
        "lead",
    )
    drop_zone("Drop the clips of one evening here, or their folder.", "", sent)
    await _unfinished(view)
    parts.sentence(f"New sessions are kept in {_in_words(view.workspace.home)}.", "quiet")
    if view.doors.lan:
        parts.heading("From the phone")
        parts.button("Receive clips from a phone", partial(_receive, view))
    if view.workspace.sessions:
        parts.heading("Open now")
        with parts.group("stack"):
            for session in view.workspace.sessions:
                look = await in_thread(session.look)
                name = look.session.name if look.session else session.place.name
                parts.link(name, view.address("measure", session))
    await _kept(view)
    parts.heading("A session that is somewhere else")
    parts.field("Its folder, or a video file", "", named, hint="Type its path and press Enter.")


def _in_words(folder: Path) -> str:
    """Return where a folder is: within the person's own one, without the way to that."""
    if folder.is_relative_to(Path.home()):
        return f"the folder {folder.relative_to(Path.home())} in your home folder"
    return str(folder)


async def _kept(view: View) -> None:
    """List the sessions of the home folder that are not open."""
    opened = {session.place for session in view.workspace.sessions}
    kept = await in_thread(sessions_in, view.workspace.home)
    others = [folder for folder in kept if folder not in opened][:SHOWN]
    if not others:
        return
    parts.heading("Earlier sessions")
    with parts.group("stack"):
        for folder in others:
            parts.button(folder.name, partial(_open, view, folder))


def _open(view: View, folder: Path) -> None:
    view.go("measure", view.workspace.open(folder))


def _receive(view: View) -> None:
    """Begin an empty session for clips that a phone sends."""
    folder = empty_session(view.workspace.home, date.today())
    view.go("phone", view.workspace.open(folder))


def _begin(view: View, keys: Sequence[str]) -> tuple[Path, list[str]]:
    """Begin a session of what is a video; return its folder and what is said of it and the rest."""
    sent, faults = sort_out([find(view.workspace.incoming, key) for key in keys])
    if faults is not None and not sent:
        raise faults
    twin = also_in(view.workspace.home, sent)
    folder = begin_session(view.workspace.home, sent, faults).resolve()
    return folder, [*([twin] if twin else []), *([] if faults is None else faults.sentences())]


async def _unfinished(view: View) -> None:
    """Put what to do about clips of which only a part has come."""
    for each in await in_thread(unfinished, view.workspace.incoming):
        percent = 100 * each.received // each.announced.size
        parts.sentence(
            f"{safe_name(each.announced.name)} has come to {percent} %. Choose it again, and it "
            "goes on from there.",
            "doubt",
        )


PAGE = Page("begin", "Begin", build, order=10, needs_session=False)
