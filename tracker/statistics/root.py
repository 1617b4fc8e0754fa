"""A root of a function of one number between two places where its signs differ."""

from collections.abc import Callable

MOST_STEPS = 200
"""Steps after which the interval is as narrow as floating point makes it, whatever the function."""


def root_between(
    function: Callable[[float], float], low: float, high: float, tolerance: float
) -> float:
    """Return where a continuous function changes its sign.

    Parameters
    ----------
    function : callable
    low, high : float
        With values of different signs, or zero.
    tolerance : float
        Greatest width of the interval that is left.

    Raises
    ------
    ValueError
        Where the signs at both ends are the same.

    Notes
    -----
    The method of false position; an end that stays twice has its value halved (the Illinois
    method: M. Dowell and P. Jarratt, BIT 11, 168, 1971). It converges almost as fast as Brent's
    and needs no library that takes longer to load than to find the root.
    """
    a, b = low, high
    at_a, at_b = function(a), function(b)
    if at_a == 0.0:
        return a
    if at_b == 0.0:
        return b
    if (at_a > 0.0) == (at_b > 0.0):
        raise ValueError("the function has the same sign at both ends")
    for _ in range(MOST_STEPS):
        middle = b - at_b * (b - a) / (at_b - at_a)
        if not min(a, b) < middle < max(a, b):
            middle = 0.5 * (a + b)
        value = function(middle)
        if value == 0.0 or abs(middle - b) <= tolerance:
            return middle
        if (value > 0.0) == (at_b > 0.0):
            at_a *= 0.5
        else:
            a, at_a = b, at_b
        b, at_b = middle, value
    return b
