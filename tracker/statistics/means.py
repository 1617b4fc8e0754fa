"""A sample, what it says of the mean, and what it says of the next value."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

Interval = tuple[float, float]


@dataclass(frozen=True)
class Sample:
    """What repeats of one thing come down to.

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
        """True when there are values enough for a scatter."""
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


def student_factor(level: float, dof: float) -> float:
    """Return the two-sided Student factor for a confidence level.

    Parameters
    ----------
    level : float
        Two-sided confidence, between 0 and 1.
    dof : float
        Degrees of freedom; infinity gives the normal factor.
    """
    from scipy.special import ndtri, stdtrit

    half = 0.5 + level / 2.0
    return float(ndtri(half) if math.isinf(dof) else stdtrit(dof, half))


def mean_interval(sample: Sample, level: float = 0.95) -> Interval | None:
    """Return the t interval of the mean, or None for a single value.

    Source: Student (1908), as in the GUM, annex G.3.
    """
    if not sample.scatters:
        return None
    half = student_factor(level, sample.dof) * sample.u
    return sample.mean - half, sample.mean + half


def next_interval(sample: Sample, level: float = 0.95) -> Interval | None:
    """Return the interval that holds the next value, or None for a single value.

    Source: G. J. Hahn and W. Q. Meeker, Statistical Intervals (1991), section 4.7:
    mean plus or minus t s sqrt(1 + 1/n).
    """
    if not sample.scatters:
        return None
    half = student_factor(level, sample.dof) * sample.sd * math.sqrt(1.0 + 1.0 / sample.count)
    return sample.mean - half, sample.mean + half


def scatter_interval(sample: Sample, level: float = 0.95) -> Interval | None:
    """Return the chi-square interval of the standard deviation, or None for a single value.

    Source: Hahn and Meeker (1991), section 4.6.
    """
    if not sample.scatters:
        return None
    from scipy.special import chdtri

    tail = (1.0 - level) / 2.0
    return (
        sample.sd * math.sqrt(sample.dof / float(chdtri(sample.dof, tail))),
        sample.sd * math.sqrt(sample.dof / float(chdtri(sample.dof, 1.0 - tail))),
    )


def unbiased_factor(count: int) -> float:
    """Return c4, the mean of the sample standard deviation over the true one.

    Source: ISO 7870-2 and W. A. Shewhart (1931): sqrt(2/(n-1)) gamma(n/2) / gamma((n-1)/2).
    """
    if count < 2:
        raise ValueError("c4 needs at least two values")
    return math.sqrt(2.0 / (count - 1)) * math.exp(
        math.lgamma(count / 2.0) - math.lgamma((count - 1) / 2.0)
    )
