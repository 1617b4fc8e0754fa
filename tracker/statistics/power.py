"""The chance that an experiment shows a difference."""

import math

from tracker.statistics.freedom import welch_dof
from tracker.statistics.means import student_factor

QUANTILES = 2000
"""Values of the estimated scatter over which a chance is averaged: good to 1e-4."""


def power_of_two(
    difference: float,
    scatters: tuple[float, float],
    counts: tuple[int, int],
    confidence: float = 0.95,
    residue: float = 0.0,
) -> float:
    """Return the chance that the difference of two groups is significant.

    Parameters
    ----------
    difference : float
        True difference of the means.
    scatters : tuple of two floats
        Standard deviation of a single value in each group.
    counts : tuple of two ints
        Values in each group, at least two.
    confidence : float
        Two-sided confidence of the test; that of one pair where several are compared.
    residue : float
        Standard uncertainty of the difference that repeats do not lessen.

    Notes
    -----
    Noncentral t with Welch's degrees of freedom; exact for two groups of equal scatter and
    count. Source: J. Cohen, Statistical Power Analysis (1988), chapter 2.
    """
    from scipy.special import ncfdtr

    parts = [(sd**2 / count, float(count - 1)) for sd, count in zip(scatters, counts, strict=True)]
    parts.append((residue**2, math.inf))
    spread = math.sqrt(sum(variance for variance, _ in parts))
    if spread == 0.0:
        return 1.0 if difference != 0.0 else 1.0 - confidence
    dof = welch_dof(parts)
    shift = abs(difference) / spread
    critical = student_factor(confidence, dof)
    # The square of a noncentral t is a noncentral F. scipy's own noncentral t gives NaN far out
    # in its lower tail (scipy 1.17, nctdtr(18, 9, -2.1)).
    missed = float(ncfdtr(1.0, min(dof, 1e6), shift**2, critical**2))
    # That gives NaN here and there where hardly anything is missed (ncfdtr(1, 25, 1444, 4.24)).
    return 1.0 - (_missed(shift, critical, min(dof, 1e6)) if math.isnan(missed) else missed)


def _missed(shift: float, critical: float, dof: float) -> float:
    """Return the chance that a noncentral t lies within its critical values.

    The mean over equally probable values of the estimated scatter, by the definition of t.
    """
    import numpy as np
    from scipy.special import chdtri, ndtr

    beyond = (np.arange(QUANTILES) + 0.5) / QUANTILES
    scatter = critical * np.sqrt(chdtri(dof, beyond) / dof)
    return float(np.mean(ndtr(scatter - shift) - ndtr(-scatter - shift)))


def planned_scatter(sd: float, count: int) -> float:
    """Return the scatter to plan with: the one that the true one exceeds with a chance of one half.

    The standard deviation of few values is too low more often than too high, and a plan made with
    it succeeds less often than it promises. ``s sqrt((n - 1) / m)`` with the median `m` of
    chi-square; a plan for 80 % then succeeds in 82 to 91 % of simulated cases, with `sd` itself in
    68 to 72 %.
    """
    from scipy.special import chdtri

    return sd * math.sqrt((count - 1) / float(chdtri(count - 1, 0.5)))
