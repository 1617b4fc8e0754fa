"""Editing a session's files from a page: checked first, recorded, undone and redone."""

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
from tracker.session.document import parse_document
from tracker.session.history import Edit, Step, called, read_history, record, text_of

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
        With every fault that the change would bring, or every line that is no TOML; then nothing
        is written.
    """

    def changed() -> None:
        before = text_of(folder, SESSION_FILE)
        # In what is no TOML no field can be changed: its faults are those of its lines.
        parse_document(before.replace("\r\n", "\n"), SESSION_FILE)
        after = revised(before, changes)
        if after != before:
            _refuse_new_faults(folder, before, after)
            write_recorded(folder, what, SESSION_FILE, (before, after), Step.CHANGE)

    return _alone(folder, seen, changed)


def edit_review(folder: Path, seen: str, what: str, decide: Callable[[], object]) -> str:
    """Run a function of `tracker.workflow.deciding`, which puts it into the history.

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
        with called(what):
            decide()

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
    done, undone = _last(history.done), _last(history.undone)
    return Undoable("" if done is None else done.what, "" if undone is None else undone.what)


def _stepped(folder: Path, step: Step) -> str:
    with alone(folder, CHANGING):
        edit = last_made(folder) if step is Step.UNDO else _last(read_history(folder).undone)
        if edit is None:
            raise InputError(f"there is nothing to {step.value}", where=str(folder))
        texts = (edit.after, edit.before) if step is Step.UNDO else (edit.before, edit.after)
        if text_of(folder, edit.file) != texts[0]:
            raise InputError(
                "was changed elsewhere since, and that change would be lost",
                where=edit.file,
                remedy=f"to {step.value} “{edit.what}”, edit the file",
            )
        write_recorded(folder, edit.what, edit.file, texts, step)
        return edit.what


def last_made(folder: Path, file: str | None = None) -> Edit | None:
    """Return the last change that was not undone, of one file or of any; None where none is."""
    return _last([edit for edit in read_history(folder).done if file in (None, edit.file)])


def _last(edits: Sequence[Edit]) -> Edit | None:
    return edits[-1] if edits else None


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
    """Raise the faults that a text has and the text before it had not, of the decisions too."""
    known = {fault.what for fault in _faults(folder, before)}
    new = [fault for fault in _faults(folder, after) if fault.what not in known]
    if new:
        raise InputErrors(new)


def _faults(folder: Path, text: str) -> tuple[InputError, ...]:
    try:
        parse_review(text_of(folder, REVIEW_FILE), parse_session(text, folder, filmed=False))
    except InputError as error:
        return error.parts
    return ()


def write_recorded(folder: Path, what: str, file: str, texts: tuple[str, str], step: Step) -> None:
    """Write a file after its line in the history; an empty text removes it."""
    if file == REVIEW_FILE:
        parse_review(texts[1], read_session(folder, filmed=False))
    record(folder, what, file, texts, step)
    if texts[1]:
        put_in_place(folder, {file: texts[1].encode("utf-8")}, held=True)
    else:
        (folder / file).unlink(missing_ok=True)
