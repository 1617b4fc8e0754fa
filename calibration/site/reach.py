"""Whether one marker alone carries a calibration far beyond the others."""

from dataclasses import dataclass

import numpy as np

from calibration.site.accuracy import ground_covariances
from calibration.site.solution import Calibration

FAR_SHARE = 2.0
"""Distance of the farthest marker over that of the next from which it stands alone: markers are
spaced evenly, and a digit too many makes it ten (common practice, no source)."""

LOOSE_M = 10.0
"""95 % half-width of a landing, m, beyond which a calibration says little: markers' spacing."""

COVER_95 = 1.96
"""Half-width of the 95 % interval of a normal variable, in standard deviations."""


@dataclass(frozen=True)
class LoneMarker:
    """A marker far beyond all others, at which a landing would be hardly known.

    Attributes
    ----------
    name : str
    along_m, half_width_m : float
        Its distance down the firing line, and the 95 % half-width of a landing there.
    next_along_m, next_half_width_m : float
        The same at the farthest of the other markers.
    """

    name: str
    along_m: float
    half_width_m: float
    next_along_m: float
    next_half_width_m: float


def lone_marker(calibration: Calibration) -> LoneMarker | None:
    """Return the marker that alone makes a calibration reach far, None where there is none."""
    along = calibration.points_m[:, 0]
    if len(along) < 2:
        return None
    order = np.argsort(along)
    far, near = order[-1], order[-2]
    if along[far] < FAR_SHARE * max(along[near], LOOSE_M):
        return None
    points = np.array([[along[at], 0.0, 0.0] for at in (far, near)])
    spread = COVER_95 * np.sqrt(ground_covariances(calibration.camera, points)[:, 0, 0])
    if np.isfinite(spread[0]) and spread[0] < LOOSE_M:
        return None
    return LoneMarker(
        calibration.markers[far], float(along[far]), float(spread[0]), float(along[near]),
        float(spread[1]),
    )  # fmt: skip
