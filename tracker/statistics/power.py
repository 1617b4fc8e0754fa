"""How many shots would settle a question."""

import math
from collections.abc import Callable

from tracker.statistics.means import student_factor
from tracker.statistics.pairwise import critical_range
from tracker.statistics.variance import welch_dof

MOST_SHOTS = 100_000
"""Beyond this a sample size is no advice to anybody."""


def power_of_two(
    difference: float,
    scatters: tuple[float, float],
    counts: tuple[int, int],
    level: float = 0.95,
    groups: int = 2,
    residue: float = 0.0,
) -> float:
    """Return the chance that two groups' means are told apart.

    Parameters
    ----------
    difference : float
        True difference of the means.
    scatters : tuple of two floats
        Standard deviation of a single value in each group.
    counts : tuple of two ints
        Values in each group, at least two.
    level : float
        Two-sided confidence of the test.
    groups : int
        Means that are compared in all pairs at that confidence.
    residue : float
        Standard uncertainty of the difference that repeats do not lessen.

    Notes
    -----
    Noncentral t with Welch's degrees of freedom; exact when both scatters and counts agree.
    Source: J. Cohen, Statistical Power Analysis (1988), chapter 2.
    """
    from scipy.special import ncfdtr

    parts = [(sd**2 / count, float(count - 1)) for sd, count in zip(scatters, counts, strict=True)]
    parts.append((residue**2, math.inf))
    spread = math.sqrt(sum(variance for variance, _ in parts))
    if spread == 0.0:
        return 1.0 if difference != 0.0 else 1.0 - level
    dof = welch_dof(parts)
    shift = abs(difference) / spread
    critical = critical_range(groups, dof, level) / math.sqrt(2.0)
    # The square of a noncentral t is a noncentral F. scipy's own noncentral t gives NaN far out
    # in its lower tail (scipy 1.17, nctdtr(18, 9, -2.1)).
    return float(1.0 - ncfdtr(1.0, min(dof, 1e6), shift**2, critical**2))


def shots_to_tell(
    difference: float,
    scatters: tuple[float, float],
    level: float = 0.95,
    power: float = 0.8,
) -> int | None:
    """Return the values per group that tell a difference with the wanted chance.

    Returns None when no reasonable number would (a difference of nothing, for instance).
    """
    if difference == 0.0:
        return None

    def enough(count: int) -> bool:
        return power_of_two(difference, scatters, (count, count), level) >= power

    return _least(enough)


def shots_for_half_width(half_width: float, scatter: float, level: float = 0.95) -> int | None:
    """Return the number of values whose mean is known within a half width.

    Parameters
    ----------
    half_width : float
        Half of the wanted t interval.
    scatter : float
        Standard deviation of a single value.
    """
    if half_width <= 0.0:
        return None

    def enough(count: int) -> bool:
        return student_factor(level, count - 1) * scatter / math.sqrt(count) <= half_width

    return _least(enough)


def shots_to_detect(shift: float, scatter: float, risks: tuple[float, float], sides: int) -> int:
    """Return the values that show a shift of one mean from a known one.

    Parameters
    ----------
    shift : float
        Least shift worth knowing.
    scatter : float
        Standard deviation of a single value.
    risks : tuple of two floats
        Chance of a false alarm, chance of missing the shift.
    sides : {1, 2}
        Two when the shift may go either way.

    Notes
    -----
    Source: NIST/SEMATECH e-Handbook, section 7.2.2.2: the normal formula, then repeated with
    Student's factors for the number just found until it stands.
    """
    from scipy.special import ndtri, stdtrit

    alarm, miss = risks[0] / sides, risks[1]
    ratio = (scatter / shift) ** 2
    needed = ratio * float(ndtri(1 - alarm) + ndtri(1 - miss)) ** 2
    count = 0
    while count != max(2, math.ceil(needed)):
        count = max(2, math.ceil(needed), count)
        needed = ratio * float(stdtrit(count - 1, 1 - alarm) + stdtrit(count - 1, 1 - miss)) ** 2
        if needed < count:
            break
    return count


def _least(enough: Callable[[int], bool]) -> int | None:
    """Return the least count of two or more that is enough, by doubling and halving."""
    low, high = 1, 2
    while not enough(high):
        low, high = high, 2 * high
        if high > MOST_SHOTS:
            return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high
