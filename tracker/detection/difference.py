"""What stands in a frame and in neither of its neighbours."""

import cv2
import numpy as np
from numpy.typing import NDArray

Luma = NDArray[np.uint8]

STRIP = 150_000
"""About so many pixels are worked on at a time, so that their buffers stay in the cache."""

TILE = 8
"""Side of the squares that are looked into when a pixel in them may be over the limit."""

CROWDED = 0.1
"""From this share of the squares on, all pixels are looked at instead."""


class Difference:
    """Sum of absolute change over 3 by 3 pixels, against an earlier and a later frame at once.

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
        tiles = (-(-rows // TILE), -(-columns // TILE))
        # With a margin of one pixel, which mirrors the picture as the box filter does.
        self._framed = np.zeros((rows + 2, columns + 2), np.uint8)
        self._change = self._framed[1:-1, 1:-1]
        self._around = squares(self._framed, TILE + 2) if min(shape) >= TILE else None
        self._strip = max(1, STRIP // (columns * TILE)) * TILE
        # One row more at either end, for the sums of the strip's own first and last row.
        self._limit, self._brighter, self._sums = (
            np.empty((min(self._strip, rows) + 2, columns), np.uint8) for _ in range(3)
        )
        self._over = np.zeros((self._strip, tiles[1] * TILE), np.uint8)
        self._tiles = np.empty(tiles, np.uint64)
        self._whole: NDArray[np.uint16] | None = None

    def __call__(self, before: Luma, now: Luma, after: Luma) -> NDArray[np.uint16]:
        """Return the summed change of `now`, valid until the next call."""
        for top in range(0, len(now), self._strip):
            self._changed(before, now, after, top, min(top + self._strip, len(now)))
        return self._summed()

    def over(
        self, before: Luma, now: Luma, after: Luma, limit: NDArray[np.uint8]
    ) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.uint16]]:
        """Return rows, columns and summed change of the pixels over a limit, in any order.

        The same as searching all of the summed change, but for the whole frame only a
        saturated sum is made, strip by strip, which says in which squares to look.

        Parameters
        ----------
        before, now, after : ndarray of uint8, shape (rows, columns)
        limit : ndarray of uint8, shape (rows, columns)
            No more than 254, so that a saturated sum is over it.
        """
        height, width = now.shape
        for top in range(0, height, self._strip):
            end = min(top + self._strip, height)
            first, last = max(top - 1, 0), min(end + 1, height)
            change = self._changed(before, now, after, first, last)
            sums = self._sums[: last - first]
            cv2.boxFilter(change, -1, (3, 3), dst=sums, normalize=False)
            over = self._over[: end - top, :width]
            cv2.subtract(sums[top - first : end - first], limit[top:end], dst=over)
            count = -(-(end - top) // TILE)
            self._over[end - top : count * TILE] = 0
            words = self._over[: count * TILE].view(np.uint64).reshape(count, TILE, -1)
            np.bitwise_or.reduce(words, axis=1, out=self._tiles[top // TILE :][:count])
        tiles = np.flatnonzero(self._tiles)
        if len(tiles) > CROWDED * self._tiles.size or min(height, width) < TILE:
            whole = self._summed()
            at = np.flatnonzero(whole > limit)
            return at // width, at % width, whole.reshape(-1)[at]
        return self._within(tiles, limit)

    def _changed(self, before: Luma, now: Luma, after: Luma, top: int, end: int) -> Luma:
        """Compute and return the change of the rows from `top` to `end`."""
        before, now, after = before[top:end], now[top:end], after[top:end]
        limit, brighter = self._limit[: end - top], self._brighter[: end - top]
        cv2.max(before, after, dst=limit)
        cv2.subtract(now, limit, dst=brighter)
        cv2.min(before, after, dst=limit)
        cv2.subtract(limit, now, dst=limit)
        change = self._change[top:end]
        cv2.add(brighter, limit, dst=change)
        return change

    def _summed(self) -> NDArray[np.uint16]:
        """Return the change summed over 3 by 3 pixels, for the whole frame."""
        if self._whole is None:
            self._whole = np.empty(self._change.shape, np.uint16)
        cv2.boxFilter(self._change, cv2.CV_16U, (3, 3), dst=self._whole, normalize=False)
        return self._whole

    def _within(
        self, tiles: NDArray[np.int64], limit: NDArray[np.uint8]
    ) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.uint16]]:
        """Return the pixels over the limit in some squares."""
        height, width = self._change.shape
        framed = self._framed
        framed[0], framed[-1] = framed[min(2, height)], framed[max(height - 1, 1)]
        framed[:, 0], framed[:, -1] = framed[:, min(2, width)], framed[:, max(width - 1, 1)]
        # A square that would hang over the edge is moved inward, over its neighbour.
        assert self._around is not None
        down, right = tiles // self._tiles.shape[1], tiles % self._tiles.shape[1]
        rows = np.minimum(down * TILE, height - TILE)
        columns = np.minimum(right * TILE, width - TILE)
        around = self._around[rows, columns].astype(np.uint16)
        lines = around[:, :-2] + around[:, 1:-1]
        lines += around[:, 2:]
        sums = lines[:, :, :-2] + lines[:, :, 1:-1]
        sums += lines[:, :, 2:]
        at = np.flatnonzero(sums > squares(limit, TILE)[rows, columns])
        # A square's pixels are numbered row by row.
        square, place = at // TILE**2, at % TILE**2
        down, right = down[square], right[square]
        rows, columns = rows[square] + place // TILE, columns[square] + place % TILE
        found = sums.reshape(-1)[at]
        if height % TILE == 0 and width % TILE == 0:
            return rows, columns, found
        # What a square that was moved has of its neighbour is the neighbour's to tell.
        own = (rows >= TILE * down) & (columns >= TILE * right)
        return rows[own], columns[own], found[own]


def squares(picture: Luma, side: int) -> Luma:
    """Return a view of all squares in a picture, by the row and column of their first pixel."""
    rows, columns = picture.shape
    return np.lib.stride_tricks.as_strided(
        picture,
        (rows - side + 1, columns - side + 1, side, side),
        picture.strides * 2,
        writeable=False,
    )
