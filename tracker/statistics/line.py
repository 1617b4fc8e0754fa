"""Least-squares straight line with its covariance."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tracker.statistics.components import Estimate


@dataclass(frozen=True)
class Line:
    """A fitted line ``height + slope (x - origin)``.

    Attributes
    ----------
    height, slope : Estimate
    correlation : float
        Between height and slope.
    residual_sd : float
    origin : float
    """

    height: Estimate
    slope: Estimate
    correlation: float
    residual_sd: float
    origin: float

    def at(self, x: float) -> Estimate:
        """Return the line's value at ``x``."""
        step = x - self.origin
        variance = (
            self.height.u**2
            + (step * self.slope.u) ** 2
            + 2.0 * step * self.correlation * self.height.u * self.slope.u
        )
        return Estimate(
            self.height.value + step * self.slope.value,
            math.sqrt(max(variance, 0.0)),
            self.height.dof,
        )


def fit_line(x: ArrayLike, y: ArrayLike, origin: float = 0.0) -> Line:
    """Return the least-squares line.

    Parameters
    ----------
    x, y : array_like, shape (N,)
        At least three points, not all at one ``x``.
    origin : float
        Where the height is taken.

    Notes
    -----
    Source: GUM (JCGM 100:2008) annex H.3.
    """
    across = np.asarray(x, float).reshape(-1) - origin
    up = np.asarray(y, float).reshape(-1)
    if across.size < 3 or up.size != across.size or np.ptp(across) == 0.0:
        raise ValueError("a line with an uncertainty needs three points that are not in a column")
    design = np.column_stack((np.ones_like(across), across))
    found, *_ = np.linalg.lstsq(design, up, rcond=None)
    dof = across.size - 2
    variance = float(np.sum((up - design @ found) ** 2)) / dof
    covariance = variance * np.linalg.inv(design.T @ design)
    u = np.sqrt(np.diag(covariance))
    correlation = float(covariance[0, 1] / (u[0] * u[1])) if u.all() else 0.0
    return Line(
        Estimate(float(found[0]), float(u[0]), float(dof)),
        Estimate(float(found[1]), float(u[1]), float(dof)),
        correlation,
        math.sqrt(variance),
        origin,
    )
