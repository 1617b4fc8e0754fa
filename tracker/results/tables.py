"""The files of ``results/``: their columns and how a cell is written (docs/formats.md)."""

import csv
import io
import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields
from enum import Enum
from typing import Any

from tracker.records import (
    SHOT_COLUMNS,
    Budget,
    Consistency,
    FlightModel,
    MeasuredShot,
    Pooled,
    Reason,
    RejectedCandidate,
    Shot,
    TrackPoint,
    sentence,
)

TRACK_COLUMNS = tuple(field.name for field in fields(TrackPoint))

DECIMALS = 6
"""Places after the point, unit of the column: a millionth of a metre or second is far below any
measurement uncertainty of a clip."""


@dataclass(frozen=True)
class Origin:
    """What made the results, so that they can be made again.

    Attributes
    ----------
    version : str
        Version of the program.
    session : str
        The session's name.
    inputs : mapping
        SHA-256 of every file that was read, by its name within the session's folder.
    ball : str or None
        Row of the ball table that was thrown, where no file states it.
    notes : mapping of str to sequence of str
        By the file of a clip what was assumed and noticed, as clauses.
    from_anywhere : bool
        Whether shots might start elsewhere than at the release point.
    """

    version: str
    session: str
    inputs: Mapping[str, str]
    ball: str | None = None
    notes: Mapping[str, Sequence[str]] = field(default_factory=dict)
    from_anywhere: bool = False


def shots_csv(shots: Iterable[Shot]) -> str:
    """Return the text of ``shots.csv``."""
    return _csv(SHOT_COLUMNS, shots)


def tracks_csv(points: Iterable[TrackPoint]) -> str:
    """Return the text of ``tracks.csv``."""
    return _csv(TRACK_COLUMNS, points)


def shots_json(
    shots: Sequence[MeasuredShot],
    origin: Origin,
    pictures: Sequence[str] = (),
    rejected_candidates: Iterable[RejectedCandidate] = (),
    pooled: Mapping[str, Pooled] | None = None,
    causes: Mapping[str, Sequence[Reason]] | None = None,
) -> str:
    """Return the text of ``shots.json``: the rows of ``shots.csv`` and what made them.

    Parameters
    ----------
    shots : sequence of MeasuredShot
    origin : Origin
    pictures : sequence of str
        Names of the pictures that lie beside the file.
    rejected_candidates : iterable of RejectedCandidate
        Those that chance explains better (a negative support) are left out; one found from
        anywhere has a support of 0.
    pooled : mapping of str to Pooled, optional
        Drag and lift of all shots of the session together.
    causes : mapping of str to sequence of Reason, optional
        By the file of a clip that yields no shot, why.
    """
    document: dict[str, Any] = {
        "lobmeter": origin.version,
        "session": origin.session,
        "inputs": [{"file": file, "sha256": digest} for file, digest in origin.inputs.items()],
        "shots": [_shot(each) for each in shots],
        "rejected_candidates": [
            _rejected_candidate(each) for each in rejected_candidates if each.support >= 0.0
        ],
        "pooled": {name: _fields(found) for name, found in (pooled or {}).items()},
        "no_shot": [
            {"clip": clip, "reason": sentence(reasons), "reasons": _reasons(reasons)}
            for clip, reasons in (causes or {}).items()
        ],
        "notes": {clip: list(said) for clip, said in origin.notes.items()},
        "pictures": list(pictures),
    }
    if origin.ball is not None:
        document["ball"] = origin.ball
    if origin.from_anywhere:
        document["from_anywhere"] = True
    return json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _shot(measured: MeasuredShot) -> dict[str, Any]:
    row: dict[str, Any] = {name: _plain(getattr(measured.shot, name)) for name in SHOT_COLUMNS}
    row["reasons"] = _reasons(measured.shot.reasons)
    if measured.budget is not None:
        row.update(_budget(measured.budget))
    if measured.consistency is not None:
        row["nis"] = _fields(measured.consistency)
    if measured.model is not None:
        row["model"] = _fields(measured.model)
    return row


def _fields(record: Consistency | FlightModel | Pooled) -> dict[str, Any]:
    return {name: _plain(value) for name, value in asdict(record).items()}


def _budget(budget: Budget) -> dict[str, Any]:
    parts = {
        figure: {source: _plain(u) for source, u in by_source.items()}
        for figure, by_source in budget.parts.items()
    }
    return {"budget": parts, "shared_u": {f: _plain(u) for f, u in budget.shared_u.items()}}


def _rejected_candidate(each: RejectedCandidate) -> dict[str, Any]:
    names = ("clip", "release_s", "support", "frames_seen", "frames_crossed", "reason")
    row: dict[str, Any] = {name: _plain(getattr(each, name)) for name in names}
    return row | {"reasons": _reasons(each.reasons)}


def _reasons(reasons: Iterable[Reason]) -> list[dict[str, Any]]:
    """Return reasons as codes with their numbers."""
    return [
        {
            "code": reason.code.value,
            "numbers": {name: _plain(value) for name, value in reason.numbers.items()},
        }
        | ({"words": reason.words} if reason.words else {})
        for reason in reasons
    ]


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
