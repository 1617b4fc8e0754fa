"""A camera that is to be set up: where it stands, how it films, what will be known."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.markers import Marker
from calibration.site import Site
from tracker.fitting import Conditions

Array = NDArray[np.float64]

CONTRAST = 50.0
"""Ball less background, luma steps of 255, where none is stated. The medians of nine drawn sessions
are 23 (far off, before a pale sky) to 136 (close by, before a hedge), about 55."""

NOISE = 4.0
"""Scatter of a pixel by sensor and encoder, luma steps of 255, where none is stated. From the
scatter of the ball's measured positions in nine drawn sessions: 0 to 3 at an ample bit rate, 4 to 6
at a phone's usual one, 10 to 12 in a grainy clip or at 120 frames a second squeezed into it; median
4."""


@dataclass(frozen=True)
class Stand:
    """A camera that could be set up.

    Attributes
    ----------
    site : Site
        What will be known of the camera; its markers without pixels. A `position_m` of None
        means that nobody will tape the position.
    position_m : ndarray, shape (3,)
        Where it stands, ground coordinates.
    target_m : ndarray, shape (3,), or None
        What it points at; None for the middle of all that must be in view.
    fps : float
        True frames a second.
    shutter_s : float
        Exposure time of a row.
    contrast, noise : float
        See `CONTRAST` and `NOISE`.
    conditions : Conditions
        Ball, air, release and readout.
    """

    site: Site
    position_m: Array
    target_m: Array | None
    fps: float
    shutter_s: float
    contrast: float
    noise: float
    conditions: Conditions


def moved(stand: Stand, position_m: tuple[float, float, float], markers: Iterable[Marker]) -> Stand:
    """Return a stand with the camera at another place, before other markers."""
    position = np.array(position_m, float)
    taped = None if stand.site.position_m is None else position
    site = replace(stand.site, markers=tuple(markers), position_m=taped)
    return replace(stand, site=site, position_m=position)
