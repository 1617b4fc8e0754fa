"""The plot of how far each place lies from the fitted flight, against the time since release."""

import numpy as np
from numpy.typing import NDArray

from tracker.records import MeasuredShot
from tracker.report.axes import Scale, label, scale_over
from tracker.report.labels import Box
from tracker.report.lettering import POINTS_PER_INCH, width_inches
from tracker.report.look import FAINT, INK
from tracker.report.panels import release_time
from tracker.report.sheet import Letters, Sheet, crosses, outline

Array = NDArray[np.float64]

UPWARDS = "#b35c00"
NOT_USED = "#0b7dbd"

PLOT = Box(0.9, 0.48, 6.2, 2.08)
"""Where the plot lies in its area, inches."""

MANY_PLACES = 60
"""Places above which the dots of the misses are small."""

TICK_INCHES = 0.04
"""Length of a tick of the axes; a matter of looks, as the sizes of letters below, points."""
NUMBER_SIZE, TITLE_SIZE, KEY_SIZE = 8.0, 8.5, 7.5
"""Sizes of letters, points. A matter of looks."""


def draw_misses(part: Sheet, measured: MeasuredShot) -> None:
    """Plot how far each place lies from the fitted flight, against the time since release."""
    times = np.array([point.time_s for point in measured.points]) - release_time(measured)
    columns = np.array([point.residual_column_px for point in measured.points])
    rises = np.array([-point.residual_row_px for point in measured.points])
    used = np.array([point.used for point in measured.points], bool)
    reach = np.concatenate([columns[used], rises[used]])
    reach = reach[np.isfinite(reach)]
    limit = max(1.0, 1.15 * float(np.abs(reach).max())) if len(reach) else 1.0
    across = scale_over(times.tolist(), PLOT.left, PLOT.right)
    down = Scale(-limit, limit, PLOT.bottom, PLOT.top)
    part.write((PLOT.left, 0.36), "from the fitted flight to each place, px", Letters(TITLE_SIZE))
    middle = 0.5 * (PLOT.left + PLOT.right)
    part.write((middle, 2.36), "time since release, s", Letters(NUMBER_SIZE, ha="center"))
    _draw_axes(part, across, down)
    size = 2.4 if len(times) > MANY_PLACES else 4.5
    for values, sign in ((columns, "o"), (rises, "s")):
        at = np.column_stack([across.at(times[used]), down.at(values[used])])
        _draw_signs(part, at, sign, size)
    beyond = ~used & np.isfinite(rises)
    held = np.clip(rises[beyond], -0.95 * limit, 0.95 * limit)
    _draw_signs(part, np.column_stack([across.at(times[beyond]), down.at(held)]), "x", 5.0)
    _draw_key(part, bool(used.any()), bool(beyond.any()))


def _draw_axes(part: Sheet, across: Scale, down: Scale) -> None:
    """Draw the axes with their ticks and numbers, and the line of no miss."""
    corner = np.array([[PLOT.left, PLOT.top], [PLOT.left, PLOT.bottom], [PLOT.right, PLOT.bottom]])
    part.segments(np.stack([corner[:-1], corner[1:]], axis=1), FAINT, 0.8)
    ends = np.array([[[PLOT.left, down.at(0.0)], [PLOT.right, down.at(0.0)]]])
    part.segments(ends, INK, 0.8)
    for scale, upright in ((across, False), (down, True)):
        ticks = scale.ticks(5 if upright else 6)
        step = ticks[1] - ticks[0] if len(ticks) > 1 else 1.0
        for tick in ticks:
            place = scale.at(tick)
            at = (PLOT.left, place) if upright else (place, PLOT.bottom)
            way = np.array([-TICK_INCHES, 0.0] if upright else [0.0, TICK_INCHES])
            part.segments((np.array(at) + np.array([[0.0, 0.0], way]))[None], INK, 0.8)
            beside = (at[0] - 0.07, at[1]) if upright else (at[0], at[1] + 0.14)
            letters = Letters(NUMBER_SIZE, ha="right" if upright else "center")
            part.write(beside, label(tick, step), letters)


def _draw_signs(part: Sheet, at: Array, sign: str, size: float) -> None:
    """Draw dots, squares or crosses of a size in points at places, shape (N, 2)."""
    if sign == "o":
        part.dots(at, 0.5 * size + 0.4, INK)
    elif sign == "s":
        known = at[np.isfinite(at).all(axis=1)]
        part.outlines(known[:, None] + outline("s", np.zeros(2), size), UPWARDS, 0.8)
    else:
        part.segments(crosses(at, size), NOT_USED, 1.2)


def _draw_key(part: Sheet, used: bool, beyond: bool) -> None:
    """Say what the signs are, at the right above the plot."""
    entries = [("o", "to the right"), ("s", "upwards")] if used else []
    entries += [("x", "not used")] if beyond else []
    right, sign_inches = PLOT.right, 14.0 / POINTS_PER_INCH
    for sign, words in reversed(entries):
        right -= width_inches(words, KEY_SIZE)
        part.write((right, 0.38), words, Letters(KEY_SIZE))
        _draw_signs(part, np.array([[right - 0.5 * sign_inches, 0.38]]), sign, 4.0)
        right -= 1.5 * sign_inches
