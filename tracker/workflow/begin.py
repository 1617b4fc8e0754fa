"""A session from clips that were dropped, without a question."""

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory

from calibration.errors import InputError, InputErrors
from tracker.results import alone, put_in_place
from tracker.session import (
    SESSION_FILE,
    Draft,
    FieldChange,
    Session,
    draft_toml,
    read_session,
)
from tracker.video import inspect
from tracker.workflow import edit
from tracker.workflow.incoming import Announced, Incoming, deliver, forget, free_name, safe_name
from tracker.workflow.new import CLIPS, Film, films, start_session

SAME_TIME_S = 2.0
"""Difference of two files' times that is none, s: some memory cards count in steps of 2 s (FAT)."""


def begin_session(
    home: Path, incomings: Sequence[Incoming], left_out: InputErrors | None = None
) -> Path:
    """Make a session of clips that have come in whole; return its folder.

    Parameters
    ----------
    home : Path
        The folder of all sessions.
    incomings : sequence of Incoming
    left_out : InputErrors, optional
        Of those that came with them and are no videos: the session's notes name them, so that a
        table of the others tells that they are missing.

    Raises
    ------
    InputErrors
        With every file that is no video; then they are removed, and there is no session.
    InputError
        Where nothing can be written.
    """
    home.mkdir(parents=True, exist_ok=True)
    with TemporaryDirectory(prefix=".beginning-", dir=home, ignore_cleanup_errors=True) as made:
        staging = Path(made) / "session"
        try:
            placed = deliver(incomings, staging / CLIPS)
            filmed = films(placed)
            folder = free_name(home / _name(filmed))
            start_session(staging, filmed, {"name": folder.name, "notes": _left_out(left_out)})
            staging.rename(folder)
        except InputError:
            for incoming in incomings:
                forget(incoming)
            raise
        except OSError as error:
            reason = (error.strerror or "unknown").lower()
            remedy = "make room, or give the folder back to its owner, then send the clips again"
            what = f"no session can be written ({reason})"
            raise InputError(what, where=str(home), remedy=remedy) from None
    return folder


def sort_out(incomings: Sequence[Incoming]) -> tuple[list[Incoming], InputErrors | None]:
    """Return those that are videos, and the faults of the others, which are removed."""
    good: list[Incoming] = []
    faults: list[InputError] = []
    for incoming in incomings:
        try:
            inspect(incoming.part)
        except InputError as error:
            shown = safe_name(incoming.announced.name)
            faults.extend(each.at(shown) for each in error.parts)
            forget(incoming)
        else:
            good.append(incoming)
    return good, InputErrors(faults) if faults else None


def add_clips(folder: Path, incomings: Sequence[Incoming]) -> tuple[str, ...]:
    """Add clips that have come in whole to a session; return their names in it.

    They show the setup of the session's last clip, which the person may change.

    Raises
    ------
    InputErrors
        With every file that is no video, or what is wrong with the session's own file; then they
        are removed, and the session is as it was.
    """
    read_session(folder, filmed=False)
    placed = deliver(incomings, folder / CLIPS)
    names = tuple(f"{CLIPS}/{path.name}" for path in placed)
    what = f"{'clip' if len(names) == 1 else 'clips'} {', '.join(names)} added"
    try:
        films(placed)
        # Another clip may have come in, or a field been changed, while these were moved and read.
        with alone(folder, edit.CHANGING):
            session = read_session(folder, filmed=False)
            setup, changes = _setup(session)
            changes += [
                FieldChange(("clip", number), {"file": name, "setup": setup})
                for number, name in enumerate(names, start=len(session.clips))
            ]
            edit.edit_session(folder, edit.digest_of(folder), what, changes)
    except (InputError, OSError):
        # A clip that lies there without its entry could not be sent again.
        for path in placed:
            path.unlink(missing_ok=True)
        raise
    return names


def refuse_known(folder: Path, announced: Announced) -> None:
    """Raise `InputError` where a session has a clip of that name, size and time already."""
    if _known(folder, announced):
        raise InputError("is in the session already", where=safe_name(announced.name))


def also_in(home: Path, incomings: Sequence[Incoming]) -> str:
    """Return which earlier session has all of these clips, in a sentence; empty where none has."""
    for folder in sessions_in(home):
        if incomings and all(_known(folder, each.announced) for each in incomings):
            return (
                f"The session {folder.name} has the same clips, with what was marked and decided "
                "there: it is on the page Begin."
            )
    return ""


def _known(folder: Path, announced: Announced) -> bool:
    path = folder / CLIPS / safe_name(announced.name)
    if not path.is_file() or path.stat().st_size != announced.size:
        return False
    return abs(path.stat().st_mtime - announced.modified_ms / 1000.0) < SAME_TIME_S


def empty_session(home: Path, day: date) -> Path:
    """Make a session whose clips are still to come; return its folder.

    Parameters
    ----------
    home : Path
        The folder of all sessions.
    day : date
        Gives its name.
    """
    folder = free_name(home / day.isoformat())
    draft = Draft(name=folder.name, clips=(), filmed=day)
    put_in_place(folder, {SESSION_FILE: draft_toml(draft).encode("utf-8")})
    return folder


def sessions_in(home: Path) -> tuple[Path, ...]:
    """Return the sessions in a folder, the newest first."""
    if not home.is_dir():
        return ()
    found = [path.parent for path in home.glob(f"*/{SESSION_FILE}")]
    shown = [path for path in found if not path.name.startswith(".")]
    return tuple(sorted(shown, key=lambda path: path.stat().st_mtime, reverse=True))


def _left_out(faults: InputErrors | None) -> str:
    """Return which files were left out, for the session's notes."""
    if faults is None:
        return ""
    names = dict.fromkeys(one.where for one in faults.parts)
    return f"left out, no video or damaged: {', '.join(names)}"


def _setup(session: Session) -> tuple[str, list[FieldChange]]:
    """Return the setup that new clips show, and what adds it where there is none."""
    if session.clips:
        return session.clips[-1].setup, []
    if session.setups:
        return session.setups[-1].name, []
    return "setup 1", [FieldChange(("setup", 0), {"name": "setup 1"})]


def _name(filmed: Sequence[Film]) -> str:
    """Return a new session's name: the day of its first clip, or that clip's name."""
    days = [film.origin.filmed for film in filmed if film.origin.filmed is not None]
    return f"{min(days):%Y-%m-%d}" if days else filmed[0].path.stem
