"""The results of an earlier measurement, read back."""

import csv
import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from calibration.errors import InputError, InputErrors
from tracker.records import Quality, Shot
from tracker.session import SESSION_FILE

TEXTS = ("clip", "setup", "reason")
WHOLES = ("shot", "frames_seen")
NEEDED = ("release_s",)


def read_shots(path: Path) -> list[Shot]:
    """Read `shots.csv`.

    Raises
    ------
    FileNotFoundError
        Where there is none yet.
    InputErrors
        With every fault by line and column.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            f"cannot be read ({error})", where=str(path), remedy="measure the session again"
        ) from None
    lines = csv.DictReader(text.splitlines())
    columns = [field.name for field in fields(Shot)]
    missing = [name for name in columns if name not in (lines.fieldnames or [])]
    if missing:
        raise InputError(
            f"lacks the columns {', '.join(missing)}",
            where=str(path),
            remedy="measure the session again",
        )
    faults: list[InputError] = []
    shots: list[Shot] = []
    for line in lines:
        cells: dict[str, Any] = {}
        for name in columns:
            try:
                cells[name] = _value(name, line[name] or "")
            except ValueError:
                faults.append(
                    InputError(
                        f"{line[name]!r} does not belong there",
                        where=f"{path}, line {lines.line_num}, {name}",
                        remedy="measure the session again",
                    )
                )
        if len(cells) == len(columns):
            shots.append(Shot(**cells))
    if faults:
        raise InputErrors(faults)
    return shots


@dataclass(frozen=True)
class Told:
    """What `shots.json` tells beyond the rows of `shots.csv`.

    Attributes
    ----------
    shared : mapping
        By clip and shot, and then by figure, the part of the standard uncertainty that every
        shot of the session shares.
    session_sha256 : str or None
        Digest of the session file that the results were made from.
    """

    shared: Mapping[tuple[str, int], Mapping[str, float]] = field(default_factory=dict)
    session_sha256: str | None = None

    def shared_of(self, shot: Shot) -> Mapping[str, float]:
        """Return a shot's shared parts; none where they are not known."""
        return self.shared.get((shot.clip, shot.shot), {})


def read_told(path: Path) -> Told:
    """Read what `shots.json` tells beyond the rows; nothing where it is missing or unreadable.

    The rows themselves are those of `shots.csv`, which a person can read and mend.
    """
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
        digests = {each["file"]: each["sha256"] for each in document["inputs"]}
        shared = {
            (str(row["clip"]), int(row["shot"])): {
                str(figure): float(u) for figure, u in row.get("shared_u", {}).items()
            }
            for row in document["shots"]
        }
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return Told()
    return Told(shared, digests.get(SESSION_FILE))


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a small file, in hexadecimal."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _value(name: str, cell: str) -> str | int | float | bool | Quality | None:
    if name in TEXTS:
        return cell
    if name == "quality":
        return Quality(cell)
    if name == "landing_seen":
        return {"true": True, "false": False}[cell] if cell in ("true", "false") else _refuse(cell)
    if name in WHOLES:
        return int(cell)
    if cell == "" and name not in NEEDED:
        return None
    value = float(cell)
    return value if math.isfinite(value) else _refuse(cell)


def _refuse(cell: str) -> bool:
    raise ValueError(cell)
