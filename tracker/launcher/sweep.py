"""One number of a setup varied over a range."""

import math
from dataclasses import dataclass, replace

from calibration.errors import NEAR_FILE, InputError, nearest
from tracker.launcher.fields import NUMBERS, Number, number_at
from tracker.launcher.machine import Machine
from tracker.launcher.plausible import gap_fault

STEPS = 15
"""Values along a sweep where no count is given; enough for a smooth line in a picture."""

MOST_STEPS = 200
"""Greatest count; a picture has no room for more."""

DIAMETER_POWERS = {"wheel.mass_g": 2, "wheel.inner_diameter_mm": 1, "wheel.inertia_gm2": 4}
"""Powers of the diameter with which a wheel drawn larger at the same width changes."""


@dataclass(frozen=True)
class Sweep:
    """Values of one number of a setup.

    Attributes
    ----------
    key : str
        ``"wheel.diameter_mm"``.
    values : tuple of float
        Ascending.
    """

    key: str
    values: tuple[float, ...]


def parse_sweep(text: str) -> Sweep:
    """Read ``"wheel.diameter_mm=80:220"`` or ``"wheel.diameter_mm=80:220:8"``.

    Raises
    ------
    InputError
        With what to write instead.
    """
    where = f"--sweep {text}"
    key, equals, span = text.partition("=")
    number = number_at(key.strip())
    if number is None:
        known = [field.key for field in NUMBERS]
        near = nearest(key.strip(), known, NEAR_FILE)
        raise InputError(
            f"{key.strip()!r} is no number of a setup",
            where=where,
            remedy=f"did you mean {near}?" if near else f"use one of {', '.join(known)}",
        )
    try:
        parts = [float(part) for part in span.split(":")] if equals else []
    except ValueError:
        parts = []
    if len(parts) not in (2, 3) or not all(math.isfinite(part) for part in parts):
        raise InputError(
            "is no range", where=where, remedy=f"write it as {number.key}=from:to or from:to:count"
        )
    low, high = sorted(parts[:2])
    count = int(parts[2]) if len(parts) == 3 else STEPS
    _check_span(number, (low, high), count, where)
    step = (high - low) / (count - 1)
    return Sweep(number.key, (*(low + step * place for place in range(count - 1)), high))


def check_gaps(sweep: Sweep, ball_mm: float) -> None:
    """Raise InputError where a swept gap is too wide or too narrow for a ball."""
    if sweep.key != "grip.gap_mm":
        return
    for value in sweep.values:
        fault = gap_fault(value, ball_mm)
        if fault:
            raise InputError(fault[0], where=f"--sweep {sweep.key}", remedy=fault[1])


def stated(machine: Machine, key: str) -> float | None:
    """Return what a machine has of a number that is swept, None where nothing is known."""
    rest = machine.number("battery.rest_v")
    if key in ("battery.rest_v", "motor.supply_v") and rest is None:
        return machine.number("motor.supply_v")
    return rest if key == "motor.supply_v" else machine.number(key)


def changed(machine: Machine, key: str, value: float) -> Machine:
    """Return the machine with one number changed, and what changes with it.

    Another voltage is that of the battery; what the label says of the motor stays. A wheel of
    another diameter is taken as the same wheel drawn larger at the same width: mass
    goes with the square of the diameter, inertia with its fourth power. Mass added to the rim
    stays. Standard uncertainties keep their share of the value.
    """
    if key == "motor.supply_v":
        key = "battery.rest_v"
    changes: dict[str, float] = {key: value}
    if key == "wheel.diameter_mm":
        scale = value / float(machine.values[key])
        for other, power in DIAMETER_POWERS.items():
            if other in machine.values:
                changes[other] = float(machine.values[other]) * scale**power
    u = dict(machine.u)
    for other, number in changes.items():
        old = machine.number(other) or 0.0
        if old:
            u[other] = u.get(other, 0.0) * number / old
        else:
            field = number_at(other)
            u[other] = 0.0 if field is None else field.u_share * number
    return replace(machine.having(changes), u=u)


def _check_span(number: Number, span: tuple[float, float], count: int, where: str) -> None:
    low, high = span
    if low < number.low or high > number.high:
        raise InputError(
            f"{low:g} to {high:g} is out of range",
            where=where,
            remedy=f"stay within {number.low:g} to {number.high:g}",
        )
    if low == high or not 2 <= count <= MOST_STEPS:
        raise InputError(
            f"has no way to go from {low:g} to {high:g} in {count} steps",
            where=where,
            remedy=f"give two different ends and 2 to {MOST_STEPS} steps",
        )
