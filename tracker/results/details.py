"""What the results of a session hold beyond their rows: causes, and the places of each ball."""

import csv
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import fields
from pathlib import Path

from calibration.errors import InputError
from tracker.records import TrackPoint
from tracker.results.budgets import ShotKey
from tracker.results.files import json_of
from tracker.results.rows import read_lines

NUMBERS = tuple(
    each.name for each in fields(TrackPoint) if each.name not in ("clip", "shot", "frame", "used")
)
"""Columns of `tracks.csv` that hold a number with a fraction."""


def read_causes(path: Path) -> Mapping[str, str]:
    """Return by the file of each clip that yields no shot why, in a sentence, from `shots.json`.

    Nothing where the file is missing or holds none.
    """
    try:
        return {str(each["clip"]): str(each["reason"]) for each in json_of(path)["no_shot"]}
    except (OSError, ValueError, KeyError, TypeError):
        return {}


def read_notes(path: Path) -> Mapping[str, tuple[str, ...]]:
    """Return by the file of each clip what was assumed and noticed, as clauses, from `shots.json`.

    Nothing where the file is missing or holds none, as an older version's.
    """
    try:
        notes = json_of(path)["notes"]
        return {str(clip): tuple(str(note) for note in said) for clip, said in notes.items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return {}


def read_points(path: Path) -> Mapping[ShotKey, tuple[TrackPoint, ...]]:
    """Return every place of every ball, by shot and in order, from `tracks.csv`.

    Nothing where the file is missing.

    Raises
    ------
    InputError
        Where the file cannot be read.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            f"cannot be read ({error})", where=str(path), remedy="measure the session again"
        ) from None
    found: dict[ShotKey, list[TrackPoint]] = {}
    reader = csv.DictReader(io.StringIO(text))
    for row in read_lines(reader, path):
        try:
            point = _point(row)
        except (KeyError, ValueError, TypeError):
            raise InputError(
                "does not hold what it should",
                where=f"{path}, line {reader.line_num}",
                remedy="measure the session again",
            ) from None
        found.setdefault((point.clip, point.shot), []).append(point)
    return {key: tuple(points) for key, points in found.items()}


def used_places(points: Sequence[TrackPoint]) -> tuple[tuple[float, float], ...]:
    """Return along and up, m, of the places that a fit used."""
    places = [(point.along_m, point.up_m) for point in points if point.used]
    return tuple(place for place in places if all(math.isfinite(value) for value in place))


def _point(row: Mapping[str, str]) -> TrackPoint:
    numbers = {name: float(row[name] or "nan") for name in NUMBERS}
    return TrackPoint(
        clip=row["clip"],
        shot=int(row["shot"]),
        frame=int(row["frame"]),
        used=row["used"] == "true",
        **numbers,
    )
