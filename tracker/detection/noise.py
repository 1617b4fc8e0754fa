"""The usual change at each place, and the threshold that follows from it."""

import math
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

BLOCK = 16
"""Side of a block in pixels: small enough to part a tree from the sky beside it."""

LIGHT_STEP = 4
"""Each such row of a picture is taken for its mean and spread: they cost time, and 64 pixels of a
block say enough."""

EVERY = 8
"""Frames between two updates of level and thresholds: both change slowly, and cost time."""

HIGHEST = 254
"""Largest limit that a sum which saturates at 255 can exceed."""

LEAST_LEVEL = 1.5
"""Smallest level of the summed change of four pixels, luma steps: where an encoder smooths the
picture away for a while, a rounding error is no ball (common practice, no source)."""

FIRST_RATIO, RATIOS = 3.6, (3.0, 14.0)
"""Ratio of threshold to level at first, and its range (common practice, no source)."""

RATIO_STEP = 0.012
"""Change of that ratio's logarithm per frame, over the logarithm of the surplus of candidates
(common practice, no source)."""

SURPLUS_FLOOR = 5.0
"""Added to both counts of candidates, so that a difference of a few counts little."""

LEVEL_WEIGHT = 0.12
"""Weight of the newest frame in the running level: a time constant of about 8 updates (common
practice, no source)."""

STEP_LIMIT = 3.0
"""A block's level rises by no more than this factor in one update: one moving thing does not lift
it (common practice, no source)."""

FIRST_FRAMES = 4
"""Frames at the beginning of a clip that are all taken in."""


class NoiseMap:
    """Running level of the summed change in each block, and a threshold per pixel.

    The level is a slow mean, so that a swaying tree raises its own threshold and a ball that
    passes once does not. The ratio of threshold to level follows the number of candidates, so
    that the rate of false ones is held constant and not the threshold.

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
        self._level = np.full(self._blocks[::-1], LEAST_LEVEL, np.float32)
        self._threshold = self._level
        self._limit = np.empty(shape, np.uint8)
        self._ratio = FIRST_RATIO
        self._wanted = wanted
        self._seen = 0

    @property
    def due(self) -> bool:
        """Whether the next frame's change is to be taken in."""
        return self._seen % EVERY == 0 or self._seen < FIRST_FRAMES

    @property
    def run(self) -> int:
        """Frames up to the next update of the thresholds, the next frame included."""
        return 1 if self._seen < FIRST_FRAMES - 1 else EVERY - self._seen % EVERY

    @property
    def limit(self) -> NDArray[np.uint8]:
        """The thresholds as whole numbers, one a pixel; `HIGHEST` stands for all beyond it."""
        return self._limit

    @property
    def levels(self) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """The threshold and the usual summed change of each block, luma steps."""
        return self._threshold, np.maximum(self._level, LEAST_LEVEL)

    def light(self, picture: NDArray[np.uint8]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Return mean and standard deviation of a picture in each block, luma steps."""
        some, height = picture[::LIGHT_STEP], BLOCK // LIGHT_STEP
        mean = _block_means(some, self._blocks, height, np.uint16)
        square = np.square(some, dtype=np.uint16)
        square_mean = _block_means(square, self._blocks, height, np.uint32)
        spread = np.sqrt(np.maximum(square_mean - mean**2, 0.0))
        return mean.astype(np.float32), spread.astype(np.float32)

    def take(self, change: NDArray[np.uint8]) -> None:
        """Take in one frame's change, shape (rows, columns)."""
        fresh = (4.0 * _block_means(change, self._blocks, BLOCK, np.uint16)).astype(np.float32)
        if self._seen == 0:
            self._level = fresh
        else:
            weight = max(LEVEL_WEIGHT, 1.0 / (1.0 + self._seen))
            bounded = np.minimum(fresh, STEP_LIMIT * self._level + 1.0)
            self._level = (1.0 - weight) * self._level + weight * bounded
        self._follow()

    def take_of(self, other: "NoiseMap") -> None:
        """Take in what another map of the same frames, with other candidates, has taken in."""
        self._level = other._level
        self._follow()

    def _follow(self) -> None:
        """Compute the thresholds from the level."""
        self._threshold = self._ratio * np.maximum(self._level, LEAST_LEVEL)
        limit = np.minimum(self._threshold, HIGHEST).astype(np.uint8)
        cv2.resize(limit, self._size, dst=self._limit, interpolation=cv2.INTER_LINEAR)

    def thresholds_at(
        self, rows: NDArray[np.int64], columns: NDArray[np.int64]
    ) -> NDArray[np.float64]:
        """Return the threshold at pixels, bilinear between the blocks' middles, shape (N,)."""
        (down, lower), (right, further) = (
            _between(at, count, blocks)
            for at, count, blocks in zip(
                (rows, columns), self._size[::-1], self._blocks[::-1], strict=True
            )
        )
        level = self._threshold
        below = np.minimum(down + 1, len(level) - 1)
        beside = np.minimum(right + 1, level.shape[1] - 1)
        upper = (1.0 - further) * level[down, right] + further * level[down, beside]
        under = (1.0 - further) * level[below, right] + further * level[below, beside]
        found: NDArray[np.float64] = (1.0 - lower) * upper + lower * under
        return found

    def learn(self, found: int) -> None:
        """Count a frame, and move the ratio a little towards the wanted number of candidates."""
        self._seen += 1
        gap = math.log((found + SURPLUS_FLOOR) / (self._wanted + SURPLUS_FLOOR))
        ratio = self._ratio * math.exp(RATIO_STEP * gap)
        self._ratio = min(max(ratio, RATIOS[0]), RATIOS[1])

    def level_at(self, rows: NDArray[np.int64], columns: NDArray[np.int64]) -> NDArray[np.float64]:
        """Return the usual summed change at pixels, shape (N,)."""
        width, height = self._size
        at_rows = np.minimum(rows * self._level.shape[0] // height, self._level.shape[0] - 1)
        at_columns = np.minimum(columns * self._level.shape[1] // width, self._level.shape[1] - 1)
        found: NDArray[np.float64] = self._level[at_rows, at_columns].astype(float)
        return np.maximum(found, LEAST_LEVEL)


def _block_means(
    values: NDArray[Any],
    blocks: tuple[int, int],
    height: int,
    sums: type[np.unsignedinteger[Any]],
) -> NDArray[np.float64]:
    """Return the mean of whole blocks; the odd pixels at the right and lower edge are left out.

    Parameters
    ----------
    values : ndarray, shape (rows, columns)
    blocks : tuple of int
        Columns and rows of blocks.
    height : int
        Of a block, in rows of `values`.
    sums : type
        Holds the sum of a block's column.
    """
    columns, rows = blocks
    part = values[: rows * height, : columns * BLOCK]
    if part.shape != (rows * height, columns * BLOCK):
        # The picture is smaller than a block.
        return np.full((rows, columns), values.mean())
    lines = np.add.reduce(part.reshape(rows, height, -1), axis=1, dtype=sums)
    whole = lines.reshape(rows, columns, BLOCK).sum(axis=2, dtype=np.int64)
    return np.asarray(whole / (height * BLOCK), float)


def _between(
    at: NDArray[np.int64], count: int, blocks: int
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Return the block before each of `count` places and how far on to the next it lies."""
    place = np.clip((at + 0.5) * (blocks / count) - 0.5, 0.0, max(blocks - 1, 0))
    first = np.minimum(place.astype(np.int64), max(blocks - 2, 0))
    return first, place - first
