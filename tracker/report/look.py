"""The look of every picture: few colours, told apart by shape and lightness as well."""

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from tracker.records import MeasuredShot, Quality

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PAPER = "#f7f4ec"
INK = "#22303c"
FAINT = "#8b949b"
USED = "#ffb000"
UNUSED = "#55c7ff"
FITTED = "#ffffff"

STAMPS = {Quality.GOOD: "#2c6e49", Quality.CHECK: "#b35c00", Quality.REJECTED: "#a3243b"}


def cased(width: float, colour: str = INK) -> list[Any]:
    """Return an outline that keeps a light line or text readable on a light ground."""
    from matplotlib.patheffects import Normal, Stroke

    return [Stroke(linewidth=width, foreground=colour), Normal()]


def empty(axes: "Axes") -> None:
    """Take frame, ticks and background from an area that only holds text."""
    axes.set_axis_off()
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1)


def places(measured: MeasuredShot, used: bool) -> NDArray[np.float64]:
    """Return the pixels, shape (N, 2), of the places that the fit used, or did not use."""
    chosen = [(point.column_px, point.row_px) for point in measured.points if point.used == used]
    return np.array(chosen, float).reshape(-1, 2)
