"""What made each figure of a measured session uncertain, read back."""

from collections.abc import Mapping
from pathlib import Path

from tracker.results.files import json_of

ShotKey = tuple[str, int]
"""Clip and number of a shot."""

Budgets = Mapping[ShotKey, Mapping[str, Mapping[str, float]]]


def read_budgets(path: Path) -> Budgets:
    """Return each shot's standard uncertainties by figure and source from `shots.json`.

    Nothing where the file is missing or holds none.
    """
    try:
        rows = json_of(path)["shots"]
        return {
            (str(row["clip"]), int(row["shot"])): {
                str(figure): {str(source): float(u) for source, u in parts.items()}
                for figure, parts in row.get("budget", {}).items()
            }
            for row in rows
        }
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return {}
