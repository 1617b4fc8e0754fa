"""A decoded frame whose colours are made only where they are asked for."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from av.video.frame import VideoFrame
from numpy.typing import NDArray

from tracker.video.pixels import Image, colour, plane

if TYPE_CHECKING:
    from tracker.records import ColourParts

PLANAR = ("yuv420p", "yuvj420p")
"""Forms of a frame of which a part can be cut: luma, and both colour differences at half size."""

ALIGNED_PX = 16
"""Columns that the conversion to colours works on at once: a part as wide as a multiple of them
gets the colours of the whole frame, bit for bit."""


SHRINKS = (1, 2, 2)
"""By how much luma and both colour differences are smaller than the frame."""


class Shown:
    """A decoded frame as shown.

    Parameters
    ----------
    frame : VideoFrame
    rotation_deg : int
        Quarter turns counter-clockwise from the stored picture to the shown one.
    size_px : tuple of int
        Width and height as shown.
    """

    def __init__(self, frame: VideoFrame, rotation_deg: int, size_px: tuple[int, int]) -> None:
        self._frame, self._rotation_deg = frame, rotation_deg
        self.size_px = size_px
        self._whole: Image | None = None
        stored = (frame.width, frame.height)
        self._plain = (
            frame.format.name in PLANAR
            and rotation_deg == 0
            and stored == size_px
            and stored[0] % ALIGNED_PX == 0
            and stored[1] % 2 == 0
        )

    def whole(self) -> Image:
        """Return the frame in blue, green, red, shape (height, width, 3)."""
        if self._whole is None:
            self._whole = colour(self._frame, self._rotation_deg, self.size_px)
        return self._whole

    def part(self, box: tuple[int, int, int, int]) -> Image:
        """Return a copy of a part of the frame in blue, green, red.

        Parameters
        ----------
        box : tuple of int
            First column, first row, end column and end row, within the frame.
        """
        left, top, right, bottom = box
        if not self._plain or self._whole is not None:
            return self.whole()[top:bottom, left:right].copy()
        first, above = left // 2 * 2, top // 2 * 2
        wide = -(-(right - first) // ALIGNED_PX) * ALIGNED_PX
        first = min(first, self.size_px[0] - wide)
        tall = -(-(bottom - above) // 2) * 2
        cut = self._cut(first, above, wide, tall).to_ndarray(format="bgr24")
        found: Any = cut[top - above : bottom - above, left - first : right - first]
        return np.array(found, np.uint8)

    def _cut(self, left: int, top: int, width: int, height: int) -> VideoFrame:
        """Return a part with even edges as a frame of its own."""
        planes = [
            plane(self._frame, np.dtype(np.uint8), number)[
                top // shrink : (top + height) // shrink, left // shrink : (left + width) // shrink
            ]
            for number, shrink in enumerate(SHRINKS)
        ]
        return _frame_of(planes, self._form)

    @property
    def _form(self) -> tuple[str, int, int]:
        frame = self._frame
        return frame.format.name, int(frame.colorspace), int(frame.color_range)

    def around(self, pixels: NDArray[np.float64], side: int) -> "ColourParts | None":
        """Return squares around places, shape (N, 2); None where the frame is held otherwise.

        Parameters
        ----------
        pixels : ndarray, shape (N, 2)
        side : int
            Even.
        """
        from tracker.records import ColourParts

        if not self._plain or side > min(self.size_px):
            return None
        corners = np.rint(pixels).astype(np.int64) - side // 2
        np.minimum(np.maximum(corners, 0), np.subtract(self.size_px, side), out=corners)
        corners -= corners % 2
        cut = []
        for number, shrink in enumerate(SHRINKS):
            shown = plane(self._frame, np.dtype(np.uint8), number)
            at = corners[:, 1] // shrink, corners[:, 0] // shrink
            cut.append(_squares(shown, side // shrink)[at])
        return ColourParts(cut[0], cut[1], cut[2], corners, self._form)


def colours_within(parts: "ColourParts", box: tuple[int, int, int, int]) -> Image | None:
    """Return what `Shown.part` gives of a part that lies within one of the squares, else None."""
    side = parts.luma.shape[1]
    inside = np.all((parts.corners <= box[:2]) & (parts.corners + side >= box[2:]), axis=1)
    if not inside.any():
        return None
    at = int(np.argmax(inside))
    whole = _frame_of((parts.luma[at], parts.blue[at], parts.red[at]), parts.form)
    left, top = np.subtract(box[:2], parts.corners[at])
    right, bottom = np.subtract(box[2:], parts.corners[at])
    found: Any = whole.to_ndarray(format="bgr24")[top:bottom, left:right]
    return np.array(found, np.uint8)


def _frame_of(planes: Sequence[NDArray[np.uint8]], form: tuple[str, int, int]) -> VideoFrame:
    """Return a frame of its own, at least so wide, from luma and both colour differences."""
    height, width = planes[0].shape
    frame = VideoFrame(-(-width // ALIGNED_PX) * ALIGNED_PX, height, form[0])
    frame.colorspace, frame.color_range = form[1:]
    for own, into in zip(planes, frame.planes, strict=True):
        lines: Any = np.frombuffer(into, np.uint8).reshape(-1, into.line_size)  # type: ignore[call-overload]
        lines[: own.shape[0], : own.shape[1]] = own
    return frame


def _squares(picture: NDArray[np.uint8], side: int) -> NDArray[np.uint8]:
    """Return a view of all squares in a plane, by the row and column of their first pixel."""
    rows, columns = picture.shape
    shape = (rows - side + 1, columns - side + 1, side, side)
    return np.lib.stride_tricks.as_strided(picture, shape, picture.strides * 2, writeable=False)
