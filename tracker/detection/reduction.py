"""A picture made smaller by a whole number, quickly."""

import cv2
import numpy as np

from tracker.detection.difference import Luma

STRIP = 400_000
"""Pixels that are read at a time: they stay in the cache until they are made smaller. Measured on
frames of 2 and 8 million pixels."""


class Reduction:
    """Makes a picture smaller by a whole number, each pixel the mean of a square of them.

    OpenCV halves a picture four times as fast as it makes it smaller by another number, so an even
    number begins with a half, which rounds once more. It reads two or more lines at the same time,
    which is slow on pixels that are not in the cache: they are read once before, in order.

    Parameters
    ----------
    shrink : int
        At least one.
    """

    def __init__(self, shrink: int) -> None:
        self._shrink = shrink
        self._halves = shrink > 2 and shrink % 2 == 0
        self._half = np.zeros((0, 0), np.uint8)

    def reduce(self, picture: Luma, small: Luma) -> None:
        """Put a picture made smaller into another.

        Parameters
        ----------
        picture : ndarray of uint8, shape (shrink * R, shrink * C)
        small : ndarray of uint8, shape (R, C)
            Overwritten.
        """
        if self._shrink == 1:
            np.copyto(small, picture)
            return
        rows = max(1, STRIP // picture.shape[1] // self._shrink)
        for top in range(0, len(small), rows):
            own = small[top : top + rows]
            read = picture[self._shrink * top : self._shrink * (top + len(own))]
            cv2.countNonZero(read)
            if self._halves:
                read = self._halved(read)
            cv2.resize(read, own.shape[1::-1], dst=own, interpolation=cv2.INTER_AREA)

    def _halved(self, picture: Luma) -> Luma:
        """Return a picture at half its size, valid until the next call."""
        shape = picture.shape[0] // 2, picture.shape[1] // 2
        if self._half.shape[0] < shape[0] or self._half.shape[1] != shape[1]:
            self._half = np.zeros(shape, np.uint8)
        half = self._half[: shape[0]]
        return cv2.resize(picture, shape[::-1], dst=half, interpolation=cv2.INTER_AREA)  # type: ignore[return-value]
