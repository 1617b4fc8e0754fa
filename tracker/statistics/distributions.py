"""Tails and quantiles of the normal, Student's and the chi-square distribution.

By SciPy's functions, which are loaded with the first that is asked for: that takes a fifth of a
second, and many a command asks for none.
"""

import math
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

QUANTILES_KEPT = 4096
"""Quantiles that are remembered: those of one comparison."""


def normal_below(values: ArrayLike) -> NDArray[np.float64]:
    """Return the chance that a standard normal value is below each of some values."""
    from scipy.special import ndtr

    return np.asarray(ndtr(values), float)


@lru_cache(QUANTILES_KEPT)
def normal_quantile(above: float) -> float:
    """Return the value that a standard normal one exceeds with a given chance."""
    from scipy.special import ndtri

    return -float(ndtri(above))


@lru_cache(QUANTILES_KEPT)
def student_quantile(above: float, dof: float) -> float:
    """Return the value that Student's t exceeds with a given chance.

    Parameters
    ----------
    above : float
        Between 0 and 1, without the ends.
    dof : float
        Degrees of freedom; infinity gives the normal quantile.
    """
    from scipy.special import stdtrit

    return normal_quantile(above) if math.isinf(dof) else -float(stdtrit(dof, above))


@lru_cache(QUANTILES_KEPT)
def chi_square_quantile(above: float, dof: float) -> float:
    """Return the value that chi-square exceeds with a given chance.

    Parameters
    ----------
    above : float
        Between 0 and 1, without the ends.
    dof : float
        Degrees of freedom.
    """
    from scipy.special import chdtri

    return float(chdtri(dof, above))


def scatter_ratios(
    dof: float, finest: float = math.inf
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return by what an estimated scatter may exceed the true one, and how likely each value is.

    Parameters
    ----------
    dof : float
        Degrees of freedom of the estimate.
    finest : float
        Relative change of a ratio in which the function to be averaged hardly changes.

    Returns
    -------
    ratios, weights : ndarray, shape (N,)
        The weights add up to one, and the sum of the weighted values of a smooth function is its
        mean: the trapezium rule over the logarithm of the root of chi-square over its degrees of
        freedom, whose density falls away at both ends.
    """
    side = REACH / math.sqrt(dof)
    low = -side - REACH**2 / dof
    step = min(RATIO_STEP / math.sqrt(dof), finest)
    logs = np.linspace(low, side, 1 + math.ceil((side - low) / step))
    weights = np.exp(dof * (logs - 0.5 * np.expm1(2.0 * logs)))
    return np.exp(logs), weights / weights.sum()


REACH = 4.5
"""Where the density of `scatter_ratios` has fallen to 2e-9, which is exp(-4.5**2)."""

RATIO_STEP = 0.35
"""Step of `scatter_ratios` for one degree of freedom, half the standard deviation of its logarithm:
the median of a bivariate Student scatter is good to 1e-6 with it (measured)."""
