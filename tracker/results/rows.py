"""The rows of an earlier measurement, read back with what made them."""

import csv
import io
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from calibration.errors import InputError, InputErrors
from tracker.records import SHOT_COLUMNS, Quality, Reason, Shot
from tracker.results.files import json_of

TEXTS = ("clip", "setup")
WHOLES = ("shot", "frames_seen")
NEEDED = ("release_s",)
AGAIN = "measure the session again"
LONGEST_SHOWN = 60
"""Characters of a cell that a sentence repeats; common practice, no source."""


def read_shots(path: Path) -> list[Shot]:
    """Read `shots.csv`, with the reasons of `shots.json` beside it.

    A copy that a spreadsheet saved with semicolons and decimal commas is read too.

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
        raise InputError(f"cannot be read ({error})", where=str(path), remedy=AGAIN) from None
    separator = ";" if ";" in text.split("\n", 1)[0] else ","
    lines = csv.DictReader(io.StringIO(text), delimiter=separator)
    missing = [name for name in SHOT_COLUMNS if name not in (lines.fieldnames or [])]
    if missing:
        what = f"lacks the columns {', '.join(missing)}"
        raise InputError(what, where=str(path), remedy=AGAIN)
    reasons = _read_reasons(path.with_suffix(".json"))
    faults: list[InputError] = []
    shots: list[Shot] = []
    for line in read_lines(lines, path):
        if separator == ";":
            line = {
                name: cell if name in TEXTS else (cell or "").replace(",", ".")
                for name, cell in line.items()
            }
        where = f"{path}, line {lines.line_num}"
        cells = _cells(line, where, faults)
        if cells is not None:
            known = reasons.get((cells["clip"], cells["shot"]), ())
            shots.append(Shot(**cells, reasons=known))
    if faults:
        raise InputErrors(faults)
    return shots


def read_lines(lines: "csv.DictReader[str]", path: Path) -> Iterator[dict[str, str]]:
    """Yield the lines of a table.

    Raises
    ------
    InputError
        Where one cannot be taken apart, for instance for a cell longer than any that is written.
    """
    try:
        yield from lines
    except csv.Error as error:
        where = f"{path}, line {lines.line_num}"
        raise InputError(f"cannot be read ({error})", where=where, remedy=AGAIN) from None


def _cells(
    line: Mapping[str, str | None], where: str, faults: list[InputError]
) -> dict[str, Any] | None:
    """Return a line's values by field, None where one is at fault."""
    cells: dict[str, Any] = {}
    columns = [each.name for each in fields(Shot) if each.name != "reasons"]
    for name in columns:
        try:
            cells[name] = _value(name, line[name] or "")
        except ValueError:
            what = f"{(line[name] or '')[:LONGEST_SHOWN]!r} does not belong there"
            faults.append(InputError(what, where=f"{where}, {name}", remedy=AGAIN))
    return cells if len(cells) == len(columns) else None


@dataclass(frozen=True)
class Provenance:
    """What `shots.json` states beyond the rows of `shots.csv`.

    Attributes
    ----------
    shared : mapping
        By clip and shot, and then by figure, the part of the standard uncertainty that every
        shot of the session shares.
    inputs : mapping of str to str
        SHA-256 of each file that the results were made from, by its name in the session's folder.
    version : str or None
        Version of the program that made them.
    ball : str or None
        Ball that was thrown, for a video file without a session; None where it is not known.
    from_anywhere : bool
        Whether shots might start elsewhere than at the release point.
    """

    shared: Mapping[tuple[str, int], Mapping[str, float]] = field(default_factory=dict)
    inputs: Mapping[str, str] = field(default_factory=dict)
    version: str | None = None
    ball: str | None = None
    from_anywhere: bool = False

    def shared_of(self, shot: Shot) -> Mapping[str, float]:
        """Return a shot's shared parts; none where they are not known."""
        return self.shared.get((shot.clip, shot.shot), {})


def read_provenance(path: Path) -> Provenance:
    """Read what `shots.json` states beyond the rows; nothing where it is missing or unreadable.

    The rows themselves are those of `shots.csv`, which a person can read and mend.
    """
    try:
        document = json_of(path)
        digests = {str(each["file"]): str(each["sha256"]) for each in document["inputs"]}
        shared = {
            (str(row["clip"]), int(row["shot"])): {
                str(figure): float(u) for figure, u in row.get("shared_u", {}).items()
            }
            for row in document["shots"]
        }
        made_by, ball = document.get("lobmeter"), document.get("ball")
        from_anywhere = document.get("from_anywhere") is True
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return Provenance()
    version, thrown = (None if each is None else str(each) for each in (made_by, ball))
    return Provenance(shared, digests, version, thrown, from_anywhere)


def _read_reasons(path: Path) -> dict[tuple[str, int], tuple[Reason, ...]]:
    """Return the reasons of `shots.json` by clip and shot; none where they cannot be read."""
    try:
        rows = json_of(path)["shots"]
        return {
            (str(row["clip"]), int(row["shot"])): tuple(
                Reason.read(each) for each in row["reasons"]
            )
            for row in rows
        }
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return {}


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
