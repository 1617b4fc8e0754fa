"""Figures with their standard uncertainty, rounded as far as the uncertainty goes."""

import math

MISSING = "-"
"""Shown where a quantity could not be measured."""


def with_uncertainty(value: float | None, u: float | None) -> str:
    """Return ``"18.23 ±0.05"``: the uncertainty to two digits at most, the value as far as it.

    A first digit of 1 or 2 keeps a second one, because rounding it away would change the
    uncertainty by up to half (JCGM 100:2008, 7.2.6).

    Parameters
    ----------
    value, u : float or None
        The value and its standard uncertainty; None where it could not be measured.
    """
    if value is None or not math.isfinite(value):
        return MISSING
    if u is None or not math.isfinite(u) or u <= 0:
        return f"{value:.2f}"
    decimals = decimals_of(u)
    return f"{_fixed(value, decimals)} ±{_fixed(u, decimals)}"


def decimals_of(u: float) -> int:
    """Return how many decimals a standard uncertainty leaves meaningful, none below zero."""
    power = math.floor(math.log10(u))
    first = round(u / 10.0**power, 1)
    if first >= 10.0:
        power, first = power + 1, first / 10.0
    return max(0, -power + (1 if first < 3.0 else 0))


def _fixed(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}"
    return text[1:] if text.startswith("-") and not text.strip("-0.") else text
