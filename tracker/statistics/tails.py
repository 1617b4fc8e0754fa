"""Tails of the normal, Student's and the chi-square distribution, one value at a time."""

import math
from collections.abc import Iterator

PRECISION = 4.4e-16
"""Relative change at which a series or a continued fraction ends: two steps of a double, which
rounding alone cannot keep from being reached."""

TINY = 1e-300
"""In place of zero in a continued fraction (W. J. Lentz, Applied Optics 15, 668, 1976)."""


def normal_above(value: float) -> float:
    """Return the chance that a standard normal value is above a value."""
    return 0.5 * math.erfc(value / math.sqrt(2.0))


def student_above(value: float, dof: float) -> float:
    """Return the chance that Student's t is above a value that is not negative.

    Source: Abramowitz and Stegun (1964), equation 26.7.1.
    """
    square = value * value
    return 0.5 * _beta_share(dof / (dof + square), square / (dof + square), 0.5 * dof, 0.5)


def chi_square_above(value: float, dof: float) -> float:
    """Return the chance that chi-square is above a value that is not negative.

    Sources: NIST Digital Library of Mathematical Functions (DLMF), equations 8.11.4 for values
    below the mean and 8.9.2 above.
    """
    if value <= 0.0:
        return 1.0
    a, x = 0.5 * dof, 0.5 * value
    scale = math.exp(a * math.log(x) - x - math.lgamma(a))
    if x < a + 1.0:
        total, term, n = 1.0 / a, 1.0 / a, a
        while term > PRECISION * total:
            n += 1.0
            term *= x / n
            total += term
        return 1.0 - scale * total

    def parts() -> Iterator[tuple[float, float]]:
        n = 0
        while True:
            yield (1.0 if n == 0 else -n * (n - a)), x + 2.0 * n + 1.0 - a
            n += 1

    return scale * _fraction(parts())


def _beta_share(x: float, rest: float, a: float, b: float) -> float:
    """Return the regularised incomplete beta function I_x(a, b); `rest` is 1 - x.

    Source: DLMF, equations 8.17.22 and 8.17.4.
    """
    if x <= 0.0 or rest <= 0.0:
        return 0.0 if x <= 0.0 else 1.0
    if x > (a + 1.0) / (a + b + 2.0):
        return 1.0 - _beta_share(rest, x, b, a)
    whole = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b)
    front = math.exp(whole + a * math.log(x) + b * math.log(rest)) / a

    def parts() -> Iterator[tuple[float, float]]:
        yield 1.0, 1.0
        m = 0
        while True:
            yield -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)), 1.0
            m += 1
            yield m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)), 1.0

    return front * _fraction(parts())


def _fraction(parts: Iterator[tuple[float, float]]) -> float:
    """Return a1 / (b1 + a2 / (b2 + …)) from its parts, by Lentz's method."""
    found, c, d = TINY, TINY, 0.0
    for a, b in parts:
        d = 1.0 / (b + a * d or TINY)
        c = b + a / c or TINY
        found *= c * d
        if abs(c * d - 1.0) <= PRECISION:
            break
    return found
