"""What the commands print as tables, as data for other programs (option --json)."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields, is_dataclass
from datetime import date
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tracker.records import SHOT_COLUMNS, Shot

if TYPE_CHECKING:
    from calibration.markers import Proposal
    from calibration.site import Calibration
    from tracker.comparison.compare import Comparison
    from tracker.launcher.prediction import Prediction
    from tracker.session import AddedShot, Decision
    from tracker.statistics.components import Estimate
    from tracker.vantage import Vantage

Document = dict[str, Any]


def plain(value: Any) -> Any:
    """Return a value in the types that JSON has; what is no finite number is null.

    Parameters
    ----------
    value : anything
        Dataclasses become objects of their fields, arrays lists, enum members their values.
    """
    if isinstance(value, Enum):
        return value.value
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, Path | date):
        return str(value)
    if is_dataclass(value):
        return {each.name: plain(getattr(value, each.name)) for each in fields(value)}
    if isinstance(value, Mapping):
        return {str(plain(key)): plain(each) for key, each in value.items()}
    if hasattr(value, "tolist"):
        numbers = value.tolist()
        # Arrays may be long, and are seldom hold what is no finite number.
        finite = value.dtype.kind in "biu" or bool((abs(value) < math.inf).all())
        return numbers if finite else plain(numbers)
    return [plain(each) for each in value]


def shot_document(shot: Shot) -> Document:
    """Return one row with the columns of ``shots.csv`` and the codes of its reasons."""
    row = {name: plain(getattr(shot, name)) for name in SHOT_COLUMNS}
    return row | {"reasons": [reason.code.value for reason in shot.reasons]}


def review_document(rows: Iterable[tuple[Shot, "Decision | AddedShot | None"]]) -> list[Document]:
    """Return the shots with the decisions about them."""
    return [
        shot_document(shot) | {"decision": None if one is None else plain(one)}
        for shot, one in rows
    ]


def truth_document(
    pairs: Iterable[tuple[Shot, Mapping[str, float]]],
    missed: Iterable[Mapping[str, float]],
    invented: Iterable[Shot],
) -> Document:
    """Return the shots of a clip beside the truth."""
    return {
        "shots": [shot_document(shot) | {"true": plain(true)} for shot, true in pairs],
        "missed": plain(missed),
        "invented": [shot_document(shot) for shot in invented],
    }


def comparison_document(comparison: "Comparison") -> Document:
    """Return setups, their differences and their predictions."""
    return {
        "quantity": comparison.quantity,
        "level": comparison.level,
        "setups": plain(comparison.summaries),
        "differences": plain(comparison.contrasts),
        "predictions": plain(comparison.verdicts),
        "expected": plain(comparison.expected),
    }


def prediction_document(
    name: str,
    prediction: "Prediction",
    measured: "tuple[Estimate | None, Estimate | None]" = (None, None),
) -> Document:
    """Return what is predicted of a setup, and what was measured of it."""
    return {
        "setup": name,
        "exit_speed_mps": plain(prediction.exit_speed),
        "spin_radps": plain(prediction.spin),
        "carry_m": plain(prediction.carry),
        "sticks": plain(prediction.sticks),
        "starts": bool(prediction.starts),
        "costs": plain(prediction.costs),
        "measured_exit_speed_mps": plain(measured[0]),
        "measured_carry_m": plain(measured[1]),
    }


def calibration_document(calibration: "Calibration") -> Document:
    """Return the residuals of the markers and what stays weakest."""
    suspects = {suspect.name for suspect in calibration.suspects}
    markers = [
        {
            "name": name,
            "residual_px": plain(calibration.residuals_px[place]),
            "ground_residual_m": plain(calibration.ground_residuals_m[place]),
            "redundancy": plain(calibration.redundancy[place]),
            "suspect": name in suspects,
        }
        for place, name in enumerate(calibration.markers)
    ]
    return {
        "summary": calibration.summary,
        "markers": markers,
        "weakest": calibration.weakest.text,
        "notes": list(calibration.notes),
    }


def proposals_document(proposals: "Sequence[Proposal]") -> list[Document]:
    """Return the proposed pixels of markers."""
    names = ("name", "pixel", "pixel_u", "contrast")
    return [{name: plain(getattr(one, name)) for name in names} for one in proposals]


def vantage_document(found: "Vantage") -> Document:
    """Return what a place to film from is worth."""
    forecast = found.forecast
    return {
        "quantity": found.quantity,
        "position_m": plain(forecast.camera.position),
        "distance_m": found.distance_m,
        "verdict": plain(found.verdict),
        "expected": plain(forecast.values),
        "u": plain(forecast.u),
        "budget": plain(forecast.budget.parts),
        "frames_seen": forecast.frames_seen,
        "frames_flown": forecast.frames_flown,
        "longest_shutter_s": plain(forecast.longest_shutter_s),
        "changes": plain(found.changes),
        "at_edge": list(found.at_edge),
    }
