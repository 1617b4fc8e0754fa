"""Figures with their standard uncertainty, rounded as far as the uncertainty goes."""

import math
from collections.abc import Iterable, Sequence
from typing import TypeGuard

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
    return _written(value, u, decimals_of(u) if _states(u) else 2)


def aligned(pairs: Iterable[tuple[float | None, float | None]]) -> list[str]:
    """Return the figures of a column, all with the decimals that the smallest uncertainty asks for.

    So the points of the column stand below each other, and no uncertainty is rounded to nothing.

    Parameters
    ----------
    pairs : iterable of (value, u)
        As of `with_uncertainty`.
    """
    listed = list(pairs)
    known = [u for value, u in listed if value is not None and math.isfinite(value) and _states(u)]
    decimals = max((decimals_of(u) for u in known), default=2)
    return [
        MISSING if value is None or not math.isfinite(value) else _written(value, u, decimals)
        for value, u in listed
    ]


def figure_rows(
    records: Sequence[object], columns: Sequence[tuple[str, str]]
) -> list[tuple[str, ...]]:
    """Return the figures of each record; those of one column have the same decimals.

    Parameters
    ----------
    records : sequence
        Shots, for instance.
    columns : sequence of (str, str)
        The names of a figure and of its standard uncertainty.
    """
    cells = [
        aligned((getattr(one, name), getattr(one, u_name)) for one in records)
        for name, u_name in columns
    ]
    return list(zip(*cells, strict=True)) if cells else [()] * len(records)


def _states(u: float | None) -> TypeGuard[float]:
    return u is not None and math.isfinite(u) and u > 0.0


def _written(value: float, u: float | None, decimals: int) -> str:
    if not _states(u):
        return f"{value:.{decimals}f}"
    return f"{_fixed(value, decimals)} ±{_fixed(u, decimals)}"


def decimals_of(u: float) -> int:
    """Return how many decimals a standard uncertainty leaves meaningful, none below zero."""
    power = math.floor(math.log10(u))
    first = round(u / 10.0**power, 1)
    if first >= 10.0:
        power, first = power + 1, first / 10.0
    return max(0, -power + (1 if first < 3.0 else 0))


def stated(u: float) -> str:
    """Return a standard uncertainty alone, as `with_uncertainty` writes it: ``"1.0"``, ``"0.9"``.

    Parameters
    ----------
    u : float
        Above zero.
    """
    return _fixed(u, decimals_of(u)) if _states(u) else f"{u:g}"


def _fixed(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}"
    return text[1:] if text.startswith("-") and not text.strip("-0.") else text


def whole_percents(shares: Sequence[float]) -> list[float]:
    """Return shares of a whole in hundredths that add up to one again.

    Each is rounded down, and the hundredths that are left go to the largest remainders (the method
    of Hamilton, as in the apportionment of seats).

    Parameters
    ----------
    shares : sequence of float
        Add up to one.
    """
    down = [math.floor(100.0 * share + 1e-9) for share in shares]
    left = 100 - sum(down)
    by_remainder = sorted(range(len(shares)), key=lambda i: down[i] - 100.0 * shares[i])
    for place in by_remainder[:left]:
        down[place] += 1
    return [count / 100.0 for count in down]
