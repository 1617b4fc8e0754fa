"""A marker found in a picture, for a person to confirm."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Proposal:
    """The proposed pixel of a marker; not used before a person confirms it.

    Attributes
    ----------
    name : str
        The marker's.
    pixel : ndarray, shape (2,)
    pixel_u : float
        Standard uncertainty of each coordinate.
    contrast : float
        How far it stands out from its surroundings, in their own scatter.
    box_px : tuple of int
        Left, top, right, bottom of what was found, for a picture.
    doubt : str
        Why it may be wrong, as a clause; empty where nothing speaks against it.
    """

    name: str
    pixel: Array
    pixel_u: float
    contrast: float
    box_px: tuple[int, int, int, int]
    doubt: str = ""
