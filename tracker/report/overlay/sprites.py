"""Labels as small pictures with transparency, written once and laid over many frames."""

from functools import lru_cache
from typing import Any, cast

import numpy as np

from tracker.report.composite import Image
from tracker.report.look import INK, PAPER

POINTS_PER_PIXEL = 0.72
"""Points to a pixel at 100 pixels an inch, by definition."""


@lru_cache(maxsize=512)
def label_sprite(words: str, height_px: int) -> Image:
    """Return a label on its ground: blue, green, red.

    Parameters
    ----------
    words : str
    height_px : int
        Size of the letters.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    from tracker.report.lettering import width_inches

    size = height_px * POINTS_PER_PIXEL
    wide = width_inches(words, size) + 0.7 * height_px / 100.0
    figure = Figure(figsize=(max(wide, 0.1), 1.6 * height_px / 100.0), dpi=100, facecolor=PAPER)
    canvas = cast(Any, FigureCanvasAgg(figure))  # its methods state no types
    figure.text(0.5, 0.5, words, size=size, color=INK, ha="center", va="center", parse_math=False)
    canvas.draw()
    drawn = np.asarray(canvas.buffer_rgba())[:, :, 2::-1]
    return np.ascontiguousarray(drawn, dtype=np.uint8)


def lay(frame: Image, sprite: Image, corner: tuple[int, int], opacity: float = 0.9) -> None:
    """Lay a label over a frame, in place; what lies beyond the frame is left out.

    Parameters
    ----------
    frame : ndarray of uint8, shape (H, W, 3)
    sprite : ndarray of uint8, shape (h, w, 3)
    corner : tuple of int
        Column and row of its left upper pixel.
    opacity : float
    """
    height, width = frame.shape[:2]
    left, top = corner
    right, bottom = min(width, left + sprite.shape[1]), min(height, top + sprite.shape[0])
    first, above = max(0, left), max(0, top)
    if first >= right or above >= bottom:
        return
    part = sprite[above - top : bottom - top, first - left : right - left].astype(np.float32)
    under = frame[above:bottom, first:right].astype(np.float32)
    frame[above:bottom, first:right] = np.round(opacity * part + (1.0 - opacity) * under)
