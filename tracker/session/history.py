"""The history of a session's files: every change that a page made, to be undone and redone.

It lies in a file beside ``session.toml``, so that it holds over restarts.
"""

import json
import os
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path

from calibration.errors import InputError

HISTORY_FILE = "edits.jsonl"


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


def record(folder: Path, what: str, file: str, texts: tuple[str, str], step: Step) -> None:
    """Append a line and flush it, before the file itself is changed.

    Parameters
    ----------
    folder : Path
        The session's folder.
    what : str
        In words.
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


def read_history(folder: Path) -> History:
    """Return what can be undone and redone; an incomplete line is skipped."""
    path = folder / HISTORY_FILE
    if not path.is_file():
        return History()
    return history_of(_edits(path.read_text(encoding="utf-8", errors="replace")))


def history_of(edits: Iterable[Edit]) -> History:
    """Return what is left to undo and to redo after a row of edits."""
    done: list[Edit] = []
    undone: list[Edit] = []
    for edit in edits:
        if edit.step == Step.UNDO:
            undone += done[-1:]
            del done[-1:]
        elif edit.step == Step.REDO:
            done += undone[-1:]
            del undone[-1:]
        else:
            done.append(edit)
            undone.clear()
    return History(tuple(done), tuple(undone))


def _edits(text: str) -> list[Edit]:
    found = []
    # Not splitlines: the texts within may hold characters that it takes for ends of lines.
    for line in text.split("\n"):
        try:
            found.append(Edit(**json.loads(line)))
        except (ValueError, TypeError, RecursionError):
            continue
    return found
