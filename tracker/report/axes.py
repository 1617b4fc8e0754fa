"""Scales between quantities and places on a drawing."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

NICE = (1.0, 2.0, 2.5, 5.0, 10.0)
"""Steps between ticks, in powers of ten."""

MARGIN = 0.05
"""Room beyond the least and the greatest value, as a share of their distance; a matter of looks."""


@dataclass(frozen=True)
class Scale:
    """A straight scale.

    Attributes
    ----------
    low, high : float
        Quantities at its ends.
    start, end : float
        Places of its ends on the drawing.
    """

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        """Return the place of a quantity."""
        return self.start + (value - self.low) * (self.end - self.start) / (self.high - self.low)

    def ticks(self, most: int = 8) -> list[float]:
        """Return round quantities within the scale, no more of them than that."""
        step = _step((self.high - self.low) / max(most, 1))
        first = math.ceil(self.low / step - 1e-9)
        last = math.floor(self.high / step + 1e-9)
        return [number * step for number in range(first, last + 1)]


def scale_over(values: Iterable[float], start: float, end: float) -> Scale:
    """Return a scale that holds values with some room; of one unit about a single value."""
    found = [value for value in values if math.isfinite(value)] or [0.0]
    low, high = min(found), max(found)
    if high - low < 1e-9:
        low, high = low - 0.5, high + 0.5
    room = MARGIN * (high - low)
    return Scale(low - room, high + room, start, end)


def _step(least: float) -> float:
    """Return the smallest round step that is no smaller than that."""
    power = 10.0 ** math.floor(math.log10(least))
    return next(power * nice for nice in NICE if power * nice >= least * (1.0 - 1e-9))


def label(value: float, step: float = 1.0) -> str:
    """Return a tick's number with as many decimals as its step needs, and a true minus."""
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    if abs(step * 10**decimals - round(step * 10**decimals)) > 1e-6:
        decimals += 1
    text = f"{value:.{decimals}f}"
    zero = float(text) == 0.0
    return (text.lstrip("-") if zero else text).replace("-", "−")
