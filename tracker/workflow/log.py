"""The questions to the logbook: its list, one session, all shots in a file."""

from pathlib import Path

from calibration.errors import InputError
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


def export_shots(
    path: Path, wanted: Filter, url: str | None = None, decimal_comma: bool = False
) -> int:
    """Write the shots that fit a filter into one file and return how many they are.

    Parameters
    ----------
    path : Path
    wanted : Filter
    url : str or None
        Which logbook.
    decimal_comma : bool
        Whether a CSV file is for a spreadsheet with a comma as the decimal mark.

    Raises
    ------
    InputError
        Where the name ends in neither ``.csv`` nor ``.parquet``, or cannot be written.
    """
    from tracker.logbook.export import exported
    from tracker.results.commas import with_decimal_commas
    from tracker.results.files import put_in_place

    ending = path.suffix.lower()
    if decimal_comma and ending != ".csv":
        raise InputError(
            "is for a table in text", where="--decimal-comma", remedy="end the file's name in .csv"
        )
    with asking(url) as ask:
        sessions = sessions_from(ask, chosen_by(wanted))
    content = exported(sessions, ending)
    if decimal_comma:
        content = with_decimal_commas(content)
    put_in_place(path.absolute().parent, {path.name: content})
    return sum(len(session.shots) for session in sessions)
