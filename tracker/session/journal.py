"""The journal of ``review.toml``: every change with the text before it, so that none is lost."""

import json
import os
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from calibration.errors import InputError

JOURNAL_FILE = "review-journal.jsonl"


@dataclass(frozen=True)
class Change:
    """One line of the journal.

    Attributes
    ----------
    at : str
        When, in local time with its offset.
    what : str
        In words.
    before, after : str
        The whole text of ``review.toml``.
    undoes : bool
        Whether it takes back the change before it.
    """

    at: str
    what: str
    before: str
    after: str
    undoes: bool = False


def record(folder: Path, what: str, before: str, after: str, undoes: bool = False) -> None:
    """Append a change to the journal and flush it, before the file itself is changed.

    Raises
    ------
    InputError
        Where it cannot be written.
    """
    at = datetime.now().astimezone().isoformat(timespec="seconds")
    change = {"at": at, "what": what, "before": before, "after": after, "undoes": undoes}
    path = folder / JOURNAL_FILE
    try:
        with path.open("a+b") as file:
            # The last line of a run that was killed may lack its end.
            if file.tell() and not _ends_line(path):
                file.write(b"\n")
            file.write(json.dumps(change, ensure_ascii=False).encode("utf-8") + b"\n")
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        reason = (error.strerror or "unknown").lower()
        raise InputError(f"cannot be written ({reason})", where=str(path)) from None


def changes(folder: Path) -> list[Change]:
    """Return the changes of the journal in order; an incomplete line is skipped."""
    path = folder / JOURNAL_FILE
    found = []
    if path.is_file():
        for line in path.read_text(encoding="utf-8", errors="replace").splitlines():
            try:
                found.append(Change(**json.loads(line)))
            except (ValueError, TypeError, RecursionError):
                continue
    return found


def last_change(folder: Path, text: str) -> Change | None:
    """Return the change that an undo takes back; None where there is none.

    Changes that never reached ``review.toml``, because the run was killed, are passed over.

    Parameters
    ----------
    folder : Path
    text : str
        What ``review.toml`` holds now.

    Raises
    ------
    InputError
        Where the file was edited by hand since.
    """
    left: list[Change] = []
    for change in changes(folder):
        if change.undoes:
            left = left[:-1]
        else:
            left.append(change)
    while left and left[-1].before == text and left[-1].after != text:
        left.pop()
    if not left:
        return None
    if left[-1].after != text:
        raise InputError(
            "was edited by hand after the last lobmeter review",
            where="review.toml",
            remedy="take back one shot's decision with --shot and --take-back, or edit the file",
        )
    return left[-1]


def _ends_line(path: Path) -> bool:
    with path.open("rb") as file:
        file.seek(-1, os.SEEK_END)
        return file.read(1) == b"\n"
