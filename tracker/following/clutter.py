"""How often something that is no ball gives a candidate, by place and by strength."""

import cv2
import numpy as np
from numpy.typing import NDArray

from tracker.records import Candidates

Array = NDArray[np.float64]

CELL_PX = 32
CLASSES = np.array([12.0, 25.0, 55.0])
"""Strengths that part four classes: a leaf's flicker and a bird are not equally common."""

RAREST = np.array([3e-3, 1.5e-3, 8e-4, 4e-4])
"""Candidates per cell and frame that are granted to every class even if none was ever seen."""

UNKNOWN = 0.5 / 9.0
"""Divided by the frames seen so far, the rate of events that may go on in a cell and its eight
neighbours though none was seen: the mean of a Poisson rate's distribution after none (H.
Jeffreys, Theory of Probability, 3rd ed. 1961, 3.1). In a clip's first second nothing is rare."""


class ClutterMap:
    """A slow mean of candidates per cell, frame and strength class.

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
        """Return the density that clutter has at each candidate, then learn from them.

        The density is per pixel and frame, times the number of classes: what a likelihood
        ratio needs beside a ball that is as likely to be of one class as of another.
        """
        cells = (candidates.pixels / CELL_PX).astype(int)
        kind = np.searchsorted(CLASSES, candidates.strength)
        unseen = np.maximum(RAREST, UNKNOWN / (1.0 + self._seen))
        level = self._around[cells[:, 1], cells[:, 0], kind] + unseen[kind]
        fresh = np.zeros(self._shape)
        np.add.at(fresh, (cells[:, 1], cells[:, 0], kind), 1.0)
        self._seen += 1
        weight = max(0.01, 1.0 / (8.0 + self._seen))
        self._level += weight * (fresh - self._level)
        if self._seen % 4 == 0 or self._seen < 8:
            # What moves about will soon be next door.
            self._around = np.asarray(cv2.blur(self._level, (3, 3)), float)
        return level * len(RAREST) / CELL_PX**2
