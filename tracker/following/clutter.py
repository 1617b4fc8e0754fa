"""Density of clutter: candidates that are no ball, by place in the frame and by strength."""

import cv2
import numpy as np
from numpy.typing import NDArray

from tracker.records import Candidates

Array = NDArray[np.float64]

CELL_PX = 32
"""Side of a cell, px: some balls wide. Common practice, no source."""

CLASSES = np.array([12.0, 25.0, 55.0])
"""Strengths (no unit) between four classes: a leaf's flicker and a bird are not equally common.
Common practice, no source."""

RAREST = np.array([3e-3, 1.5e-3, 8e-4, 4e-4])
"""Least density of each class, candidates per cell and frame, even where none was seen. Common
practice, no source."""

UNKNOWN = 0.5 / 9.0
"""Divided by the number of frames seen, the density that may exist in a cell and its eight
neighbours though no candidate was seen: the mean of a Poisson rate's distribution after none (H.
Jeffreys, Theory of Probability, 3rd ed. 1961, 3.1)."""

LEAST_WEIGHT, FIRST_FRAMES = 0.01, 8.0
"""Weight of a new frame in the running mean: one over the frames so far plus the second number, and
never below the first, so that the map follows a change within some hundred frames."""

REFRESH = 4
"""Frames between two smoothings of the map over neighbouring cells; in the first eight, each."""


class ClutterMap:
    """A running mean of the candidates per cell, frame and strength class.

    Parameters
    ----------
    size_px : tuple of int
        Width and height of the frames.
    """

    def __init__(self, size_px: tuple[int, int]) -> None:
        width, height = size_px
        self._shape = (height // CELL_PX + 1, width // CELL_PX + 1, len(RAREST))
        self._level = np.zeros(self._shape)
        self._around = np.zeros(self._shape)
        self._seen = 0

    def density(self, candidates: Candidates) -> Array:
        """Return the density of clutter at each candidate, then update the map with them.

        The density is per pixel and frame, times the number of classes, since a ball is as likely
        to be of one class as of another. A candidate outside the frame, as steadying may move it,
        counts in the nearest cell.

        Parameters
        ----------
        candidates : Candidates

        Returns
        -------
        ndarray, shape (N,)
        """
        rows, columns, _ = self._shape
        cells = np.clip(candidates.pixels / CELL_PX, 0, (columns - 1, rows - 1)).astype(int)
        kind = np.searchsorted(CLASSES, candidates.strength)
        unseen = np.maximum(RAREST, UNKNOWN / (1.0 + self._seen))
        level = self._around[cells[:, 1], cells[:, 0], kind] + unseen[kind]
        self._seen += 1
        weight = max(LEAST_WEIGHT, 1.0 / (FIRST_FRAMES + self._seen))
        self._level *= 1.0 - weight
        np.add.at(self._level, (cells[:, 1], cells[:, 0], kind), weight)
        if self._seen % REFRESH == 0 or self._seen < FIRST_FRAMES:
            # What moves will soon be in a neighbouring cell.
            self._around = np.asarray(cv2.blur(self._level, (3, 3)), float)
        density: Array = level * (len(RAREST) / CELL_PX**2)
        return density


def crowding(pixels: Array, reach_px: float) -> Array:
    """Return how many candidates of a frame lie near each, itself included: a dog is many at once.

    Parameters
    ----------
    pixels : ndarray, shape (N, 2)
    reach_px : float
        Along columns and along rows.

    Returns
    -------
    ndarray, shape (N,)
    """
    column, row = pixels.T
    near = np.abs(column[:, None] - column) < reach_px
    near &= np.abs(row[:, None] - row) < reach_px
    return np.asarray(np.count_nonzero(near, axis=1), float)
