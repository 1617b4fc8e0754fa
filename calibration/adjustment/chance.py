"""The chance of a larger sum of squares, for the test of a whole adjustment."""

from math import erfc, exp, isinf, lgamma, log, sqrt


def chi_square_beyond(freedom: int, chi_square: float) -> float:
    """Return the probability that chi-square exceeds a value.

    Finite sums for whole degrees of freedom (M. Abramowitz and I. A. Stegun, Handbook of
    Mathematical Functions, 1964, 26.4.4 and 26.4.5). They need no library of special functions,
    which takes longer to import than a session to check.

    Parameters
    ----------
    freedom : int
        Degrees of freedom, at least one.
    chi_square : float
    """
    if not chi_square > 0.0:
        return 1.0
    if isinf(chi_square):
        return 0.0
    half = 0.5 * chi_square
    odd = 0.5 * (freedom % 2)
    terms = (
        exp((step + odd) * log(half) - half - lgamma(step + odd + 1.0))
        for step in range(freedom // 2)
    )
    return min(1.0, sum(terms) + (erfc(sqrt(half)) if odd else 0.0))
