"""How much change is usual at each place, and the threshold that follows from it."""

import cv2
import numpy as np
from numpy.typing import NDArray

BLOCK = 16
"""Side of a block in pixels: small enough to part a tree from the sky beside it."""

LEAST_LEVEL = 1.5
"""No level of the summed change (four pixels of 8-bit luma) counts as less: an encoder that
smooths the picture to nothing for a while does not make a rounding error into a ball."""


class NoiseMap:
    """Running level of the summed change in each block, and a threshold per pixel.

    The level is a slow mean, so that a tree that sways raises its own threshold and a ball
    that passes once does not. The ratio of threshold to level follows the number of
    candidates that come of it, so that the rate of false ones is held and not the threshold.

    Parameters
    ----------
    shape : tuple of int
        Rows and columns of the frames.
    wanted : float
        Candidates per frame to aim at.
    """

    def __init__(self, shape: tuple[int, int], wanted: float) -> None:
        self._blocks = (max(1, shape[1] // BLOCK), max(1, shape[0] // BLOCK))
        self._size = (shape[1], shape[0])
        self._level: NDArray[np.float32] | None = None
        self._threshold = np.empty(shape, np.float32)
        self._limit = np.empty(shape, np.uint8)
        self._ratio = 3.6
        self._wanted = wanted
        self._seen = 0

    @property
    def due(self) -> bool:
        """Whether the next frame's change is to be taken in."""
        return self._seen % 8 == 0 or self._seen < 4

    @property
    def limit(self) -> NDArray[np.uint8]:
        """Whole numbers, one a pixel, no more than the threshold and no more than 254."""
        return self._limit

    def threshold(self, change: NDArray[np.uint8] | None = None) -> NDArray[np.float32]:
        """Take in one frame's change and return the threshold for each pixel.

        Parameters
        ----------
        change : ndarray of uint8, shape (rows, columns), optional
            Looked at only when it is `due`.
        """
        if self.due:
            assert change is not None
            fresh = _block_means(change, self._blocks)
            if self._level is None:
                self._level = fresh
            else:
                weight = max(0.12, 1.0 / (1.0 + self._seen))
                # A single moving thing may not lift the level of its block in one step.
                bounded = np.minimum(fresh, 3.0 * self._level + 1.0)
                self._level = (1.0 - weight) * self._level + weight * bounded
            limit = self._ratio * np.maximum(self._level, LEAST_LEVEL)
            rows, columns = self._threshold.shape
            cv2.resize(limit, (columns, rows), dst=self._threshold, interpolation=cv2.INTER_LINEAR)
            # Half a step less, so that rounding goes down.
            cv2.convertScaleAbs(self._threshold, beta=-0.5, dst=self._limit)
            np.minimum(self._limit, 254, out=self._limit)
        self._seen += 1
        return self._threshold

    def learn(self, found: int) -> None:
        """Move the ratio a little towards the wanted number of candidates."""
        gap = np.log((found + 5.0) / (self._wanted + 5.0))
        self._ratio = float(np.clip(self._ratio * np.exp(0.012 * gap), 3.0, 14.0))

    def level_at(self, rows: NDArray[np.int64], columns: NDArray[np.int64]) -> NDArray[np.float64]:
        """Return the usual summed change at these pixels."""
        assert self._level is not None
        height, width = self._threshold.shape
        at_rows = np.minimum(rows * self._level.shape[0] // height, self._level.shape[0] - 1)
        at_columns = np.minimum(columns * self._level.shape[1] // width, self._level.shape[1] - 1)
        return np.maximum(self._level[at_rows, at_columns].astype(float), LEAST_LEVEL)


def _block_means(change: NDArray[np.uint8], blocks: tuple[int, int]) -> NDArray[np.float32]:
    """Return the mean of whole blocks; the odd pixels at the right and lower edge are left out."""
    part = change[: blocks[1] * BLOCK, : blocks[0] * BLOCK]
    if part.size == 0:
        return np.full((blocks[1], blocks[0]), 4.0 * change.mean(), np.float32)
    lines = np.add.reduce(part.reshape(blocks[1], BLOCK, -1), axis=1, dtype=np.uint16)
    sums = lines.reshape(blocks[1], blocks[0], BLOCK).sum(axis=2, dtype=np.int64)
    return (4.0 * sums / BLOCK**2).astype(np.float32)
