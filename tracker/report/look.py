"""The look of every picture: few colours, which differ in shape and lightness as well."""

import io
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from tracker.records import MeasuredShot, Quality

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PAPER = "#f7f4ec"
INK = "#22303c"
FAINT = "#8b949b"
USED = "#ffb000"
UNUSED = "#55c7ff"
FITTED = "#ffffff"

STAMPS = {Quality.GOOD: "#2c6e49", Quality.CHECK: "#b35c00", Quality.REJECTED: "#a3243b"}


WIDTH_INCHES = 12.8
"""Width of a sheet: at the next value as wide as a usual frame, 1920 pixels."""
DOTS_PER_INCH = 150
"""Pixels to an inch of a sheet."""


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


def as_jpeg(figure: "Figure") -> bytes:
    """Return a sheet as a JPEG file, without any window system; the sheet is empty afterwards.

    Its parts refer to one another, so that else the frames in it would stay for a while.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    file = io.BytesIO()
    canvas: Any = FigureCanvasAgg(figure)
    canvas.print_figure(
        file, format="jpg", dpi=DOTS_PER_INCH, pil_kwargs={"quality": 90, "subsampling": 0}
    )
    # Every text of the sheet keeps hold of what drew it, and that of a sheet's pixels.
    vars(canvas.renderer).clear()
    figure.clear()
    return file.getvalue()


def spaced(pixels: NDArray[np.float64], apart: float) -> NDArray[np.int64]:
    """Return which places of a path, shape (N, 2), are shown: each so far on from the last."""
    steps = np.linalg.norm(np.diff(pixels, axis=0), axis=1)
    kept, gone = [0], 0.0
    for at, step in enumerate(steps.tolist(), start=1):
        gone += step
        if gone >= apart:
            kept.append(at)
            gone = 0.0
    return np.array(kept)


def across(pixels: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return unit vectors across a row of places, shape (N, 2)."""
    if len(pixels) < 2:
        return np.tile([0.0, 1.0], (len(pixels), 1))
    along = np.gradient(pixels, axis=0)
    length = np.linalg.norm(along, axis=1, keepdims=True)
    along = np.where(length > 1e-9, along / np.maximum(length, 1e-9), (1.0, 0.0))
    return np.column_stack([-along[:, 1], along[:, 0]])
