"""A decoded frame whose colours are made only where they are asked for."""

from typing import Any

import numpy as np
from av.video.frame import VideoFrame

from tracker.video.pixels import Image, colour, plane

PLANAR = ("yuv420p", "yuvj420p")
"""Forms of a frame of which a part can be cut: luma, and both colour differences at half size."""

ALIGNED_PX = 16
"""Columns that the conversion to colours works on at once: a part as wide as a multiple of them
gets the colours of the whole frame, bit for bit."""


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
        part = VideoFrame(width, height, self._frame.format.name)
        part.colorspace, part.color_range = self._frame.colorspace, self._frame.color_range
        for number, shrink in enumerate((1, 2, 2)):
            rows = slice(top // shrink, (top + height) // shrink)
            columns = slice(left // shrink, (left + width) // shrink)
            line = part.planes[number].line_size
            lines: Any = np.frombuffer(part.planes[number], np.uint8).reshape(-1, line)  # type: ignore[call-overload]
            own = plane(self._frame, np.dtype(np.uint8), number)[rows, columns]
            lines[: height // shrink, : width // shrink] = own
        return part
