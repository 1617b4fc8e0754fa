"""Editing a session's files from a page: checked first, journaled, undone and redone."""

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from calibration.errors import InputError, InputErrors
from tracker.results import alone, put_in_place
from tracker.session import (
    REVIEW_FILE,
    SESSION_FILE,
    FieldChange,
    parse_review,
    parse_session,
    read_session,
    revised,
)
from tracker.session.history import History, Step, read_history, record

CHANGING = "another program is changing this session"

EDITED = (SESSION_FILE, REVIEW_FILE)
"""Files that a person writes and a page changes."""


class ChangedElsewhere(InputError):
    """The files are not as they were when the person looked at them."""


@dataclass(frozen=True)
class Undoable:
    """What an undo and a redo would do, in words; empty where there is nothing."""

    undo: str = ""
    redo: str = ""


NOTHING_TO_UNDO = Undoable()


def digest_of(folder: Path) -> str:
    """Return a digest of the files that a person writes."""
    digest = hashlib.sha256()
    for name in EDITED:
        path = folder / name
        content = path.read_bytes() if path.is_file() else b""
        digest.update(len(content).to_bytes(8, "big") + content)
    return digest.hexdigest()


def edit_session(folder: Path, seen: str, what: str, changes: Sequence[FieldChange]) -> str:
    """Change fields of ``session.toml``; return the new digest of the files.

    Parameters
    ----------
    folder : Path
    seen : str
        `digest_of` the files that the person looked at.
    what : str
        The change in words, for the history.
    changes : sequence of FieldChange

    Raises
    ------
    ChangedElsewhere
        Where the files are not as they were seen.
    InputErrors
        With every fault that the change would bring; then nothing is written.
    """

    def changed() -> None:
        before = _text(folder, SESSION_FILE)
        after = revised(before, changes)
        if after != before:
            _refuse_new_faults(folder, before, after)
            _write(folder, what, SESSION_FILE, (before, after), Step.CHANGE)

    return _alone(folder, seen, changed)


def edit_review(folder: Path, seen: str, what: str, decide: Callable[[], object]) -> str:
    """Run a function of `tracker.workflow.deciding` and put it into the history.

    Parameters
    ----------
    folder : Path
    seen : str
        `digest_of` the files that the person looked at.
    what : str
        The decision in words, for the history.
    decide : callable
        Changes ``review.toml``.

    Raises
    ------
    ChangedElsewhere
        Where the files are not as they were seen.
    InputError
        As `decide` does; then nothing is written.
    """

    def changed() -> None:
        before = _text(folder, REVIEW_FILE)
        decide()
        after = _text(folder, REVIEW_FILE)
        if after != before:
            record(folder, what, REVIEW_FILE, (before, after), Step.CHANGE)

    return _alone(folder, seen, changed)


def undo(folder: Path) -> str:
    """Undo the last change; return what it was, in words.

    Raises
    ------
    InputError
        Where there is none, or the file was changed elsewhere since.
    """
    return _stepped(folder, Step.UNDO)


def redo(folder: Path) -> str:
    """Redo the change that was undone last; return what it was, in words.

    Raises
    ------
    InputError
        Where there is none, or the file was changed elsewhere since.
    """
    return _stepped(folder, Step.REDO)


def undoable(folder: Path) -> Undoable:
    """Return what an undo and a redo would do."""
    history = read_history(folder)
    done, undone = history.done[: -1 if _never_made(folder, history) else None], history.undone
    return Undoable(done[-1].what if done else "", undone[-1].what if undone else "")


def _stepped(folder: Path, step: Step) -> str:
    with alone(folder, CHANGING):
        history = read_history(folder)
        if step is Step.UNDO and _never_made(folder, history):
            lost = history.done[-1]
            record(folder, lost.what, lost.file, (lost.before, lost.before), step)
            history = read_history(folder)
        edits = history.done if step is Step.UNDO else history.undone
        if not edits:
            raise InputError(f"there is nothing to {step.value}", where=str(folder))
        edit = edits[-1]
        texts = (edit.after, edit.before) if step is Step.UNDO else (edit.before, edit.after)
        if _text(folder, edit.file) != texts[0]:
            raise InputError(
                "was changed elsewhere since, and that change would be lost",
                where=edit.file,
                remedy=f"to {step.value} “{edit.what}”, edit the file",
            )
        _write(folder, edit.what, edit.file, texts, step)
        return edit.what


def _never_made(folder: Path, history: History) -> bool:
    """Return whether the last change was journaled by a program that was killed before it."""
    if not history.done:
        return False
    last = history.done[-1]
    return last.before == _text(folder, last.file) != last.after


def _alone(folder: Path, seen: str, change: Callable[[], None]) -> str:
    """Make a change while no other program does, if the files are as they were seen."""
    with alone(folder, CHANGING):
        if digest_of(folder) != seen:
            raise ChangedElsewhere(
                "changed elsewhere in the meantime, so nothing was written",
                where=f"{SESSION_FILE} or {REVIEW_FILE}",
                remedy="look at them as they are now, and do it again",
            )
        change()
        return digest_of(folder)


def _refuse_new_faults(folder: Path, before: str, after: str) -> None:
    """Raise the faults that a text has and the text before it had not."""
    known = {fault.what for fault in _faults(folder, before)}
    new = [fault for fault in _faults(folder, after) if fault.what not in known]
    if new:
        raise InputErrors(new)


def _faults(folder: Path, text: str) -> tuple[InputError, ...]:
    try:
        parse_session(text, folder, filmed=False)
    except InputError as error:
        return error.parts
    return ()


def _write(folder: Path, what: str, file: str, texts: tuple[str, str], step: Step) -> None:
    """Write a file after its line in the history."""
    if file == REVIEW_FILE:
        from tracker.session import journal

        parse_review(texts[1], read_session(folder, filmed=False))
        journal.record(folder, what, *texts, undoes=step is Step.UNDO)
    record(folder, what, file, texts, step)
    if texts[1]:
        put_in_place(folder, {file: texts[1].encode("utf-8")})
    else:
        (folder / file).unlink(missing_ok=True)


def _text(folder: Path, file: str) -> str:
    path = folder / file
    return path.read_bytes().decode("utf-8-sig") if path.is_file() else ""
