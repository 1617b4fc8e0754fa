"""Machines of a sweep that may be built next, and what further shots cost."""

import math
from collections.abc import Mapping, Sequence

from tracker.comparison.built import Setup
from tracker.comparison.knowledge import Knowledge
from tracker.comparison.planning import Candidate, Plan
from tracker.launcher.fields import UNITS
from tracker.launcher.prediction import Prediction
from tracker.launcher.safety import safety
from tracker.launcher.sweep import Sweep, changed, stated


def candidates(known: Knowledge, base: Setup, sweep: Sweep, quantity: str) -> list[Candidate]:
    """Return the machines along a sweep, with how far they lie beyond anything shot."""
    assert base.machine is not None
    present = known.predictions().get(base.name)
    shot = [
        at
        for setup in known.setups
        if setup.shots.shots
        and setup.machine is not None
        and (at := stated(setup.machine, sweep.key)) is not None
    ]
    found = []
    for value, made in zip(sweep.values, known.along(base, sweep), strict=True):
        wanted = made.carry if quantity == "carry_m" else made.exit_speed
        if wanted is None or not made.starts:
            continue
        machine = changed(base.machine, sweep.key, value)
        said = safety(machine, made, present)
        found.append(
            Candidate(
                f"{sweep.key} = {value:.4g}",
                wanted,
                beyond(sweep.key, value, shot),
                said[:1].upper() + said[1:],
            )
        )
    return found


BETWEEN_STEP_MM = 5.0
"""Steps of the wheel's diameter between those that were shot, mm: what is worth another wheel
(common practice, no source)."""


def between(known: Knowledge) -> Sweep | None:
    """Return wheels between the smallest and the largest that were shot; None where one size was.

    Parameters
    ----------
    known : Knowledge
    """
    key = "wheel.diameter_mm"
    shot = [
        at
        for setup in known.setups
        if setup.shots.shots
        and setup.machine is not None
        and (at := stated(setup.machine, key)) is not None
    ]
    first = math.floor(min(shot, default=0.0) / BETWEEN_STEP_MM) + 1
    last = math.ceil(max(shot, default=0.0) / BETWEEN_STEP_MM)
    sizes = tuple(BETWEEN_STEP_MM * number for number in range(first, last))
    return Sweep(key, sizes) if sizes else None


TESTED = ("wheel.diameter_mm", "motor.supply_v", "motor.duty_percent", "grip.gap_mm")
"""Numbers whose range among the setups that were shot is looked at, the weightiest first."""


def untested(setup: Setup, setups: Sequence[Setup]) -> str:
    """Return in words how far a setup lies beyond those that were shot; empty inside."""
    if setup.machine is None:
        return ""
    for key in TESTED:
        shot = [
            at
            for other in setups
            if other.shots.shots
            and other.machine is not None
            and (at := stated(other.machine, key)) is not None
        ]
        value = stated(setup.machine, key)
        words = "" if value is None or not shot else beyond(key, value, shot)
        if words:
            return f"its {key} lies {words}"
    return ""


def beyond(key: str, value: float, shot: Sequence[float]) -> str:
    """Return in words how far a number lies beyond those that were shot; empty inside."""
    if not shot:
        return "beyond anything shot, for nothing was"
    off = max(value - max(shot), min(shot) - value, 0.0)
    if off <= 1e-9 * abs(value):
        return ""
    unit = next((one for one in UNITS if key.endswith(f"_{one}")), "")
    shown = {"percent": "%", "gm2": "g m²"}.get(unit, unit.replace("_per_", "/"))
    return f"{off:.3g} {shown} beyond anything shot".replace("  ", " ")


def cost_sentences(
    made: Plan, predictions: Mapping[str, Prediction], setups: Sequence[Setup]
) -> list[str]:
    """Return what the planned shots cost in time and charge."""
    said = []
    machines = {setup.name: setup.machine for setup in setups}
    for step in made.steps:
        prediction, machine = predictions.get(step.name), machines.get(step.name)
        if prediction is None or machine is None or prediction.costs is None:
            continue
        costs = prediction.costs
        interval = max(float(machine.values["battery.interval_s"]), costs.recovery_s.value)
        seconds = costs.spin_up_s.value + step.shots * interval
        volts = stated(machine, "battery.rest_v") or 1.0
        each = (costs.shot_j.value + interval * costs.running_w.value) / volts / 3600.0
        charge = costs.spin_up_j.value / volts / 3600.0 + step.shots * each
        said.append(
            f'"{step.name}": {step.shots} shots take {max(seconds / 60.0, 0.1):.1f} min of running '
            f"and {charge:.2g} A h; each further one {interval / 60.0:.2g} min and {each:.2g} A h."
        )
    return said
