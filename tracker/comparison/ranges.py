"""The best value of a sweep, in a sentence."""

import math
from collections.abc import Sequence

from tracker.comparison.words import WORDINGS, rounded
from tracker.launcher.prediction import Prediction
from tracker.launcher.sweep import Sweep
from tracker.statistics.components import Estimate

LITTLE = 0.01
"""Share of the best figure whose loss is little (common practice, no source)."""


def best_along(
    sweep: Sweep, predictions: Sequence[Prediction], unit: str = "", meaning: str = ""
) -> str:
    """Return where along a sweep the carry is greatest, or without a carry the exit speed.

    Parameters
    ----------
    sweep : Sweep
    predictions : sequence of Prediction
        One for each value of the sweep.
    unit, meaning : str
        Of the number that is swept, as a person reads them; its key without them.

    Notes
    -----
    Stated are the values between which it loses less than `LITTLE`, since the best one alone looks
    more exact than it is.
    """
    quantity = "carry_m" if any(one.carry is not None for one in predictions) else "exit_speed_mps"
    figures = [
        (value, found)
        for value, one in zip(sweep.values, predictions, strict=True)
        if (found := _figure(one, quantity)) is not None
    ]
    if not figures:
        return "no ball gets out anywhere along the sweep."
    at, best = max(figures, key=lambda each: each[1].value)
    near = [value for value, one in figures if one.value >= (1.0 - LITTLE) * best.value]
    low, high = min(near), max(near)
    step = abs(sweep.values[1] - sweep.values[0]) if len(sweep.values) > 1 else abs(at)
    wording, called = WORDINGS[quantity], meaning or sweep.key
    figure = f"{rounded(best.value, best.u)} ±{rounded(best.u, best.u)} {wording.unit}"

    def shown(*values: float) -> str:
        return f"{' to '.join(rounded(value, 10.0 * step) for value in values)} {unit}".rstrip()

    little = f"{100 * LITTLE:.0f} %"
    if (low, high) == (figures[0][0], figures[-1][0]):
        return (
            f"the {called} hardly matters from {shown(low, high)}: {wording.noun} {figure}, and "
            f"nowhere {little} less."
        )
    if at in (sweep.values[0], sweep.values[-1]):
        return (
            f"best at an end of the sweep, {shown(at)} ({called}): {wording.noun} {figure}; sweep "
            "beyond it to see where it falls."
        )
    return (
        f"best near {shown(at)} ({called}): {wording.noun} {figure}; from {shown(low, high)} it "
        f"loses less than {little}."
    )


def _figure(one: Prediction, quantity: str) -> Estimate | None:
    """Return the figure of a prediction, None where no ball gets out."""
    if not one.starts:
        return None
    found = one.carry if quantity == "carry_m" else one.exit_speed
    return found if found is not None and math.isfinite(found.value) and found.value > 0.0 else None
