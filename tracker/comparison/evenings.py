"""Evenings: what wind and battery change from one evening to the next, as a random effect."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tracker.comparison.shares import NOTHING, Shares
from tracker.statistics.distributions import normal_below, student_quantile
from tracker.statistics.means import Groups, groups_of, student_factor
from tracker.statistics.root import root_between

MOST_APART = 100
"""Evenings with the least and with the greatest means that are compared in pairs, of either: the
others lie closer together."""

COMMON = 0.5
"""Share of the variance between evenings that is common to all setups of an evening: wind is, the
state of the battery at each setup is not (common practice, no source)."""

GRID = 60
"""Values of the standard deviation between evenings that are weighed."""

WIDEST = 30.0
"""Greatest of them, in standard deviations from shot to shot: beyond, evenings have nothing in
common."""


@dataclass(frozen=True)
class Evenings:
    """The shots of one setup by evening.

    Attributes
    ----------
    weights : Shares
        Share of each evening in its shots.
    u : float
        Standard deviation between evenings.
    ranges : tuple of (float, float)
        Least and greatest value of each evening, where the evenings of this setup differ by more
        than its shots do; else empty.
    """

    weights: Shares
    u: float
    ranges: tuple[tuple[float, float], ...] = ()

    @property
    def mean_u(self) -> float:
        """Standard uncertainty that the evenings leave in the mean of the setup."""
        return self.u * self.weights.spread


ONE_EVENING = Evenings(NOTHING, 0.0)
"""Of a setup without shots."""


def ranges_of(places: np.ndarray, values: np.ndarray) -> tuple[tuple[float, float], ...]:
    """Return the ranges of a setup's evenings, as `Evenings` has them.

    Parameters
    ----------
    places : ndarray of int, shape (N,)
        For each shot a number of its evening.
    values : ndarray, shape (N,)
    """
    used, codes = np.unique(places, return_inverse=True)
    if not _differ(groups_of(codes, values)):
        return ()
    low, high = np.full(used.size, np.inf), np.full(used.size, -np.inf)
    np.minimum.at(low, codes, values)
    np.maximum.at(high, codes, values)
    return tuple(zip(low.tolist(), high.tolist(), strict=True))


def evening_residue(first: Evenings, second: Evenings) -> float:
    """Return the standard uncertainty that the evenings leave in the difference of two setups."""
    both = first.weights.common(second.weights)
    square = first.mean_u**2 + second.mean_u**2 - 2.0 * COMMON * both * first.u * second.u
    return math.sqrt(max(0.0, square))


def evening_effect(setups: Sequence[Groups]) -> float:
    """Return the standard deviation between evenings, to be used as if it were known.

    Parameters
    ----------
    setups : sequence of Groups
        The evenings of each setup.

    Zero where no setup was shot on two evenings: nothing is known of it then.

    Notes
    -----
    From the means of each evening within each setup: their restricted likelihood over the standard
    deviation between evenings, with a half-Cauchy prior of the scale of the scatter from shot to
    shot, which suits few groups (A. Gelman, Bayesian Analysis 1, 515, 2006). Returned is the one
    whose normal 95 % interval is that of the mixture over everything that is possible.
    """
    repeated = [groups for groups in setups if len(groups.counts) > 1]
    dof = sum(float((groups.counts - 1).sum()) for groups in setups)
    if not repeated or not dof:
        return 0.0
    squares = sum(float(np.nansum((groups.counts - 1) * groups.sds**2)) for groups in setups)
    scatter = math.sqrt(squares / dof)
    if scatter == 0.0:
        return 0.0
    shares = (np.arange(GRID) + 0.5) / GRID
    sizes = scatter * np.minimum(np.tan(0.5 * math.pi * shares), WIDEST)
    logs = np.zeros(GRID)
    for groups in repeated:
        means, own = groups.means, scatter**2 / groups.counts
        spread = sizes[:, None] ** 2 + own
        middle = (means / spread).sum(axis=1) / (1.0 / spread).sum(axis=1)
        misses = (means - middle[:, None]) ** 2 / spread
        logs -= 0.5 * (np.log(spread) + misses).sum(axis=1)
        logs -= 0.5 * np.log((1.0 / spread).sum(axis=1))
    chances = np.exp(logs - logs.max())
    chances /= chances.sum()

    def excess(width: float) -> float:
        return float(chances @ (2.0 * normal_below(-width / sizes))) - 0.05

    width = root_between(excess, 1e-6 * scatter, 4.0 * WIDEST * scatter, 1e-9 * scatter)
    return width / student_factor(0.95, math.inf)


def _differ(groups: Groups) -> bool:
    """Return whether two evenings of a setup differ by more than their shots explain."""
    groups = groups.having(groups.counts > 1)
    count = len(groups.counts)
    if count < 2:
        return False
    above = 0.5 * 0.05 / (count * (count - 1) / 2)
    order = np.argsort(groups.means)
    groups = groups.having(np.r_[order[:MOST_APART], order[MOST_APART:][-MOST_APART:]])
    dof, own = groups.counts - 1, groups.sds**2 / groups.counts
    one, other = np.triu_indices(len(dof), 1)
    gap = np.abs(groups.means[one] - groups.means[other])
    variance = own[one] + own[other]
    # Student's factor falls with the degrees of freedom, of which Welch's are at most the sum.
    least = student_quantile(above, 2.0 * float(dof.max()))
    far = np.flatnonzero(gap > least * np.sqrt(variance))
    far = far[np.argsort(variance[far] / gap[far] ** 2)]
    one, other, gap, variance = one[far], other[far], gap[far], variance[far]
    if (variance == 0.0).any():
        return True
    welch = variance**2 / (own[one] ** 2 / dof[one] + own[other] ** 2 / dof[other])
    pairs = zip((gap / np.sqrt(variance)).tolist(), welch.tolist(), strict=True)
    return any(apart > student_quantile(above, freedom) for apart, freedom in pairs)
