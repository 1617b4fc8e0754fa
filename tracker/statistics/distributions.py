"""Tails and quantiles of the normal, Student's and the chi-square distribution.

SciPy has them too, and the tests hold these to its values; but it takes a fifth of a second to
load, a good part of a command that compares setups.
"""

import math
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tracker.statistics.root import root_between
from tracker.statistics.tails import chi_square_above, normal_above, student_above

QUANTILES_KEPT = 4096
"""Quantiles that are remembered: those of one comparison."""

MANY_DOF = 1000.0
"""Degrees of freedom from which on Student's quantile is expanded around the normal one: good to
1e-10 then, even a billionth from the end."""

CLOSE = 1e-14
"""Relative width to which a quantile is found."""


def normal_below(values: ArrayLike) -> NDArray[np.float64]:
    """Return the chance that a standard normal value is below each of some values."""
    array = np.asarray(values, float)
    found = np.fromiter((normal_above(-each) for each in array.ravel().tolist()), float, array.size)
    return found.reshape(array.shape)


@lru_cache(QUANTILES_KEPT)
def normal_quantile(above: float) -> float:
    """Return the value that a standard normal one exceeds with a given chance.

    Parameters
    ----------
    above : float
        Between 0 and 1, without the ends.
    """
    if above > 0.5:
        return -normal_quantile(1.0 - above)
    sought = math.log(above)
    # The tail falls faster than exp(-x²/2) / 2 above zero.
    high = math.sqrt(max(0.0, -2.0 * math.log(2.0 * above))) + CLOSE
    return root_between(lambda x: math.log(normal_above(x)) - sought, 0.0, high, CLOSE * high)


@lru_cache(QUANTILES_KEPT)
def student_quantile(above: float, dof: float) -> float:
    """Return the value that Student's t exceeds with a given chance.

    Parameters
    ----------
    above : float
        Between 0 and 1, without the ends.
    dof : float
        Degrees of freedom; infinity gives the normal quantile.

    Notes
    -----
    For many degrees of freedom by Fisher's expansion: Abramowitz and Stegun (1964), equation
    26.7.5.
    """
    if above > 0.5:
        return -student_quantile(1.0 - above, dof)
    z = normal_quantile(above)
    if dof >= MANY_DOF:
        return z + sum(term / dof**power for power, term in enumerate(_expansion(z), 1))
    sought, high = math.log(above), max(2.0 * z, 1.0)
    while student_above(high, dof) > above:
        high *= 2.0
    return root_between(lambda t: math.log(student_above(t, dof)) - sought, 0.0, high, CLOSE * high)


def _expansion(z: float) -> tuple[float, ...]:
    return (
        (z**3 + z) / 4.0,
        (5.0 * z**5 + 16.0 * z**3 + 3.0 * z) / 96.0,
        (3.0 * z**7 + 19.0 * z**5 + 17.0 * z**3 - 15.0 * z) / 384.0,
        (79.0 * z**9 + 776.0 * z**7 + 1482.0 * z**5 - 1920.0 * z**3 - 945.0 * z) / 92160.0,
    )


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
    # E. B. Wilson and M. M. Hilferty, Proc. Nat. Acad. Sci. 17, 684 (1931), to begin with.
    part = 2.0 / (9.0 * dof)
    near = dof * max(1.0 - part + normal_quantile(above) * math.sqrt(part), 0.0) ** 3
    low, high = 0.99 * near, 1.01 * near
    while chi_square_above(low, dof) < above:
        low *= 0.5
    while chi_square_above(high, dof) > above:
        high = 2.0 * high + 1e-9
    return root_between(lambda x: chi_square_above(x, dof) - above, low, high, CLOSE * high)


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
