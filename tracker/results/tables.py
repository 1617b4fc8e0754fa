"""The files of ``results/``: their columns and how a cell is written (docs/formats.md)."""

import csv
import io
import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from enum import Enum
from typing import Any

from tracker.records import (
    Budget,
    Consistency,
    FlightModel,
    Pooled,
    RejectedCandidate,
    Shot,
    TrackPoint,
)

SHOT_COLUMNS = tuple(field.name for field in fields(Shot))
TRACK_COLUMNS = tuple(field.name for field in fields(TrackPoint))

DECIMALS = 6
"""A millionth of a metre or a second lies far below what any clip can tell."""


@dataclass(frozen=True)
class Origin:
    """What made the results: without it nobody could make them again.

    Attributes
    ----------
    version : str
        Version of the program.
    session : str
        The session's name.
    inputs : mapping
        SHA-256 of every file that was read, by its name within the session's folder.
    """

    version: str
    session: str
    inputs: Mapping[str, str]


def shots_csv(shots: Iterable[Shot]) -> str:
    """Return the text of ``shots.csv``."""
    return _csv(SHOT_COLUMNS, shots)


def tracks_csv(points: Iterable[TrackPoint]) -> str:
    """Return the text of ``tracks.csv``."""
    return _csv(TRACK_COLUMNS, points)


def shots_json(
    shots: Sequence[Shot],
    origin: Origin,
    pictures: Sequence[str] = (),
    budgets: Sequence[Budget | None] = (),
    consistencies: Sequence[Consistency | None] = (),
    rejected_candidates: Iterable[RejectedCandidate] = (),
    models: Sequence[FlightModel | None] = (),
    pooled: Mapping[str, Pooled] | None = None,
) -> str:
    """Return the text of ``shots.json``: the rows of ``shots.csv`` and what made them.

    Parameters
    ----------
    shots : sequence of Shot
    origin : Origin
    pictures : sequence of str
        Names of the pictures that lie beside the file.
    budgets : sequence of Budget or None
        One a shot; those that are missing leave the rows as they are.
    consistencies : sequence of Consistency or None
        The same.
    rejected_candidates : iterable of RejectedCandidate
        Those that chance explains better are left out.
    models : sequence of FlightModel or None
        The same.
    pooled : mapping of str to Pooled, optional
        Drag and lift as all shots of the session have them.
    """
    rows: list[dict[str, Any]] = [
        {name: _plain(value) for name, value in asdict(shot).items()} for shot in shots
    ]
    for row, budget in zip(rows, budgets, strict=False):
        row.update(_budget(budget))
    for row, consistency in zip(rows, consistencies, strict=False):
        row.update(_consistency(consistency))
    for row, model in zip(rows, models, strict=False):
        row.update({} if model is None else {"model": _fields(model)})
    document = {
        "lobmeter": origin.version,
        "session": origin.session,
        "inputs": [{"file": file, "sha256": digest} for file, digest in origin.inputs.items()],
        "shots": rows,
        "rejected_candidates": [
            _rejected_candidate(each) for each in rejected_candidates if each.support > 0.0
        ],
        "pooled": {name: _fields(found) for name, found in (pooled or {}).items()},
        "pictures": list(pictures),
    }
    return json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _fields(record: FlightModel | Pooled) -> dict[str, Any]:
    return {name: _plain(value) for name, value in asdict(record).items()}


def _budget(budget: Budget | None) -> dict[str, Any]:
    if budget is None:
        return {}
    parts = {
        figure: {source: _plain(u) for source, u in by_source.items()}
        for figure, by_source in budget.parts.items()
    }
    return {"budget": parts, "shared_u": {f: _plain(u) for f, u in budget.shared_u.items()}}


def _consistency(consistency: Consistency | None) -> dict[str, Any]:
    if consistency is None:
        return {}
    return {"nis": {name: _plain(value) for name, value in asdict(consistency).items()}}


def _rejected_candidate(each: RejectedCandidate) -> dict[str, Any]:
    names = ("clip", "release_s", "support", "frames_seen", "frames_crossed", "reason")
    return {name: _plain(getattr(each, name)) for name in names}


def _csv(columns: Sequence[str], rows: Iterable[Shot] | Iterable[TrackPoint]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([_cell(getattr(row, column)) for column in columns])
    return text.getvalue()


def _cell(value: Any) -> str:
    plain = _plain(value)
    if plain is None:
        return ""
    if isinstance(plain, bool):
        return "true" if plain else "false"
    return str(plain)


def _plain(value: Any) -> str | int | float | bool | None:
    """Return a value as both files hold it; what is not a finite number is not a number."""
    if isinstance(value, Enum):
        return str(value.value)
    if isinstance(value, float):
        return round(float(value), DECIMALS) + 0.0 if math.isfinite(value) else None
    if value is None or isinstance(value, str | bool):
        return value
    if hasattr(value, "item"):
        return _plain(value.item())
    return int(value)
