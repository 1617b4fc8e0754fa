"""Test of one outlier in a sample."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tracker.statistics.distributions import student_quantile
from tracker.statistics.means import sample_of


@dataclass(frozen=True)
class Grubbs:
    """The value farthest from the mean, and the critical distance.

    Attributes
    ----------
    place : int
        Its index.
    statistic : float
        Its distance from the mean in standard deviations.
    critical : float
        The distance that the farthest of a normal sample exceeds with probability ``1 - level``.
    """

    place: int
    statistic: float
    critical: float

    @property
    def is_outlier(self) -> bool:
        """True when the distance exceeds the critical one."""
        return self.statistic > self.critical


def grubbs_critical(count: int, level: float = 0.95, two_sided: bool = True) -> float:
    """Return the critical value of Grubbs' test.

    Parameters
    ----------
    count : int
        Number of values, at least 3.
    level : float
        One less the accepted chance of a false alarm.
    two_sided : bool
        True when the outlier may lie on either side.

    Notes
    -----
    Source: F. E. Grubbs, Annals of Mathematical Statistics 21, 27 (1950) and Technometrics 11,
    1 (1969); NIST/SEMATECH e-Handbook, section 1.3.5.17.1.
    """
    if count < 3:
        raise ValueError("Grubbs' test needs at least three values")
    tail = (1.0 - level) / (2.0 * count if two_sided else count)
    square = student_quantile(tail, count - 2) ** 2
    return (count - 1) / math.sqrt(count) * math.sqrt(square / (count - 2 + square))


def grubbs(values: ArrayLike, level: float = 0.95) -> Grubbs | None:
    """Return Grubbs' two-sided test of the value farthest from the mean.

    None for fewer than three values, or values that are all equal.
    """
    array = np.asarray(values, float).reshape(-1)
    if array.size < 3:
        return None
    sample = sample_of(array)
    if sample.sd == 0.0:
        return None
    distances = np.abs(array - sample.mean) / sample.sd
    place = int(np.argmax(distances))
    return Grubbs(place, float(distances[place]), grubbs_critical(array.size, level))
