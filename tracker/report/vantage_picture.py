"""A place to film from, drawn: the frame as the camera will show it, and the field from above."""

from typing import TYPE_CHECKING

import numpy as np

from tracker.report.comparison_picture import png_of
from tracker.report.look import INK, PAPER, empty
from tracker.report.vantage_frame import draw_close_up, draw_frame, stride_of
from tracker.report.vantage_plan import draw_plan, plan_limits
from tracker.report.vantage_words import figures_clause
from tracker.vantage import Vantage

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH_INCHES, FRAME_INCHES = 12.8, 5.3
"""Width of the sheet and height of the frame on it."""

CLOSE_UP_INCHES, CLOSE_UP_GAP_INCHES = 1.42, 0.36
"""Side of a close-up of the ball, and the room for its caption."""


def vantage_picture(vantage: Vantage) -> bytes:
    """Return a PNG of a place to film from.

    Above, the frame as the camera will show it: horizon, markers, the flights that must stay in
    view, the ball at its true spacing; beside it the ball on the pixels of the frame. Below, the
    field from above: camera and view, line of fire and the strip to keep out of, markers, where
    the next ball lands with 95 %.

    Parameters
    ----------
    vantage : Vantage
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    limits = plan_limits(vantage)
    (left, right), (bottom, top) = limits
    plan = float(np.clip(11.6 * (top - bottom) / (right - left), 2.2, 6.2))
    heights = [0.85, FRAME_INCHES + 0.35, plan + 1.15]
    whole = sum(heights)
    sheet = Figure(figsize=(WIDTH_INCHES, whole), facecolor=PAPER)
    FigureCanvasAgg(sheet)
    _draw_heading(sheet.add_axes((0, 1 - heights[0] / whole, 1, heights[0] / whole)), vantage)
    base = heights[2] + 0.2
    frame = sheet.add_axes(
        (0.3 / WIDTH_INCHES, base / whole, 9.4 / WIDTH_INCHES, FRAME_INCHES / whole)
    )
    draw_frame(frame, vantage)
    _draw_close_ups(sheet, vantage, base / whole, whole)
    field = sheet.add_axes((0.8 / WIDTH_INCHES, 0.6 / whole, 11.6 / WIDTH_INCHES, plan / whole))
    draw_plan(field, vantage, limits)
    return png_of(sheet)


def _draw_heading(axes: "Axes", vantage: Vantage) -> None:
    empty(axes)
    axes.text(
        0.024, 0.66, f"One shot: {figures_clause(vantage.forecast)}", fontsize=11, color=INK,
        va="center", weight="bold",
    )  # fmt: skip
    axes.text(
        0.024,
        0.24,
        "Predicted for this place (± standard uncertainty). Dots: the ball, every "
        f"{stride_of(vantage)} frames. Thin lines: shots one standard uncertainty faster, slower, "
        "steeper, flatter, aside.",
        fontsize=9,
        color=INK,
        va="center",
    )


def _draw_close_ups(sheet: "Figure", vantage: Vantage, base: float, whole: float) -> None:
    """Draw the ball on the pixels of the frame, as wide and as smeared as it will be."""
    moments = [one for one in vantage.forecast.moments if one.margin_px > 0.0]
    if not moments:
        return
    size = max(one.diameter_px + one.streak_px for one in moments)
    half = max(4, int(np.ceil(size / 2.0 + 1.5)))
    side = CLOSE_UP_INCHES
    for place, one in enumerate(moments):
        bottom = base * whole + FRAME_INCHES - (place + 1) * side - place * CLOSE_UP_GAP_INCHES
        axes = sheet.add_axes(
            (10.35 / WIDTH_INCHES, bottom / whole, side / WIDTH_INCHES, side / whole)
        )
        draw_close_up(axes, one, half, place == 0)
