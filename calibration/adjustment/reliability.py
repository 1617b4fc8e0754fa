"""Reliability: how well observations check each other, and which of them are outliers."""

from collections.abc import Sequence
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.least_squares import Adjustment

Array = NDArray[np.float64]

NORMAL = NormalDist()

CHANCE, POWER = 0.001, 0.80
"""Probabilities of a false alarm and of finding an error: Baarda's customary 0.1 % and 80 %
(W. Baarda, A testing procedure for use in geodetic networks, 1968)."""

LEAST_REDUNDANCY = 1e-6
"""Share of an observation's weight below which the rest does not check it: rounding of the
normal matrix. No unit."""

LEAST_SPREAD = 1e-9
"""Share of the largest variance below which a joint test leaves a direction out: rounding."""


def redundancy_numbers(adjustment: Adjustment) -> Array:
    """Return each observation's share of the redundancy, shape (M,), 0 to 1 where uncorrelated.

    0: nothing else checks the observation; 1: everything else fixes it. Their sum is the
    degrees of freedom (Förstner 1979; Ghilani 2017, Adjustment Computations, 21.2).
    """
    slope = adjustment.whitened_jacobian
    if adjustment.whitener.ndim == 1:
        return np.asarray(
            1.0 - np.einsum("ij,jk,ik->i", slope, adjustment.covariance, slope), float
        )
    spread = np.eye(len(slope)) - slope @ adjustment.covariance @ slope.T
    unwhiten = np.linalg.inv(adjustment.whitener)
    return np.asarray(np.einsum("ij,jk,ki->i", unwhiten, spread, adjustment.whitener), float)


def w_values(adjustment: Adjustment, smallest_redundancy: float = LEAST_REDUNDANCY) -> Array:
    """Return Baarda's w of each observation, shape (M,).

    The residual over its own standard uncertainty, standard normal where no observation is
    wrong; NaN where nothing checks the observation (Baarda 1968, A testing procedure for use
    in geodetic networks; Teunissen 2006, Testing Theory, for correlated observations).
    """
    pulled, spread = _pull(adjustment)
    checked = _checked(adjustment, spread, smallest_redundancy)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(checked, pulled / np.sqrt(np.diag(spread)), np.nan)


def falls_of_chi_square(
    adjustment: Adjustment, groups: Sequence[NDArray[np.int64]]
) -> NDArray[np.float64]:
    """Return how much `chi_square` would fall without each group of observations, shape (G,).

    The joint test of several observations as one blunder, chi-square distributed with as many
    degrees of freedom as there are observations (Teunissen 2006, Testing Theory, 4.4).

    Parameters
    ----------
    adjustment : Adjustment
    groups : sequence of ndarray of int
        The observations of each group.

    Returns
    -------
    ndarray
        NaN where nothing checks a group.
    """
    pulled, spread = _pull(adjustment)
    falls = np.full(len(groups), np.nan)
    for number, together in enumerate(groups):
        block = spread[np.ix_(together, together)]
        values, vectors = np.linalg.eigh(block)
        scale = np.diag(block).max(initial=0.0)
        kept = values > LEAST_SPREAD * scale
        if scale > 0 and np.any(kept):
            along = vectors[:, kept].T @ pulled[together]
            falls[number] = np.sum(along**2 / values[kept])
    return falls


def critical_w(count: int, chance: float = CHANCE) -> float:
    """Return the bound that the largest |w| of `count` exceeds with probability `chance`.

    Šidák's correction; 3.29 for one observation at 0.1 %, Baarda's customary bound.
    """
    single = 1.0 - (1.0 - chance) ** (1.0 / max(count, 1)) if count > 1 else chance
    return float(-NORMAL.inv_cdf(single / 2.0))


def smallest_findable(
    adjustment: Adjustment, chance: float = CHANCE, power: float = POWER
) -> Array:
    """Return the smallest error of each observation that its test detects, shape (M,).

    In the observation's own unit, infinite where nothing checks it (Baarda's boundary value,
    with the error of the first kind `chance` and the power `power`).
    """
    shift = -NORMAL.inv_cdf(chance / 2.0) + NORMAL.inv_cdf(power)
    _, spread = _pull(adjustment)
    diagonal = np.diag(spread)
    checked = _checked(adjustment, spread, LEAST_REDUNDANCY)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(checked, shift / np.sqrt(diagonal), np.inf)


def _checked(adjustment: Adjustment, spread: Array, smallest: float) -> NDArray[np.bool_]:
    """Return which observations the rest checks, by the share of their weight that is left."""
    whitener = adjustment.whitener
    weight = whitener**2 if whitener.ndim == 1 else np.sum(whitener**2, axis=0)
    return np.asarray(np.diag(spread) > smallest * weight, bool)


def _pull(adjustment: Adjustment) -> tuple[Array, Array]:
    """Return weighted residuals P v and their covariance P Q_vv P."""
    slope = adjustment.whitened_jacobian
    spread = np.eye(len(slope)) - slope @ adjustment.covariance @ slope.T
    whitener = adjustment.whitener
    if whitener.ndim == 1:
        return (
            whitener * adjustment.whitened_residuals,
            whitener[:, None] * spread * whitener[None, :],
        )
    return whitener.T @ adjustment.whitened_residuals, whitener.T @ spread @ whitener
