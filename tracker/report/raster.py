"""Pictures laid into a sheet pixel for pixel.

matplotlib's own images pass through four planes of doubles, ten times the memory of the picture.
"""

from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axes._base import _AxesBase

    from tracker.report.composite import Extent, Image

LARGE = 3.0
"""Enlargement from which a pixel is shown as a square; a matter of looks."""


def show(axes: "Axes", picture: "Image", extent: "Extent") -> None:
    """Lay a picture into an area, under everything else in it.

    Parameters
    ----------
    axes : Axes
        Its limits are not changed.
    picture : ndarray of uint8, shape (H, W, 3)
        Red, green, blue; may be a view.
    extent : tuple of four floats
        Left, right, bottom and top edge in the area's own coordinates.
    """
    axes.add_artist(_raster_class()(picture, extent))


@cache
def _raster_class() -> type[Any]:
    """Return the kind of artist that a picture is, made when the first one is shown."""
    from matplotlib.artist import Artist

    class Raster(Artist):
        """A picture, drawn when the sheet is."""

        zorder = 0

        def __init__(self, picture: "Image", extent: "Extent") -> None:
            super().__init__()
            self._picture, self._extent = picture, extent

        def draw(self, renderer: Any) -> None:
            assert self.axes is not None
            edges = np.asarray(self.axes.bbox.extents, float)
            low, high = np.ceil(edges[:2] - 0.5), np.ceil(edges[2:] - 0.5)
            part = _fitted(self._picture, _box(self.axes, self._extent), low, high)
            if part is not None:
                (column, row), pixels = part
                gc = renderer.new_gc()
                renderer.draw_image(gc, column, row, pixels)
                gc.restore()

    return Raster


def _box(axes: "_AxesBase", extent: "Extent") -> NDArray[np.float64]:
    """Return an extent on the sheet, px from its lower left: left, lower, right, upper edge."""
    left, right, bottom, top = extent
    return np.asarray(axes.transData.transform([(left, bottom), (right, top)]), float).ravel()


def _fitted(
    picture: "Image", box: NDArray[np.float64], low: NDArray[np.float64], high: NDArray[np.float64]
) -> tuple[tuple[int, int], "Image"] | None:
    """Return the lower left pixel and the pixels, upper row last, of what shows of a picture.

    Parameters
    ----------
    picture : ndarray of uint8, shape (H, W, 3)
    box : ndarray, shape (4,)
        Where it lies on the sheet, px: left, lower, right, upper edge.
    low, high : ndarray, shape (2,)
        Lower left and upper right edge of what may be covered, whole px.
    """
    import cv2

    height, width = picture.shape[:2]
    scale = np.array([(box[2] - box[0]) / width, (box[3] - box[1]) / height])
    first = np.maximum(np.ceil(box[:2] - 0.5), low).astype(int)
    last = np.minimum(np.ceil(box[2:] - 0.5), high).astype(int)
    columns, rows = (last - first).tolist()
    if columns < 1 or rows < 1 or not np.all(scale > 0.0):
        return None
    # From the middle of each pixel of the sheet, from below, to the picture's, from above.
    across = (first[0] + 0.5 - box[0]) / scale[0] - 0.5
    down = height - (first[1] + 0.5 - box[1]) / scale[1] - 0.5
    matrix = np.array([[1.0 / scale[0], 0.0, across], [0.0, -1.0 / scale[1], down]])
    drawn = resampled(picture, matrix, (columns, rows), float(scale.min()))
    pixels = cv2.cvtColor(drawn, cv2.COLOR_RGB2RGBA)
    return (int(first[0]), int(first[1])), np.asarray(pixels, np.uint8)


def resampled(
    picture: "Image", matrix: NDArray[np.float64], size: tuple[int, int], scale: float
) -> "Image":
    """Return a picture on another grid; where it is enlarged much, its pixels are squares.

    Parameters
    ----------
    picture : ndarray of uint8, shape (H, W, 3)
    matrix : ndarray, shape (2, 3)
        From a pixel of the grid, column and row, to the picture's.
    size : tuple of int
        Columns and rows of the grid.
    scale : float
        Pixels of the grid to a pixel of the picture.
    """
    import cv2

    way = cv2.INTER_NEAREST if scale >= LARGE else cv2.INTER_LINEAR
    drawn = cv2.warpAffine(
        np.ascontiguousarray(picture),
        matrix,
        size,
        flags=way | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(drawn, np.uint8)
