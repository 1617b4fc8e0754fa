"""Where a frame may hold change over a limit: a quick look that leaves nothing out."""

import cv2
import numpy as np
from numpy.typing import NDArray

from tracker.detection.difference import STRIP, WORD, Luma

MOST_PIXELS = 600
"""Pixels that alarm above which the whole frame is looked at instead, which then costs less."""


SQUARE = np.ones((2, 2), np.uint8)
"""The four squares that a pixel belongs to, named by their upper left pixels: it and those above
and to the left."""


class Alarm:
    """Pixels that differ enough from two other frames for a square to be over its limit.

    A square of 2 by 2 pixels is over its limit only where one of them changed by more than a
    quarter of it. That takes two differences a frame, each of which serves twice.

    Parameters
    ----------
    shape : tuple of int
        Rows and columns of the frames.
    lag : int
        Frames between a frame and the two that it is held against.
    """

    def __init__(self, shape: tuple[int, int], lag: int) -> None:
        rows, columns = self._shape = shape
        self._wide = -(-columns // WORD) * WORD
        self._strip = max(1, STRIP // columns)
        self._gaps = [np.zeros(shape, np.uint8) for _ in range(lag + 1)]
        self._pushed = 0
        self._quarter = np.zeros(shape, np.uint8)
        self._over = np.zeros((rows, self._wide), np.uint8)
        self._much = False

    def follow(self, limit: Luma) -> None:
        """Take the limit of each square, named by its upper left pixel, shape (rows, columns)."""
        # A pixel belongs to four squares; the lowest of their limits counts.
        cv2.erode(limit, SQUARE, dst=self._quarter, anchor=(1, 1))
        np.right_shift(self._quarter, 2, out=self._quarter)
        self._much = False

    def push(self, now: Luma, before: Luma) -> None:
        """Take the next frame, and the one `lag` frames before it."""
        cv2.absdiff(now, before, dst=self._gaps[self._pushed % len(self._gaps)])
        self._pushed += 1

    def squares(self) -> tuple[NDArray[np.int64], NDArray[np.int64]] | None:
        """Return rows and columns of the squares to look at in the frame `lag` frames ago.

        They are in reading order, and hold all that are over their limit; None where so many
        pixels alarm, in this frame or in one before it with the same limits, that the whole frame
        is to be looked at.
        """
        if self._much:
            return None
        later, earlier = ((self._pushed + back) % len(self._gaps) for back in (-1, 0))
        rows, columns = self._shape
        for top in range(0, rows, self._strip):
            part = slice(top, top + self._strip)
            over = self._over[part, :columns]
            cv2.min(self._gaps[earlier][part], self._gaps[later][part], dst=over)
            cv2.subtract(over, self._quarter[part], dst=over)
        words = np.flatnonzero(self._over.view(np.uint64) != 0)
        word, place = np.nonzero(self._over.reshape(-1, WORD)[words[: MOST_PIXELS + 1]])
        if len(place) > MOST_PIXELS:
            self._much = True
            return None
        at = WORD * words[word] + place
        names = np.concatenate([at, at - 1, at - self._wide, at - self._wide - 1])
        names.sort()
        fresh = np.ones(len(names), bool)
        fresh[1:] = names[1:] != names[:-1]
        row, column = np.divmod(names[fresh], self._wide)
        inside = (row >= 0) & (row < rows - 1) & (column < columns - 1)
        return row[inside], column[inside]
