"""Which settings of a machine give a wanted carry."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from tracker.comparison.built import Setup
from tracker.comparison.knowledge import Knowledge
from tracker.comparison.many import mean_carries, mean_speeds
from tracker.launcher.fields import number_at
from tracker.launcher.sweep import changed, stated

SETTINGS = ("motor.duty_percent", "battery.rest_v", "grip.gap_mm", "wheel.diameter_mm")
"""Numbers of a setup that a person turns or changes, the easiest first."""

SPANS = {
    "motor.duty_percent": (0.3, 1.0),
    "battery.rest_v": (0.5, 1.25),
    "grip.gap_mm": (0.85, 1.15),
    "wheel.diameter_mm": (0.6, 1.5),
}
"""How far each is varied, as a share of what the setup states; the duty of the whole."""

GRAINS = {
    "motor.duty_percent": 1.0,
    "battery.rest_v": 0.1,
    "grip.gap_mm": 0.5,
    "wheel.diameter_mm": 1.0,
}
"""What a person can set each to, in its unit (common practice, no source)."""

LARGEST_GAP = 0.97
"""Widest gap over the ball's diameter that is tried: a wider one hardly touches it."""

STEPS = 13
"""Values of each setting that are predicted; between them the carry is taken as straight."""


@dataclass(frozen=True)
class Setting:
    """One number of a setup that gives the wanted carry.

    Attributes
    ----------
    key : str
    value : float
    present : float
        As the setup states it.
    u_m : float
        Standard uncertainty of the mean carry there.
    scatter_m : float
        Standard deviation of single shots about it.
    """

    key: str
    value: float
    present: float
    u_m: float
    scatter_m: float

    def sentence(self, wanted_m: float) -> str:
        """Return it in words."""
        return (
            f"{self.key} = {self.value:.4g} (now {self.present:.4g}){self._meant()} carries "
            f"{wanted_m:g} m on average, ± {self.u_m:.1f} m; two of three shots within "
            f"{self.scatter_m:.1f} m of that average."
        )

    def _meant(self) -> str:
        """Return what a person does to set it, where its name does not show that."""
        if self.key == "motor.duty_percent":
            share = f"{self.value:.0f} % of the battery's voltage"
            return f", {share}, a setting of the speed control,"
        if self.key == "battery.rest_v":
            share = f"{100.0 * self.value / self.present:.0f} % of the present one's voltage"
            return f", another battery with {share},"
        return ""


def settings_for(known: Knowledge, base: Setup, wanted_m: float) -> list[Setting]:
    """Return the settings that give a carry, each by itself, the rest as in the setup.

    The nearest to the present value where several do; none where no value within `SPANS` does. A
    share of the battery's voltage is a matter of the speed control: another battery is named only
    where that does not reach the carry.
    """
    machine = base.machine
    if machine is None or base.outdoors.release is None:
        return []
    sample = base.sample("carry_m")
    scatter = 0.03 if sample is None or not sample.scatters else sample.sd / sample.mean
    found: list[Setting] = []
    for key in SETTINGS:
        span = span_of(base, key)
        by_duty = any(one.key == "motor.duty_percent" for one in found)
        if span is None or (key == "battery.rest_v" and by_duty):
            continue
        low, present, high = span
        values = tuple(float(value) for value in np.linspace(low, high, STEPS))
        machines = [changed(machine, key, value) for value in values]
        carries, errors = mean_carries(known, base, *mean_speeds(known, machines))
        value = crossing(values, carries, wanted_m, present)
        if value is not None:
            u = float(np.interp(value, values, errors))
            found.append(Setting(key, value, present, u, scatter * wanted_m))
    return found


def span_of(base: Setup, key: str) -> tuple[float, float, float] | None:
    """Return the least, the present and the greatest value that a setting is given, in its grain.

    None where the setup has no such number.
    """
    number = number_at(key)
    present = None if base.machine is None else stated(base.machine, key)
    if present is None or number is None:
        return None
    whole = 100.0 if key == "motor.duty_percent" else present
    low, high = (share * whole for share in SPANS[key])
    if key == "grip.gap_mm":
        high = min(high, LARGEST_GAP * 1e3 * base.outdoors.ball.diameter_m)
    grain = GRAINS[key]
    low, high = max(low, number.low), min(high, number.high)
    return (
        min(math.ceil(round(low / grain, 6)) * grain, present),
        present,
        max(math.floor(round(high / grain, 6)) * grain, present),
    )


def crossing(
    places: Sequence[float], values: ArrayLike, wanted: float, near: float
) -> float | None:
    """Return where a line through points crosses a value, nearest to a place; None if nowhere."""
    found = []
    for (x0, y0), (x1, y1) in pairwise(zip(places, np.asarray(values, float), strict=True)):
        known = bool(np.isfinite(y0) and np.isfinite(y1)) and y0 != y1
        if known and (y0 - wanted) * (y1 - wanted) <= 0.0:
            found.append(float(x0 + (wanted - y0) / (y1 - y0) * (x1 - x0)))
    return min(found, key=lambda x: abs(x - near)) if found else None


def target_sentences(base: Setup, wanted_m: float, found: Sequence[Setting]) -> list[str]:
    """Return the settings in words."""
    if base.outdoors.release is None:
        return [
            f'"{base.name}" has no launch angle: give [release] angle_deg, or measure a shot of it.'
        ]
    if not found:
        return [f'No setting of "{base.name}" alone carries {wanted_m:g} m.']
    return [f'"{base.name}" with one number changed:', *(s.sentence(wanted_m) for s in found)]
