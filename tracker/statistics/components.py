"""Uncertainty of means and differences with independent and shared errors.

Repeats scatter because the machine does and because each measurement has its own error; both
parts decrease with the number of repeats. An error of the calibration is common to all repeats:
it does not decrease, but it cancels in a difference as far as both sides share it.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tracker.statistics.freedom import welch_dof
from tracker.statistics.means import Sample, student_factor
from tracker.statistics.root import root_between


@dataclass(frozen=True)
class Estimate:
    """A value with its standard uncertainty and the degrees of freedom of that."""

    value: float
    u: float
    dof: float = math.inf

    def expanded(self, level: float = 0.95) -> float:
        """Return the half width of its interval (GUM annex G: Student's factor times u)."""
        return student_factor(level, self.dof) * self.u if self.u > 0.0 else 0.0

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Return its interval."""
        half = self.expanded(level)
        return self.value - half, self.value + half


def mean_with_shared(sample: Sample, u_shared: float) -> Estimate:
    """Return the mean of repeats whose measurements share an error.

    Parameters
    ----------
    sample : Sample
        Two values or more. Its scatter holds every error that differs from shot to shot.
    u_shared : float
        Standard uncertainty of the error that all of them share.

    Notes
    -----
    GUM 5.2.4: a component common to all values stays whole in their mean. Degrees of freedom
    by Welch and Satterthwaite; the shared part has infinitely many.
    """
    if not sample.scatters:
        raise ValueError("a mean with an uncertainty needs two values")
    parts = ((sample.u**2, float(sample.dof)), (u_shared**2, math.inf))
    return Estimate(sample.mean, math.hypot(sample.u, u_shared), welch_dof(parts))


def difference(
    first: Sample, second: Sample, u_shared: tuple[float, float], correlation: float
) -> Estimate:
    """Return ``first - second`` with its uncertainty, shared errors cancelled.

    Parameters
    ----------
    first, second : Sample
        Two values or more in each.
    u_shared : tuple of two floats
        Standard uncertainty of the shared error of each.
    correlation : float
        Correlation of those two errors: 1 under one calibration, 0 under two.

    Notes
    -----
    GUM equation 16. An error that is one percentage of everything measured has shared
    uncertainties in proportion to the values, and leaves that percentage of the difference.
    """
    if not (first.scatters and second.scatters):
        raise ValueError("a difference with an uncertainty needs two values on either side")
    a, b = u_shared
    residue = max(0.0, a * a + b * b - 2.0 * correlation * a * b)
    parts = (
        (first.u**2, float(first.dof)),
        (second.u**2, float(second.dof)),
        (residue, math.inf),
    )
    variance = sum(part for part, _ in parts)
    return Estimate(first.mean - second.mean, math.sqrt(variance), welch_dof(parts))


@dataclass(frozen=True)
class RandomEffects:
    """Weighted mean of values that scatter more than their own uncertainties.

    Attributes
    ----------
    mean : Estimate
    between_sd : float
        Standard deviation between the values without their own errors.
    """

    mean: Estimate
    between_sd: float


def random_effects_mean(values: ArrayLike, u: ArrayLike) -> RandomEffects:
    """Return the mean of values with own uncertainties and a further variance between them.

    Parameters
    ----------
    values : array_like, shape (N,)
        At least two.
    u : array_like, shape (N,)
        Standard uncertainty of each value by itself, independent of the others.

    Notes
    -----
    Source: R. C. Paule and J. Mandel, Journal of Research of the NBS 87, 377 (1982): the
    variance between the values is the one that makes the weighted sum of squares equal its
    degrees of freedom, zero if none does. With equal ``u`` the mean and its uncertainty are
    those of the plain sample, unless the values scatter less than ``u``.
    """
    x = np.asarray(values, float).reshape(-1)
    own = np.asarray(u, float).reshape(-1) ** 2
    if x.size < 2 or own.size != x.size or not (own > 0).all():
        raise ValueError("a random-effects mean needs two values, each with its uncertainty")

    def centre(between: float) -> tuple[float, float]:
        weights = 1.0 / (own + between)
        return float(weights @ x / weights.sum()), float(weights.sum())

    def excess(between: float) -> float:
        middle, _ = centre(between)
        return float(np.sum((x - middle) ** 2 / (own + between))) - (x.size - 1)

    between = 0.0
    if excess(0.0) > 0.0:
        # The sum of squares falls below N - 1 once the variance alone exceeds all spread.
        top = float(np.sum((x - x.mean()) ** 2)) + float(own.max())
        between = root_between(excess, 0.0, top, 1e-14 * top)
    middle, weight = centre(between)
    return RandomEffects(
        Estimate(middle, 1.0 / math.sqrt(weight), float(x.size - 1)), math.sqrt(between)
    )
