"""Results that are older than their session: whether they are, and the notice that says so."""

from functools import lru_cache
from pathlib import Path

from calibration.errors import InputError
from tracker.app import parts, tasks
from tracker.app.view import View
from tracker.app.work import Phase
from tracker.app.workspace import in_thread

STALE = (
    "The session or the program changed since it was measured, or what was measured is not kept on "
    "this computer."
)


def not_kept() -> str:
    """Return why no kept measurement is found, and what to do, up to a semicolon."""
    from tracker.results.cache import FOLDER_VARIABLE, cache_folder

    if cache_folder() is None:
        # To measure again would change nothing.
        return (
            f"What is measured is not kept on this computer, since {FOLDER_VARIABLE} is set to "
            "nothing. Start Lobmeter without it and measure again;"
        )
    return f"{STALE} Measure it again;"


async def is_stale(view: View) -> bool:
    """Return whether a session's results must be made anew; a video file alone keeps nothing."""
    look = view.look
    if not look.measured or look.session is None or look.session.bare:
        return False
    if look.outdated:
        return True
    try:
        made = (look.results / "shots.csv").stat().st_mtime_ns
    except FileNotFoundError:
        # Other results are being put in their place, and the page hears of them.
        return False
    return bool(await in_thread(_not_kept, view.opened.folder, look.seen, made))


@lru_cache(maxsize=16)
def _not_kept(folder: Path, seen: str, made: int) -> bool:
    """Return whether a measurement is not kept; asked once for what was `seen` and `made`.

    The clips are read whole for it.
    """
    from tracker.results.cache import cache_folder
    from tracker.workflow.kept import kept_session

    cache = cache_folder()
    try:
        return cache is not None and kept_session(folder, cache) is None
    except InputError:
        # A clip that is not there or cannot be read: measuring again would not mend it.
        return False


def running(view: View) -> bool:
    """Return whether the session is being measured."""
    work = view.opened.works.get("measure")
    return work is not None and work.phase is Phase.RUNNING


def notice(view: View) -> None:
    """Put the notice that the results are older than the session, with the button to mend that."""

    def again() -> None:
        try:
            view.opened.start("measure", "Measuring", tasks.measure, view.opened.place)
        except InputError as error:
            view.complain(error.sentences())
            return
        view.go("measure")

    parts.sentence(STALE, "doubt")
    with parts.group("row stale"):
        parts.button("Measure again", again, main=True)
