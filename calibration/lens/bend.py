"""How a printed board is bent: paper on cardboard is never quite flat."""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SIZE = 3
"""Numbers of a bend: its curvature across, the twist, and its curvature down."""

BEND_U = 0.01
"""Standard uncertainty of each about zero, as a share of the board's half length: a millimetre in
ten centimetres. Common practice, no source."""


@dataclass(frozen=True)
class BoardShape:
    """The frame in which a board's bend is stated.

    Attributes
    ----------
    middle_mm : ndarray, shape (2,)
        Middle of the board's corners.
    half_mm : float
        Half the length of the board.
    """

    middle_mm: Array
    half_mm: float

    @classmethod
    def of(cls, corners_mm: Array) -> Self:
        """Return the shape of a board with these corners, shape (N, 2)."""
        low, high = corners_mm.min(axis=0), corners_mm.max(axis=0)
        return cls((low + high) / 2.0, float(np.max(high - low)) / 2.0)

    def heights_by_bend(self, corners_mm: Array) -> Array:
        """Return how high each corner lies above the flat board by its bend, mm, shape (N, 3).

        Paraboloids; what is the same everywhere, or grows evenly, is the board's place and tilt.
        """
        x, y = ((corners_mm - self.middle_mm) / self.half_mm).T
        return self.half_mm * np.column_stack([x * x, x * y, y * y])

    def points(self, corners_mm: Array, bend: Array) -> NDArray[np.float32]:
        """Return the corners of a board with a bend, shape (N, 3), mm."""
        heights = self.heights_by_bend(corners_mm) @ bend
        return np.column_stack([corners_mm, heights]).astype(np.float32)

    def sag_mm(self, bend: Array) -> float:
        """Return by how much the farthest part of a board stands off its middle, mm."""
        across, twist, down = bend
        return float(self.half_mm * max(abs(across), abs(twist), abs(down)))
