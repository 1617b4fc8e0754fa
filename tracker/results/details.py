"""What the results of a session hold beyond their rows: budgets, and the places of each ball."""

import csv
import json
import math
from collections.abc import Mapping
from pathlib import Path

from calibration.errors import InputError

ShotKey = tuple[str, int]
"""Clip and number of a shot."""

Budgets = Mapping[ShotKey, Mapping[str, Mapping[str, float]]]
Places = Mapping[ShotKey, tuple[tuple[float, float], ...]]


def read_budgets(path: Path) -> Budgets:
    """Return each shot's standard uncertainties by figure and source from `shots.json`.

    Nothing where the file is missing or holds none.
    """
    try:
        rows = json.loads(path.read_text(encoding="utf-8"))["shots"]
        return {
            (str(row["clip"]), int(row["shot"])): {
                str(figure): {str(source): float(u) for source, u in parts.items()}
                for figure, parts in row.get("budget", {}).items()
            }
            for row in rows
        }
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return {}


def read_places(path: Path) -> Places:
    """Return along and up, m, of every place that a fit used, by shot, from `tracks.csv`.

    Nothing where the file is missing.

    Raises
    ------
    InputError
        Where the file cannot be read.
    """
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            f"cannot be read ({error})", where=str(path), remedy="measure the session again"
        ) from None
    found: dict[ShotKey, list[tuple[float, float]]] = {}
    reader = csv.DictReader(lines)
    for row in reader:
        try:
            key = (row["clip"], int(row["shot"]))
            place = (float(row["along_m"] or "nan"), float(row["up_m"] or "nan"))
            used = row["used"] == "true"
        except (KeyError, ValueError, TypeError):
            raise InputError(
                "does not hold what it should",
                where=f"{path}, line {reader.line_num}",
                remedy="measure the session again",
            ) from None
        if used and all(math.isfinite(value) for value in place):
            found.setdefault(key, []).append(place)
    return {key: tuple(places) for key, places in found.items()}
