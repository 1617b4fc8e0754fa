"""Tails and quantiles of the normal, Student's and the chi-square distribution.

For single numbers, without a library: SciPy's take a fifth of a second to load, as long as a
comparison of thousands of shots takes (measured). These agree with
them to 2e-10 of a value.
"""

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tracker.statistics.root import MOST_STEPS, root_between

PRECISION = 1e-15
"""Relative change of a series or a fraction below which it has converged: that of a double."""

MOST_TERMS = 100_000
"""Terms after which a series or a fraction is given up. Both need some ten square roots of the
degrees of freedom (DLMF 8.17(v)), so this is enough for 1e8."""

LOG_STEP = 1e-8
"""Last step of Newton's method to the logarithm of a quantile; its error is about its square."""

MANY_DOF = 1e5
"""Degrees of freedom beyond which Abramowitz and Stegun (1964), 26.7.5, is exact: the term left out
is below 1e-10 of the quantile for every chance above 1e-15."""

LOG_TOLERANCE = 1e-11
"""Last step of a slower search for the logarithm of a quantile; what is left is far less."""

QUANTILES_KEPT = 4096
"""Quantiles that are remembered: those of one comparison."""

WIDEST_LOG = 100.0
"""Steps of a factor e by which a bracket of a quantile is widened at the most."""


def normal_below(values: ArrayLike) -> NDArray[np.float64]:
    """Return the chance that a standard normal value is below each of some values."""
    return np.asarray(0.5 * _erfc(-np.asarray(values, float) * math.sqrt(0.5)), float)


_erfc = np.vectorize(math.erfc, otypes=[float])


@lru_cache(QUANTILES_KEPT)
def normal_quantile(above: float) -> float:
    """Return the value that a standard normal one exceeds with a given chance.

    Source: M. J. Wichura, Applied Statistics 37, 477 (1988), as Python's own library has it.
    """
    from statistics import NormalDist

    return -NormalDist().inv_cdf(above)


def student_above(value: float, dof: float) -> float:
    """Return the chance that Student's t exceeds a value, which is not negative.

    Source: Abramowitz and Stegun (1964), 26.7.1 with 26.5.27.
    """
    square = value * value
    return 0.5 * _beta_share(dof / (dof + square), square / (dof + square), 0.5 * dof, 0.5)


@lru_cache(QUANTILES_KEPT)
def student_quantile(above: float, dof: float) -> float:
    """Return the value that Student's t exceeds with a given chance.

    Parameters
    ----------
    above : float
        Between 0 and 0.5, without the ends.
    dof : float
        Degrees of freedom, one or more; infinity gives the normal quantile.

    Notes
    -----
    Newton's method on the logarithms of value and chance, between which t has a curve that bends
    one way, so that every step after the first comes from the same side. It starts from
    Abramowitz and Stegun (1964), 26.7.5.
    """
    z = normal_quantile(above)
    if math.isinf(dof):
        return z
    value = z + (z**3 + z) / (4.0 * dof) + (5.0 * z**5 + 16.0 * z**3 + 3.0 * z) / (96.0 * dof**2)
    if dof > MANY_DOF:
        return value
    whole = math.lgamma(0.5 * dof + 0.5) - math.lgamma(0.5 * dof)
    for _ in range(MOST_STEPS):
        beyond = student_above(value, dof)
        log = whole - 0.5 * (dof + 1.0) * math.log1p(value * value / dof)
        slope = value * math.exp(log) / math.sqrt(math.pi * dof) / beyond
        step = math.log(beyond / above) / slope
        value *= math.exp(step)
        if abs(step) < LOG_STEP:
            break
    return value


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


@lru_cache(QUANTILES_KEPT)
def chi_square_quantile(above: float, dof: float) -> float:
    """Return the value that chi-square exceeds with a given chance.

    Parameters
    ----------
    above : float
        Between 0 and 1, without the ends.
    dof : float
        Degrees of freedom.

    Notes
    -----
    Searched for from the approximation of E. B. Wilson and M. M. Hilferty, Proceedings of the
    National Academy of Sciences 17, 684 (1931).
    """
    spread = 2.0 / (9.0 * dof)
    cube = max(1.0 - spread + normal_quantile(above) * math.sqrt(spread), 1e-2)

    def excess(log: float) -> float:
        below, beyond = _gamma_shares(0.5 * math.exp(log), 0.5 * dof)
        # The smaller of the two shares has the digits.
        if above > 0.5:
            return math.log((1.0 - above) / max(below, 1e-300))
        return math.log(max(beyond, 1e-300) / above)

    return math.exp(_solved(excess, math.log(dof * cube**3)))


def _solved(excess: Callable[[float], float], start: float) -> float:
    """Return the root of a falling function near a place."""
    low, high, step = start - 0.01, start + 0.01, 0.02
    while excess(low) < 0.0 and start - low < WIDEST_LOG:
        low, step = low - step, 2.0 * step
    while excess(high) > 0.0 and high - start < WIDEST_LOG:
        high, step = high + step, 2.0 * step
    return root_between(excess, low, high, LOG_TOLERANCE)


def _beta_share(x: float, rest: float, a: float, b: float) -> float:
    """Return the regularised incomplete beta function of ``x``; `rest` is ``1 - x``.

    Source: NIST Digital Library of Mathematical Functions (DLMF), 8.17.4 and 8.17.22.
    """
    if x <= 0.0 or rest <= 0.0:
        return 0.0 if x <= 0.0 else 1.0
    if x > (a + 1.0) / (a + b + 2.0):
        return 1.0 - _beta_share(rest, x, b, a)

    def numerator(place: int) -> float:
        m = place // 2
        if place % 2:
            return -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        return m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))

    whole = math.lgamma(a) + math.lgamma(b) - math.lgamma(a + b)
    return math.exp(a * math.log(x) + b * math.log(rest) - whole) / (a * _fraction(numerator))


def _fraction(numerator: Callable[[int], float]) -> float:
    """Return ``1 + n1 / (1 + n2 / (1 + …))``.

    Source: W. J. Lentz, Applied Optics 15, 668 (1976), as changed by Thompson and Barnett (1986).
    """
    value, upper, lower = 1.0, 1.0, 0.0
    for place in range(1, MOST_TERMS):
        term = numerator(place)
        lower = 1.0 / (1.0 + term * lower)
        upper = 1.0 + term / upper
        value *= upper * lower
        if abs(upper * lower - 1.0) < PRECISION:
            break
    return value


def _gamma_shares(x: float, a: float) -> tuple[float, float]:
    """Return the regularised incomplete gamma functions, lower and upper.

    Source: DLMF 8.7.1 for small, 8.9.2 for large values, as an even fraction.
    """
    scale = math.exp(a * math.log(x) - x - math.lgamma(a))
    if x < a + 1.0:
        total = term = 1.0 / a
        for place in range(1, MOST_TERMS):
            term *= x / (a + place)
            total += term
            if term < PRECISION * total:
                break
        return scale * total, 1.0 - scale * total
    # 1 / (x + 1 - a - 1 (1 - a) / (x + 3 - a - 2 (2 - a) / (x + 5 - a - …))).
    bottom = x + 1.0 - a

    def numerator(place: int) -> float:
        above, below = bottom + 2 * place, bottom + 2 * place - 2
        return -place * (place - a) / (above * below)

    beyond = scale / (bottom * _fraction(numerator))
    return 1.0 - beyond, beyond
