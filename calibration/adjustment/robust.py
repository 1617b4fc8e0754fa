"""Robust estimation: weights that let outliers count less, and scales they cannot raise."""

from dataclasses import dataclass
from math import log, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

SIGMA_PER_MAD = 1.4826
"""Standard deviation of a normal variable over its median absolute deviation, 1 / 0.67449
(P. J. Huber, Robust Statistics, 1981, 5.1)."""

MEDIAN_RADIUS = sqrt(2.0 * log(2.0))
"""Median length of a two-dimensional standard normal vector, 1.1774 (the Rayleigh law)."""

CAUCHY_KNEE = 2.0
"""Distance, in standard deviations, at which Cauchy's weight is one half. Near the 2.385 of 95 %
efficiency (Z. Zhang, Image and Vision Computing 15, 59, 1997, table 1); lower, as half of the
candidates of a track may be outliers."""

NEGLIGIBLE_WEIGHT = 1e-12
"""Weight of a rejected observation: above zero, so that a matrix stays regular. No unit."""


def middle(values: ArrayLike) -> float:
    """Return the median of values without a NaN; `numpy.median` imports masked arrays first."""
    ordered = np.sort(np.asarray(values, float), axis=None)
    return float(ordered[(len(ordered) - 1) // 2 : len(ordered) // 2 + 1].mean())


def sigma_of(deviations: Array, least: float = 0.0) -> float:
    """Return the robust standard deviation of deviations from a middle, by their median."""
    return max(SIGMA_PER_MAD * float(np.median(np.abs(deviations))), least)


def sigma_of_radii(radii: Array) -> float:
    """Return the standard deviation of each coordinate of vectors, by their median length."""
    return float(np.median(radii)) / MEDIAN_RADIUS


def cauchy_weights(distance: Array, scale: float) -> Array:
    """Return Cauchy's weights of residuals at a distance, one at zero, never zero.

    Parameters
    ----------
    distance : ndarray
        Length of each residual.
    scale : float
        Standard deviation in the same unit.
    """
    return 1.0 / (1.0 + (distance / (CAUCHY_KNEE * scale)) ** 2)


def huber_weights(relative: Array, knee: float, cut: float = np.inf) -> Array:
    """Return Huber's weights: one up to the knee, then falling as one over the distance.

    Parameters
    ----------
    relative : ndarray
        Length of each residual in standard deviations.
    knee : float
        In standard deviations.
    cut : float
        Beyond it an observation is rejected: its weight is `NEGLIGIBLE_WEIGHT`.
    """
    weights = np.minimum(1.0, knee / np.maximum(relative, knee))
    return np.where(relative > cut, NEGLIGIBLE_WEIGHT, weights)


def tukey_weights(relative: Array, cut: float) -> Array:
    """Return the weights of Tukey's biweight, zero beyond `cut` standard deviations."""
    return np.clip(1.0 - (relative / cut) ** 2, 0.0, None) ** 2


@dataclass(frozen=True)
class RobustFit:
    """A linear model fitted by reweighting.

    Attributes
    ----------
    parameters : ndarray, shape (P,) or (P, K)
    cofactors : ndarray, shape (P, P)
        Covariance of one column of the parameters for observations of unit variance.
    weights : ndarray, shape (N,)
        For the next round: by the residuals of this fit.
    sigma : float
        Robust standard deviation of the residuals' lengths.
    """

    parameters: Array
    cofactors: Array
    weights: Array
    sigma: float


def fit_linear(
    design: Array,
    observed: Array,
    *,
    rounds: int,
    least_sigma: float,
    ridge: Array | None = None,
) -> RobustFit:
    """Fit a linear model by iteratively reweighted least squares with Cauchy's weights.

    A. E. Beaton and J. W. Tukey, Technometrics 16, 147, 1974. The scale is that of the median
    residual, anew in every round.

    Parameters
    ----------
    design : ndarray, shape (N, P)
    observed : ndarray, shape (N,) or (N, K)
        K columns share the design; an observation's residual is the length over its columns.
    rounds : int
        Solutions; the first with weights of one.
    least_sigma : float
        Below it the scale does not fall, in the unit of `observed`.
    ridge : ndarray, shape (P, P), optional
        Added to the normal matrix.
    """
    weights = np.ones(len(design))
    for _ in range(rounds):
        heavy = design * weights[:, None]
        normal = heavy.T @ design
        if ridge is not None:
            normal = normal + ridge
        parameters: Array = np.asarray(np.linalg.solve(normal, heavy.T @ observed), float)
        residual = observed - design @ parameters
        distance = np.abs(residual) if residual.ndim == 1 else np.linalg.norm(residual, axis=1)
        sigma = sigma_of(distance, least_sigma)
        weights = cauchy_weights(distance, sigma)
    return RobustFit(parameters, np.asarray(np.linalg.inv(normal), float), weights, sigma)
