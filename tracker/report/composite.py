"""One picture in which the ball shows at every place where it was: a multiple exposure."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

Image = NDArray[np.uint8]

Extent = tuple[float, float, float, float]

WIDE_ENOUGH_PX = 1920
"""A figure shows no more columns than this: a larger frame would only cost memory."""


@dataclass(frozen=True)
class BallPatch:
    """A piece of one frame around one place of the ball.

    Attributes
    ----------
    frame : int
        Index of the frame in the clip.
    corner : tuple of int
        Column and row of the patch's first pixel in the frame.
    image : ndarray of uint8, shape (H, W, 3)
        Blue, green, red.
    """

    frame: int
    corner: tuple[int, int]
    image: Image


def cut(frame: int, picture: Image, pixel: ArrayLike, half: int) -> BallPatch | None:
    """Return the piece of a frame within `half` pixels of a place; None where it lies outside.

    Parameters
    ----------
    frame : int
        Index of the frame.
    picture : ndarray of uint8, shape (H, W, 3)
    pixel : array_like, shape (2,)
        Column and row.
    half : int
        The patch is ``2 * half + 1`` pixels wide and high, less what the frame's edge cuts off.
    """
    height, width = picture.shape[:2]
    box = around((width, height), pixel, half)
    if box is None:
        return None
    left, top, right, bottom = box
    return BallPatch(frame, (left, top), picture[top:bottom, left:right].copy())


def around(
    size_px: tuple[int, int], pixel: ArrayLike, half: int
) -> tuple[int, int, int, int] | None:
    """Return the part of a frame within `half` pixels of a place; None where it lies outside.

    Parameters
    ----------
    size_px : tuple of int
        Width and height of the frame.
    pixel, half
        As of `cut`.

    Returns
    -------
    tuple of int
        First column, first row, end column and end row.
    """
    place = np.asarray(pixel, float)
    if not np.all(np.isfinite(place)):
        return None
    column, row = (round(float(value)) for value in place)
    width, height = size_px
    left, right = max(0, column - half), min(width, column + half + 1)
    top, bottom = max(0, row - half), min(height, row + half + 1)
    if left >= right or top >= bottom:
        return None
    return left, top, right, bottom


def squared(patch: BallPatch, pixel: ArrayLike, half: int) -> Image:
    """Return a patch as a whole square about its place, black where the frame has no pixels.

    Parameters
    ----------
    patch : BallPatch
    pixel : array_like, shape (2,)
        Column and row that it was cut around.
    half : int
        As in `cut`.
    """
    column, row = (round(float(value)) for value in np.asarray(pixel, float))
    side = 2 * half + 1
    square = np.zeros((side, side, 3), np.uint8)
    left, top = patch.corner[0] - (column - half), patch.corner[1] - (row - half)
    height, width = patch.image.shape[:2]
    square[top : top + height, left : left + width] = patch.image
    return square


def finer_by(width_px: int) -> int:
    """Return the whole number of columns of a frame that a figure shows as one."""
    return max(1, width_px // WIDE_ENOUGH_PX)


def shrunk(picture: Image, corner: tuple[int, int] = (0, 0)) -> tuple[Image, Extent]:
    """Return a frame, or a part of one, no finer than a figure can show, and where it lies.

    Parameters
    ----------
    picture : ndarray of uint8, shape (H, W, 3)
    corner : tuple of int
        Column and row of its first pixel in the frame.

    Returns
    -------
    ndarray of uint8
        Means of squares of pixels; the picture itself when it is small enough.
    tuple of four floats
        Left, right, bottom and top edge in the frame's pixels, as an axes' extent.
    """
    side = max(1, min(finer_by(picture.shape[1]), picture.shape[0]))
    rows, columns = picture.shape[0] // side, picture.shape[1] // side
    left, top = corner
    extent = (left - 0.5, left + side * columns - 0.5, top + side * rows - 0.5, top - 0.5)
    if side == 1:
        return picture, extent
    squares = picture[: side * rows, : side * columns].reshape(rows, side, columns, side, -1)
    sums = squares.sum(axis=(1, 3), dtype=np.uint16)
    return (sums // np.uint16(side * side)).astype(np.uint8), extent


def multiple_exposure(ground: Image, patches: Iterable[BallPatch], radius: float) -> Image:
    """Return a frame with the ball of every patch in it.

    Within `radius` of each patch's middle every pixel takes the frame that differs most
    from the background frame, so that neighbouring balls do not wipe each other out.

    Parameters
    ----------
    ground : ndarray of uint8, shape (H, W, 3)
        The frame that all are put into.
    patches : iterable of BallPatch
    radius : float
        Pixels.

    Returns
    -------
    ndarray of uint8, shape (H, W, 3)
    """
    result = ground.copy()
    difference = np.zeros(ground.shape[:2], np.int16)
    for patch in patches:
        height, width = patch.image.shape[:2]
        left, top = patch.corner
        here = np.s_[top : top + height, left : left + width]
        apart = np.abs(patch.image.astype(np.int16) - ground[here])
        size = apart[:, :, 0] + apart[:, :, 1] + apart[:, :, 2]
        stronger = _near(height, width, radius) & (size > difference[here])
        difference[here][stronger] = size[stronger]
        result[here][stronger] = patch.image[stronger]
    return result


@lru_cache(maxsize=16)
def _near(height: int, width: int, radius: float) -> NDArray[np.bool_]:
    """Return which pixels of a patch lie within a radius of its middle, shape (H, W)."""
    rows, columns = np.mgrid[:height, :width]
    near: NDArray[np.bool_] = np.hypot(columns - (width - 1) / 2, rows - (height - 1) / 2) <= radius
    return near
