"""Are the means alike? Two groups or many, with equal or unequal scatter."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tracker.statistics.means import Sample, sample_of


@dataclass(frozen=True)
class MeanTest:
    """A statistic, its degrees of freedom and its two-sided probability under 'no difference'."""

    statistic: float
    dof: float
    p: float


@dataclass(frozen=True)
class AnovaTable:
    """One-way analysis of variance.

    Attributes
    ----------
    between_ss, within_ss : float
        Sums of squares; NaN for Welch's test, which has none.
    between_dof : int
    within_dof : float
    statistic : float
        F.
    p : float
    """

    between_ss: float
    within_ss: float
    between_dof: int
    within_dof: float
    statistic: float
    p: float

    @property
    def residual_sd(self) -> float:
        """Standard deviation within the groups."""
        return math.sqrt(self.within_ss / self.within_dof)


def welch_dof(parts: Sequence[tuple[float, float]]) -> float:
    """Return the effective degrees of freedom of a sum of variances.

    Parameters
    ----------
    parts : sequence of (variance, dof)
        Infinity is a valid dof for a part known otherwise than by repeats.

    Notes
    -----
    Source: F. E. Satterthwaite (1946); B. L. Welch (1947); GUM equation G.2b.
    """
    total = sum(variance for variance, _ in parts)
    if total == 0.0:
        return math.inf
    # Shares of the whole keep squares of tiny variances from vanishing.
    below = sum((variance / total) ** 2 / dof for variance, dof in parts if variance > 0.0)
    return 1.0 / below if below > 0.0 else math.inf


def welch_t(first: Sample, second: Sample) -> MeanTest:
    """Return Welch's test of the difference ``first - second`` of two means.

    Source: B. L. Welch, Biometrika 34, 28 (1947).

    Raises
    ------
    ValueError
        When a sample has a single value or neither scatters at all.
    """
    from scipy.special import stdtr

    if not (first.scatters and second.scatters):
        raise ValueError("Welch's test needs two values in each sample")
    variances = ((first.u**2, first.dof), (second.u**2, second.dof))
    spread = math.sqrt(first.u**2 + second.u**2)
    if spread == 0.0:
        raise ValueError("neither sample scatters, so their difference has no test")
    statistic = (first.mean - second.mean) / spread
    dof = welch_dof(variances)
    return MeanTest(statistic, dof, float(2.0 * stdtr(dof, -abs(statistic))))


def one_way(groups: Sequence[ArrayLike]) -> AnovaTable:
    """Return the classical one-way analysis of variance (equal scatter assumed).

    Source: R. A. Fisher (1925); NIST/SEMATECH e-Handbook, section 7.4.3.
    """
    from scipy.special import fdtrc

    arrays = [np.asarray(group, float).reshape(-1) for group in groups]
    if len(arrays) < 2:
        raise ValueError("an analysis of variance needs two groups")
    # A common shift changes no sum of squares and saves the digits of far-off values.
    shift = arrays[0][0]
    samples = [sample_of(array - shift) for array in arrays]
    total = sum(sample.count for sample in samples)
    grand = sum(sample.count * sample.mean for sample in samples) / total
    between = sum(sample.count * (sample.mean - grand) ** 2 for sample in samples)
    within = sum(
        float(np.sum((array - shift - sample.mean) ** 2))
        for array, sample in zip(arrays, samples, strict=True)
    )
    dof = (len(samples) - 1, total - len(samples))
    if dof[1] < 1 or within == 0.0:
        raise ValueError("an analysis of variance needs scatter within the groups")
    statistic = (between / dof[0]) / (within / dof[1])
    return AnovaTable(between, within, *dof, statistic, float(fdtrc(*dof, statistic)))


def welch_anova(samples: Sequence[Sample]) -> AnovaTable:
    """Return Welch's analysis of variance, which allows each group its own scatter.

    Source: B. L. Welch, On the comparison of several mean values: an alternative approach,
    Biometrika 38, 330 (1951).
    """
    from scipy.special import fdtrc

    if len(samples) < 2 or any(not s.scatters or s.sd == 0.0 for s in samples):
        raise ValueError("Welch's analysis needs two groups or more, each with scatter")
    weights = np.array([1.0 / sample.u**2 for sample in samples])
    means = np.array([sample.mean for sample in samples])
    dofs = np.array([sample.dof for sample in samples], float)
    count = len(samples)
    share = weights / weights.sum()
    centre = float(share @ means)
    excess = float(np.sum((1.0 - share) ** 2 / dofs))
    above = float(weights @ (means - centre) ** 2) / (count - 1)
    statistic = above / (1.0 + 2.0 * (count - 2) / (count**2 - 1) * excess)
    within_dof = (count**2 - 1) / (3.0 * excess)
    p = float(fdtrc(count - 1, within_dof, statistic))
    return AnovaTable(math.nan, math.nan, count - 1, within_dof, statistic, p)
