"""What shows in a frame and in neither of its neighbours."""

import cv2
import numpy as np
from numpy.typing import NDArray

Luma = NDArray[np.uint8]

STRIP = 1_000_000
"""Pixels that are worked on at a time at most, for memory."""

Places = NDArray[np.int64]


class Difference:
    """Sum of absolute change over 2 by 2 pixels, against an earlier and a later frame at once.

    A pixel counts as changed by the lesser of its two differences, and only when both have
    the same sign: a thing that stays, comes to stay or leaves gives nothing, a slow change of
    light gives little, and a ball that has moved by more than its own size gives its full
    contrast. Buffers are made once, since fresh ones of this size cost page faults.

    Parameters
    ----------
    shape : tuple of int
        Rows and columns of the frames.
    """

    def __init__(self, shape: tuple[int, int]) -> None:
        rows, columns = shape
        self._strip = max(1, STRIP // columns)
        self._change = np.zeros(shape, np.uint8)
        self._bound, self._brighter, self._pairs, self._sums = (
            np.empty((min(self._strip + 1, rows), columns), np.uint8) for _ in range(4)
        )
        self._over = np.zeros(shape, np.uint8)

    def change(self, before: Luma, now: Luma, after: Luma) -> Luma:
        """Return the change of each pixel of `now`, valid until the next call."""
        for top in range(0, len(now), self._strip):
            self._changed(before, now, after, top, min(top + self._strip, len(now)))
        return self._change

    def over(
        self, before: Luma, now: Luma, after: Luma, limit: NDArray[np.uint8]
    ) -> tuple[Places, Places, NDArray[np.int64]]:
        """Return rows, columns and summed change where it is over a limit, in reading order.

        A sum is named by the upper left of its four pixels.

        Parameters
        ----------
        before, now, after : ndarray of uint8, shape (rows, columns)
        limit : ndarray of uint8, shape (rows, columns)
            Below 255: for the whole frame only saturated sums are made.
        """
        height, width = now.shape
        for top in range(0, height - 1, self._strip):
            end = min(top + self._strip, height - 1)
            change = self._changed(before, now, after, top, end + 1)
            pairs, sums = self._pairs[: end - top, :width], self._sums[: end - top, : width - 1]
            cv2.add(change[:-1], change[1:], dst=pairs)
            cv2.add(pairs[:, :-1], pairs[:, 1:], dst=sums)
            over = self._over[top:end, : width - 1]
            cv2.subtract(sums, limit[top:end, : width - 1], dst=over)
        rows, columns = np.nonzero(self._over[: height - 1, : width - 1])
        change = self._change
        found = change[rows, columns].astype(np.int64)
        for down, right in ((0, 1), (1, 0), (1, 1)):
            found += change[rows + down, columns + right]
        return rows, columns, found

    def _changed(self, before: Luma, now: Luma, after: Luma, top: int, end: int) -> Luma:
        """Compute and return the change of the rows from `top` to `end`."""
        before, now, after = before[top:end], now[top:end], after[top:end]
        high, wide = now.shape
        bound, brighter = self._bound[:high, :wide], self._brighter[:high, :wide]
        cv2.max(before, after, dst=bound)
        cv2.subtract(now, bound, dst=brighter)
        cv2.min(before, after, dst=bound)
        cv2.subtract(bound, now, dst=bound)
        change = self._change[top:end, :wide]
        cv2.add(brighter, bound, dst=change)
        return change


def change_at(pixels: Luma, before: Places, now: Places, after: Places) -> NDArray[np.int64]:
    """Return the change of single pixels, as of `Difference.change`.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (P,)
        The pixels of all frames.
    before, now, after : ndarray of int64, of one shape
        Where each pixel stands in the earlier frame, the one that is looked at, and the later one.
    """
    one, two = pixels[before].astype(np.int64), pixels[after].astype(np.int64)
    shown = pixels[now]
    return np.maximum(np.maximum(shown - np.maximum(one, two), np.minimum(one, two) - shown), 0)


def squares(picture: Luma, side: int) -> Luma:
    """Return a view of all squares in a picture, by the row and column of their first pixel."""
    rows, columns = picture.shape
    return np.lib.stride_tricks.as_strided(
        picture,
        (rows - side + 1, columns - side + 1, side, side),
        picture.strides * 2,
        writeable=False,
    )
