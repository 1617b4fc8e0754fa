"""What a camera's uncertainty comes from, by the kinds of observations."""

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment import Adjustment
from calibration.site.observations import CAMERA_SIZE, Observations

Array = NDArray[np.float64]

SOURCES = {
    "picking": ("pixel",),
    "taping": ("tape",),
    "stand": ("position", "level", "plumb"),
    "lens": ("lens", "view"),
}
"""What a camera's uncertainty comes from, by the kinds of observations that it holds."""


def parts_of(observations: Observations, fit: Adjustment, factor: float) -> dict[str, Array]:
    """Split the camera's covariance by what was observed.

    The adjusted parameters are linear in the observations near the end, x = C A' W l, and the
    kinds of observations are independent of each other, so those of one kind g bring C A_g' A_g C
    of the covariance, A being the whitened Jacobian (JCGM 100:2008, 5.1.2).
    """
    kinds = np.array([row.kind for row in observations.rows])
    reach = fit.whitened_jacobian @ fit.covariance[:, :CAMERA_SIZE]
    parts = {}
    for name, held in SOURCES.items():
        rows = reach[np.isin(kinds, held)]
        parts[name] = factor * rows.T @ rows
    return parts
