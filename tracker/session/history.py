"""The history of a session's files: every change that a program made, to be undone and redone.

It lies in a file beside ``session.toml``, so that it holds over restarts. Every line has the whole
text before and after, so nothing that a person decided is lost.
"""

import json
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import asdict, dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path

from calibration.errors import InputError
from tracker.session.document import read_text

HISTORY_FILE = "edits.jsonl"


_CALLED: ContextVar[str] = ContextVar("called", default="")


class Step(StrEnum):
    """What a line of the history did."""

    CHANGE = "change"
    UNDO = "undo"
    REDO = "redo"


@dataclass(frozen=True)
class Edit:
    """One line of the history.

    Attributes
    ----------
    at : str
        When, in local time with its offset.
    what : str
        In words.
    file : str
        Name of the file within the session's folder.
    before, after : str
        The whole text of the file.
    step : str
        A `Step`.
    """

    at: str
    what: str
    file: str
    before: str
    after: str
    step: str = Step.CHANGE.value


@dataclass(frozen=True)
class History:
    """The changes that can be undone and redone, each list with the next one last."""

    done: tuple[Edit, ...] = ()
    undone: tuple[Edit, ...] = ()


@contextmanager
def called(what: str) -> Iterator[None]:
    """Have the changes within recorded under the words of the face that asks for them."""
    token = _CALLED.set(what)
    try:
        yield
    finally:
        _CALLED.reset(token)


def record(folder: Path, what: str, file: str, texts: tuple[str, str], step: Step) -> None:
    """Append a line and flush it, before the file itself is changed.

    Parameters
    ----------
    folder : Path
        The session's folder.
    what : str
        In words; those of `called` go before.
    file : str
    texts : (str, str)
        The whole text of the file before and after.
    step : Step

    Raises
    ------
    InputError
        Where it cannot be written.
    """
    at = datetime.now().astimezone().isoformat(timespec="seconds")
    what = _CALLED.get() or what
    line = json.dumps(asdict(Edit(at, what, file, *texts, step.value)), ensure_ascii=False)
    path = folder / HISTORY_FILE
    try:
        with path.open("ab") as handle:
            # The last line of a program that was killed may lack its end: start on a new one.
            handle.write(b"\n" if handle.tell() else b"")
            handle.write(line.encode("utf-8"))
            handle.flush()
            os.fsync(handle.fileno())
    except OSError as error:
        reason = (error.strerror or "unknown").lower()
        raise InputError(f"cannot be written ({reason})", where=str(path)) from None


def text_of(folder: Path, file: str) -> str:
    """Return the text of a file of the session's folder as it is; empty where it is missing.

    Raises
    ------
    InputError
        Where the file cannot be read or is not UTF-8.
    """
    path = folder / file
    return read_text(path) if path.is_file() else ""


def read_history(folder: Path) -> History:
    """Return what can be undone and redone; an incomplete line is skipped."""
    path = folder / HISTORY_FILE
    if not path.is_file():
        return History()
    edits = _edits(path.read_text(encoding="utf-8", errors="replace"))
    texts = {file: text_of(folder, file) for file in {edit.file for edit in edits}}
    return history_of(made(edits, texts))


def made(edits: Sequence[Edit], texts: Mapping[str, str]) -> list[Edit]:
    """Return the edits without those that a program recorded and was killed before it made them.

    Parameters
    ----------
    edits : sequence of Edit
    texts : mapping of str to str
        What each file holds now.

    Notes
    -----
    From the last one back: an edit that was made leads to the text that the next one begins with;
    one that was not made begins with it.
    """
    next_text, kept = dict(texts), []
    for edit in reversed(edits):
        expected = next_text[edit.file]
        if edit.before == edit.after or edit.before == expected != edit.after:
            continue
        kept.append(edit)
        next_text[edit.file] = edit.before
    return kept[::-1]


def history_of(edits: Iterable[Edit]) -> History:
    """Return what is left to undo and to redo after a row of edits."""
    done: list[Edit] = []
    undone: list[Edit] = []
    for edit in edits:
        if edit.step == Step.UNDO:
            _moved(edit, done, undone)
        elif edit.step == Step.REDO:
            _moved(edit, undone, done)
        else:
            done.append(edit)
            undone.clear()
    return History(tuple(done), tuple(undone))


def _moved(step: Edit, there: list[Edit], here: list[Edit]) -> None:
    """Move the last change of a step's file from one list to the other."""
    for place in reversed(range(len(there))):
        if there[place].file == step.file:
            here.append(there.pop(place))
            return


def _edits(text: str) -> list[Edit]:
    found = []
    # Not splitlines: the texts within may hold characters that it takes for ends of lines.
    for line in text.split("\n"):
        try:
            found.append(Edit(**json.loads(line)))
        except (ValueError, TypeError, RecursionError):
            continue
    return found
