"""A frame with a grid of pixel coordinates, and enlarged parts of it."""

from typing import TYPE_CHECKING, Any

import numpy as np

from tracker.report.composite import Image
from tracker.report.look import DOTS_PER_INCH, as_jpeg, cased

if TYPE_CHECKING:
    from matplotlib.axes import Axes

COLUMNS, ROWS = 4, 3
"""Parts that the frame is divided into; four by three enlarged four times fill a screen."""
ENLARGED = 4
"""Screen pixels for each of the frame's in an enlarged part."""
OVERLAP_PX = 20
"""How far a part reaches into its neighbours, px of the frame."""
STEP_PX, FINE_STEP_PX = 100, 10
"""Distance of the grid's lines in the whole frame and in its parts, px."""
RIM_PX = 64
"""Margin for the numbers, px of the picture."""
LINE, WIDTH, OPACITY = "#ffffff", 0.6, 0.45
"""Grid lines: colour, width in points and opacity, so that the frame stays visible under them."""
EDGE: dict[str, Any] = {"color": "#ffe08a", "lw": 0.9, "alpha": 0.75, "ls": (0, (5, 12))}
"""Edges of the parts: thin, light and with gaps longer than their dashes, since markers lie under
them."""


def still_pictures(frame: Image, title: str) -> dict[str, bytes]:
    """Return JPEG files by name: the frame with a coarse grid, and its parts with a fine one.

    Parameters
    ----------
    frame : ndarray of uint8, shape (H, W, 3)
        Blue, green, red.
    title : str
    """
    height, width = frame.shape[:2]
    parts = {}
    names = {}
    for row in range(ROWS):
        for column in range(COLUMNS):
            name = f"{'ABCDEFGH'[row]}{column + 1}"
            left, right = (round(width * each / COLUMNS) for each in (column, column + 1))
            top, bottom = (round(height * each / ROWS) for each in (row, row + 1))
            names[name] = (float(left), float(top))
            box = (
                max(0, left - OVERLAP_PX),
                min(width, right + OVERLAP_PX),
                max(0, top - OVERLAP_PX),
                min(height, bottom + OVERLAP_PX),
            )
            parts[f"{name}.jpg"] = _part(frame, box, f"{title}: {name}")
    return {"whole.jpg": _whole(frame, names, title), **parts}


def _whole(frame: Image, names: dict[str, tuple[float, float]], title: str) -> bytes:
    height, width = frame.shape[:2]
    axes = _axes(frame, (0, width, 0, height), STEP_PX, 1, title)
    for name, (column, row) in names.items():
        # In the corner, where it covers no marker.
        axes.annotate(
            name, (column, row), xytext=(5, -5), textcoords="offset points", color=LINE, ha="left",
            va="top", fontsize=12, path_effects=cased(2.4),
        )  # fmt: skip
    for edge in range(1, COLUMNS):
        axes.axvline(width * edge / COLUMNS - 0.5, **EDGE)
    for edge in range(1, ROWS):
        axes.axhline(height * edge / ROWS - 0.5, **EDGE)
    return as_jpeg(axes.figure)  # type: ignore[arg-type]


def _part(frame: Image, box: tuple[int, int, int, int], title: str) -> bytes:
    axes = _axes(frame, box, FINE_STEP_PX, ENLARGED, title)
    return as_jpeg(axes.figure)  # type: ignore[arg-type]


def _axes(
    frame: Image, box: tuple[int, int, int, int], step: int, times: int, title: str
) -> "Axes":
    """Return axes in which a part of the frame lies under a grid of its pixel coordinates."""
    from matplotlib.figure import Figure

    left, right, top, bottom = box
    across, down = (right - left) * times, (bottom - top) * times
    size = (across + 2 * RIM_PX, down + 2 * RIM_PX)
    figure = Figure(
        figsize=(size[0] / DOTS_PER_INCH, size[1] / DOTS_PER_INCH),
        dpi=DOTS_PER_INCH,
        facecolor="white",
    )
    axes = figure.add_axes((RIM_PX / size[0], RIM_PX / size[1], across / size[0], down / size[1]))
    shown = frame[top:bottom, left:right, ::-1]
    # The centre of the frame's top-left pixel is [0, 0], so its outer edge is at -0.5.
    extent = (left - 0.5, right - 0.5, bottom - 0.5, top - 0.5)
    axes.imshow(shown, extent=extent, interpolation="nearest", aspect="auto")
    labelled = step if times == 1 else 5 * step
    for every, minor in ((labelled, False), (step, True)):
        axes.set_xticks(np.arange(-(-left // every) * every, right, every), minor=minor)
        axes.set_yticks(np.arange(-(-top // every) * every, bottom, every), minor=minor)
    axes.grid(which="both", color=LINE, lw=WIDTH, alpha=OPACITY)
    axes.tick_params(labeltop=True, labelright=True, labelsize=7)
    axes.set_title(f"{title}  (column to the right, row down)", fontsize=8, pad=4)
    return axes
