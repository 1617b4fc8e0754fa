"""Markers and plumb lines."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def point(coordinates: Sequence[float]) -> Array:
    """Return coordinates as an array of floats: of the ground (m) or of a frame (px)."""
    return np.asarray(coordinates, float)


@dataclass(frozen=True)
class Marker:
    """A point whose ground coordinates were taped and whose pixel is known.

    Attributes
    ----------
    name : str
    ground_m : ndarray, shape (3,)
        Taped ``along, across, up``, m.
    u_m : float
        Standard uncertainty of each taped coordinate, m.
    pixel : ndarray, shape (2,), or None
        Column and row where it was picked; None while it has not been.
    pixel_u : float
        Standard uncertainty of each pixel coordinate.
    """

    name: str
    ground_m: Array = field()
    u_m: float = 0.02
    pixel: Array | None = None
    pixel_u: float = 1.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "ground_m", np.asarray(self.ground_m, float).reshape(3))
        if self.pixel is not None:
            object.__setattr__(self, "pixel", np.asarray(self.pixel, float).reshape(2))


@dataclass(frozen=True)
class Plumb:
    """Something upright of which neither height nor place is known: a pole, a wall's edge.

    Attributes
    ----------
    name : str
    lower_px, upper_px : ndarray, shape (2,)
        Two pixels along it, the farther apart the better.
    pixel_u : float
        Standard uncertainty of each pixel coordinate.
    """

    name: str
    lower_px: Array
    upper_px: Array
    pixel_u: float = 1.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "lower_px", np.asarray(self.lower_px, float).reshape(2))
        object.__setattr__(self, "upper_px", np.asarray(self.upper_px, float).reshape(2))
