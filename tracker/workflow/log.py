"""The questions to the logbook: its list, one session, all shots in a file."""

from pathlib import Path

from tracker.logbook import Filter, LoggedSession, Summary
from tracker.logbook.asking import asking
from tracker.logbook.questions import chosen_by
from tracker.logbook.reading import session_from, sessions_from, summaries_from


def list_sessions(
    wanted: Filter, most: int | None = None, url: str | None = None
) -> tuple[Summary, ...]:
    """Return the sessions of the logbook that fit a filter, newest first."""
    with asking(url) as ask:
        return summaries_from(ask, wanted, most)


def show_session(number: int, url: str | None = None) -> LoggedSession:
    """Return one session of the logbook whole.

    Raises
    ------
    InputError
        Where there is none of that number.
    """
    with asking(url) as ask:
        return session_from(ask, number)


def export_shots(path: Path, wanted: Filter, url: str | None = None) -> int:
    """Write the shots that fit a filter into one file and return how many they are.

    Raises
    ------
    InputError
        Where the name ends in neither ``.csv`` nor ``.parquet``, or cannot be written.
    """
    from tracker.logbook.export import exported
    from tracker.results.files import put_in_place

    with asking(url) as ask:
        sessions = sessions_from(ask, chosen_by(wanted))
    content = exported(sessions, path.suffix.lower())
    put_in_place(path.absolute().parent, {path.name: content})
    return sum(len(session.shots) for session in sessions)
