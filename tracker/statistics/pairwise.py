"""All pairs of several means, with one confidence that holds for all pairs together."""

import math
from dataclasses import dataclass

from tracker.statistics.means import student_factor

MARGIN = 0.6
"""Share of the permitted family-wise error that the intervals use. Welch's degrees of freedom are
too many when the setup with the fewest shots scatters most: at the full 5 % simulated families of
two to ten equal means (3 to 8 shots, scatter up to six times another's) had 2.6 to 7.0 % false
differences, at 3 % all have at most 5 % (60000 families each)."""


@dataclass(frozen=True)
class Pair:
    """The difference of two of several means.

    Attributes
    ----------
    difference : float
    u : float
        Standard uncertainty of the difference.
    dof : float
        Its degrees of freedom.
    half_width : float
        Half of the interval that holds for all pairs together.
    """

    difference: float
    u: float
    dof: float
    half_width: float

    @property
    def interval(self) -> tuple[float, float]:
        """The simultaneous interval of the difference."""
        return self.difference - self.half_width, self.difference + self.half_width

    @property
    def significant(self) -> bool:
        """True when the simultaneous interval leaves zero out."""
        return abs(self.difference) > self.half_width


def pair_level(groups: int, level: float = 0.95) -> float:
    """Return the confidence of one pair that keeps the confidence of all pairs together.

    Parameters
    ----------
    groups : int
        Number of means that are compared in all pairs.
    level : float
        Confidence of all pairs together.

    Notes
    -----
    A. C. Tamhane, Journal of the American Statistical
    Association 74, 471 (1979), procedure T2, which takes Z. Šidák's level
    ``(1 - a)^(1 / pairs)`` (1967) with Welch's degrees of freedom; `a` is ``MARGIN (1 - level)``.
    """
    pairs = max(1, groups * (groups - 1) // 2)
    return float((1.0 - MARGIN * (1.0 - level)) ** (1.0 / pairs))


def simultaneous(difference: float, u: float, dof: float, groups: int, level: float) -> Pair:
    """Return one of the pairs of several means from its difference and uncertainty."""
    half = student_factor(pair_level(groups, level), dof) * u if u > 0.0 else 0.0
    return Pair(difference, u, dof, half if math.isfinite(half) else math.inf)
