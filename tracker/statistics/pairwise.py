"""All pairs of several means, with one statement that holds for all of them together."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tracker.statistics.means import Sample, student_factor
from tracker.statistics.studentized_range import range_cdf, range_quantile
from tracker.statistics.variance import welch_dof


@dataclass(frozen=True)
class Pair:
    """The difference ``first - second`` of two of several means.

    Attributes
    ----------
    first, second : int
        Places of the two groups in the list.
    difference : float
    u : float
        Standard uncertainty of the difference.
    dof : float
        Its degrees of freedom.
    half_width : float
        Half of the interval that holds for all pairs together.
    p : float
        Probability of a larger difference between any two alike groups.
    """

    first: int
    second: int
    difference: float
    u: float
    dof: float
    half_width: float
    p: float

    @property
    def interval(self) -> tuple[float, float]:
        """The simultaneous interval of the difference."""
        return self.difference - self.half_width, self.difference + self.half_width

    @property
    def told_apart(self) -> bool:
        """True when the simultaneous interval leaves zero out."""
        return abs(self.difference) > self.half_width


def critical_range(groups: int, dof: float, level: float = 0.95) -> float:
    """Return the quantile of the studentized range.

    Parameters
    ----------
    groups : int
        Number of means.
    dof : float
        Degrees of freedom of their standard deviation.
    level : float
        Probability below the quantile.

    Notes
    -----
    Source: Student (1927), J. W. Tukey (1953). For two means it is Student's t times the
    square root of two.
    """
    if groups == 2:
        return math.sqrt(2.0) * student_factor(level, dof)
    return range_quantile(level, groups, dof)


def range_tail(statistic: float, groups: int, dof: float) -> float:
    """Return the probability of a studentized range above a statistic."""
    if groups == 2:
        from scipy.special import ndtr, stdtr

        t = -statistic / math.sqrt(2.0)
        return float(2.0 * (ndtr(t) if math.isinf(dof) else stdtr(dof, t)))
    return 1.0 - range_cdf(statistic, groups, dof)


def simultaneous(
    places: tuple[int, int], groups: int, difference: float, u: float, dof: float, level: float
) -> Pair:
    """Return one of several pairs from its difference, uncertainty and degrees of freedom."""
    if u == 0.0:
        half, p = 0.0, 1.0 if difference == 0.0 else 0.0
    else:
        half = critical_range(groups, dof, level) / math.sqrt(2.0) * u
        p = range_tail(abs(difference) / u * math.sqrt(2.0), groups, dof)
    return Pair(*places, difference, u, dof, half, p)


def games_howell(samples: Sequence[Sample], level: float = 0.95) -> list[Pair]:
    """Return all pairwise differences for groups of unequal scatter and size.

    Parameters
    ----------
    samples : sequence of Sample
        At least two, each with two values or more.
    level : float
        Confidence that holds for all pairs together.

    Notes
    -----
    Source: P. A. Games and J. F. Howell, Pairwise multiple comparison procedures with unequal
    N's and/or variances, Journal of Educational Statistics 1, 113 (1976).
    """
    if len(samples) < 2 or any(not sample.scatters for sample in samples):
        raise ValueError("Games and Howell's comparison needs two groups, each with two values")
    pairs = []
    for first, a in enumerate(samples):
        for second in range(first + 1, len(samples)):
            b = samples[second]
            u = math.hypot(a.u, b.u)
            dof = welch_dof(((a.u**2, a.dof), (b.u**2, b.dof)))
            pairs.append(
                simultaneous((first, second), len(samples), a.mean - b.mean, u, dof, level)
            )
    return pairs


def tukey(samples: Sequence[Sample], level: float = 0.95) -> list[Pair]:
    """Return all pairwise differences for groups of equal scatter (sizes may differ).

    Source: J. W. Tukey (1953) and C. Y. Kramer, Biometrics 12, 307 (1956); NIST/SEMATECH
    e-Handbook, section 7.4.7.1.
    """
    dof = sum(sample.dof for sample in samples)
    if len(samples) < 2 or dof < 1:
        raise ValueError("Tukey's comparison needs two groups and a scatter within them")
    pooled = sum(sample.dof * sample.sd**2 for sample in samples if sample.scatters) / dof
    pairs = []
    for first, a in enumerate(samples):
        for second in range(first + 1, len(samples)):
            b = samples[second]
            u = math.sqrt(pooled * (1.0 / a.count + 1.0 / b.count))
            pairs.append(
                simultaneous((first, second), len(samples), a.mean - b.mean, u, dof, level)
            )
    return pairs
