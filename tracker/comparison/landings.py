"""Where the shots of a setup come down."""

from dataclasses import dataclass

import numpy as np

from tracker.statistics.landing import Ellipse, extreme_spread, landing_region, median_miss


@dataclass(frozen=True)
class Landing:
    """Where the shots of a setup come down, ground coordinates (along, across) in m.

    Attributes
    ----------
    points : ndarray, shape (N, 2)
    half, most : Ellipse
        Regions that hold the next shot with 50 % and 95 %.
    median_miss_m : float
        Radius about the centre that half of the shots keep.
    extreme_spread_m : float
        Greatest distance between two of them.
    """

    points: np.ndarray
    half: Ellipse
    most: Ellipse
    median_miss_m: float
    extreme_spread_m: float


def landing_of(points: np.ndarray) -> Landing | None:
    """Return where shots came down at these points, shape (N, 2); None for fewer than three."""
    half, most = landing_region(points, 0.5), landing_region(points, 0.95)
    miss = median_miss(points)
    if half is None or most is None or miss is None:
        return None
    return Landing(points, half, most, miss, extreme_spread(points))
