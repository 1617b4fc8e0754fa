"""A sample of repeated values: its mean, its scatter, Student's factor."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tracker.statistics.distributions import chi_square_quantile, student_quantile

Interval = tuple[float, float]


@dataclass(frozen=True)
class Sample:
    """Count, mean and standard deviation of repeated values.

    Attributes
    ----------
    count : int
        Number of values.
    mean : float
    sd : float
        Sample standard deviation (divisor ``count - 1``); NaN for a single value.
    """

    count: int
    mean: float
    sd: float

    @property
    def u(self) -> float:
        """Standard uncertainty of the mean from scatter alone (GUM 4.2.3); NaN for one value."""
        return self.sd / math.sqrt(self.count)

    @property
    def dof(self) -> int:
        """Degrees of freedom of the standard deviation."""
        return self.count - 1

    @property
    def scatters(self) -> bool:
        """True when there are enough values for a standard deviation."""
        return self.count > 1


def sample_of(values: ArrayLike) -> Sample:
    """Return count, mean and standard deviation of finite values.

    Parameters
    ----------
    values : array_like, shape (N,)
        At least one value.

    Raises
    ------
    ValueError
        When there is no value or one of them is not finite.
    """
    array = np.asarray(values, float).reshape(-1)
    if array.size == 0:
        raise ValueError("a sample needs at least one value")
    if not np.isfinite(array).all():
        raise ValueError("a sample's values must be finite")
    # Removing the first value keeps the digits of values that differ only far behind the point.
    shifted = array - array[0]
    mean = float(array[0] + shifted.mean())
    sd = float(np.std(shifted, ddof=1)) if array.size > 1 else math.nan
    return Sample(int(array.size), mean, sd)


@dataclass(frozen=True)
class Groups:
    """Count, mean and standard deviation of the values of each of many groups.

    Attributes
    ----------
    counts, means : ndarray, shape (G,)
    sds : ndarray, shape (G,)
        Sample standard deviations; NaN for a single value.
    """

    counts: np.ndarray
    means: np.ndarray
    sds: np.ndarray

    def having(self, chosen: np.ndarray) -> "Groups":
        """Return some of the groups, by a mask or by their places."""
        return Groups(self.counts[chosen], self.means[chosen], self.sds[chosen])


def groups_of(places: ArrayLike, values: ArrayLike) -> Groups:
    """Return the samples of values in groups, as `sample_of` does each.

    Parameters
    ----------
    places : array_like of int, shape (N,)
        The group of each value, 0, 1, 2 … without a gap.
    values : array_like, shape (N,)
        Finite.
    """
    codes, array = np.asarray(places, int), np.asarray(values, float)
    counts = np.bincount(codes)
    # Removing one value of each group keeps the digits of values that differ only in the last.
    base = np.empty(counts.size)
    base[codes[::-1]] = array[::-1]
    shifted = array - base[codes]
    means = np.bincount(codes, shifted) / counts
    squares = np.bincount(codes, (shifted - means[codes]) ** 2)
    with np.errstate(invalid="ignore", divide="ignore"):
        sds = np.sqrt(squares / (counts - 1))
    return Groups(counts, base + means, sds)


def student_factor(level: float, dof: float) -> float:
    """Return the two-sided Student factor for a confidence level.

    Parameters
    ----------
    level : float
        Two-sided confidence, between 0 and 1.
    dof : float
        Degrees of freedom; infinity gives the normal factor.
    """
    return student_quantile(0.5 - level / 2.0, dof)


def scatter_interval(sample: Sample, level: float = 0.95) -> Interval | None:
    """Return the chi-square interval of the standard deviation, or None for a single value.

    Source: Hahn and Meeker (1991), section 4.6.
    """
    if not sample.scatters:
        return None
    tail = (1.0 - level) / 2.0
    low, high = (
        sample.sd * math.sqrt(sample.dof / chi_square_quantile(above, sample.dof))
        for above in (tail, 1.0 - tail)
    )
    return low, high
