"""How much each position of a track counts in a fit."""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.robust import huber_weights, sigma_of_radii

Array = NDArray[np.float64]

KNEE = 2.0
"""Whitened distance beyond which a position counts less (P. J. Huber, Ann. Math. Stat. 35, 73,
1964). No unit; between the 1.3 of 95 % efficiency in one dimension and no robustness: common
practice, no source."""

CUT = 6.0
"""Whitened distance beyond which a position is an outlier and not used. No unit; common practice,
no source: a normal residual in two dimensions exceeds it once in 7e7 times."""

FIRST_SCALE = (1.0, 3.0)
"""Bounds of the scale of all positions about a first guess. The upper one was tuned on drawn and
measured clips without markers: a wider valley takes fewer steps, and then more to become narrow."""

PRIOR_COUNT = 5.0
"""Positions' worth of belief that the scatter is as predicted. Common practice, no source."""

NEIGHBOURS, PRIOR_NEIGHBOURS = 15, 8.0
"""Positions in the stretch from which local scatter is estimated, and the weight, in positions, of
the track's overall scatter in that estimate. Common practice, no source."""

LEAST_CORRELATED = 12
"""Fewest positions from which the correlation of neighbouring residuals is estimated."""

CLIP, MOST_CORRELATION = 4.0, 0.8
"""Whitened residual beyond which a value is clipped in that estimate, and its upper bound: it keeps
the variance factor below 9. Common practice, no source."""


@dataclass(frozen=True)
class Weighting:
    """Scale and weight of each position.

    Attributes
    ----------
    scale : ndarray, shape (N,)
        Observed scatter around each position over its own standard uncertainty.
    weights : ndarray, shape (N,)
        Robust weight, from 0 to 1.
    distance : ndarray, shape (N,)
        Length of the whitened residual in units of `scale`.
    """

    scale: Array
    weights: Array
    distance: Array

    @classmethod
    def even(cls, white: Array) -> Self:
        """Return the weighting in which all positions count alike beside their uncertainties.

        Their scale is that of the whitened residuals, shape (N, 2): about a first guess it is
        large, which keeps the first steps of a fit in a wide valley.
        """
        radii = np.sqrt(np.sum(white**2, axis=1))
        count = len(radii)
        scale = float(np.clip(sigma_of_radii(radii), *FIRST_SCALE))
        return cls(np.full(count, scale), np.ones(count), np.zeros(count))

    @classmethod
    def of(cls, white: Array) -> Self:
        """Return the weighting that whitened residuals, shape (N, 2), ask for."""
        radii = np.sqrt(np.sum(white**2, axis=1))
        scale = _overall_scale(radii) * _local_scale(radii)
        distance = radii / scale
        return cls(scale, huber_weights(distance, KNEE, CUT), distance)

    @property
    def used(self) -> NDArray[np.bool_]:
        """Positions that are no outliers, shape (N,)."""
        return self.distance <= CUT

    @property
    def factor(self) -> Array:
        """What multiplies whitened residuals and slopes, shape (N,)."""
        factor: Array = np.sqrt(self.weights) / self.scale
        return factor

    def agrees_with(self, other: "Weighting") -> bool:
        """Return whether two weightings are the same within a tenth."""
        steady = np.all(np.abs(other.scale - self.scale) < 0.1 * self.scale)
        return bool(steady and np.all(np.abs(other.weights - self.weights) < 0.1))


def _overall_scale(radii: Array) -> float:
    """Return the factor between observed and predicted scatter, from the median residual.

    With few positions the factor is pulled towards one.
    """
    count = len(radii)
    observed = sigma_of_radii(radii)
    return float(np.sqrt((count * observed**2 + PRIOR_COUNT) / (count + PRIOR_COUNT)))


def _local_scale(radii: Array) -> Array:
    """Return how much more each position's neighbours scatter than the whole track, shape (N,).

    A flight crosses still sky and moving leaves; in front of leaves each position is worse than its
    own pixels predict. No stretch counts as better than the track as a whole.
    """
    count = len(radii)
    usual = max(float(np.median(radii)), 1e-9)
    # At either end the stretch slides inward: an end repeated would be its own neighbour.
    half = NEIGHBOURS // 2
    first = np.clip(np.arange(count) - half, 0, max(count - NEIGHBOURS, 0))
    near = np.minimum(first[:, None] + np.arange(NEIGHBOURS), count - 1)
    local = NEIGHBOURS * np.median(radii[near], axis=1) + PRIOR_NEIGHBOURS * usual
    scale: Array = np.maximum(1.0, local / (NEIGHBOURS + PRIOR_NEIGHBOURS) / usual)
    return scale


def correlation_factor(white: Array) -> float:
    """Return the factor by which correlation of neighbours raises the variance of a mean.

    For residuals with correlation r from one to the next it is (1 + r) / (1 - r) (G. V. Bayley
    and J. M. Hammersley, J. R. Stat. Soc. Suppl. 8, 184, 1946). Never below one.

    Parameters
    ----------
    white : ndarray, shape (N, 2)
        Whitened residuals of the positions used.
    """
    if len(white) < LEAST_CORRELATED:
        return 1.0
    ratios = []
    for part in white.T:
        part = np.clip(part, -CLIP, CLIP)
        ratios.append(float(np.sum(part[1:] * part[:-1]) / max(np.sum(part * part), 1e-12)))
    correlation = float(np.clip(np.mean(ratios), 0.0, MOST_CORRELATION))
    return (1.0 + correlation) / (1.0 - correlation)
