"""An evening on one charge: how many shots, and how the exit speed falls with the voltage."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tracker.flight.ball import Ball
from tracker.launcher.arrays import Array
from tracker.launcher.chemistry import CHEMISTRIES, Chemistry
from tracker.launcher.fleet import together
from tracker.launcher.machine import Machine
from tracker.launcher.recovery import Effort
from tracker.launcher.sampling import latin_normal
from tracker.launcher.shot import effort_of, launch
from tracker.launcher.spinning import AirAround
from tracker.statistics.components import Estimate

LEVELS = 8
"""States of charge that are computed; between them shots and speeds are taken as straight."""

HUNDREDTH = 100
"""Shot whose exit speed is reported beside that of the first: a long evening of catches."""

SEED = 16
"""Of the draws of the capacity."""


@dataclass(frozen=True)
class Discharge:
    """Shots on one charge.

    Attributes
    ----------
    shots : Estimate
        Until the usable share of the charge is drawn, at the interval of the setup or as quickly
        as the wheels recover.
    hundredth, last : Estimate
        Exit speed of the hundredth and of the last shot over that of the first; the hundredth is
        that of the last where a charge has fewer.
    last_ready_s : Estimate
        Time to be ready for the next shot at the end of the charge.
    per_shot : float
        Relative change of the exit speed from one shot to the next, over the first hundred.
    """

    shots: Estimate
    hundredth: Estimate
    last: Estimate
    last_ready_s: Estimate
    per_shot: float


def discharges(
    fleets: Sequence[Machine], ball: Ball, air: AirAround, count: int
) -> list[Discharge | None]:
    """Return the evenings of machines on one charge.

    Parameters
    ----------
    fleets : sequence of Machine
        Each of `count` draws.
    ball : Ball
    air : AirAround
    count : int

    Returns
    -------
    list of Discharge or None
        None where the capacity is not given, on mains, where a tachometer gives the speed, and
        where less than half of the draws shoot to the end.
    """
    wanted = [place for place, fleet in enumerate(fleets) if _runs_down(fleet)]
    drawn = np.linspace(0.0, 1.0, LEVELS)
    steps = [_at(fleets[place], float(part)) for place in wanted for part in drawn]
    found: list[Discharge | None] = [None] * len(fleets)
    if not steps:
        return found
    shape = (len(wanted), LEVELS, count)
    figures = {name: np.zeros(shape) for name in ("speed", "ready", "amp_s", "start_amp_s")}
    for indices, fleet in together(steps, count):
        shot = launch(fleet, ball, air)
        work = effort_of(fleet, shot, air)
        assert work is not None
        for name, values in _figures(fleet, shot.exit.speed_mps, work).items():
            flat = figures[name].reshape(-1, count)
            flat[indices] = values.reshape(len(indices), count)
    draws = latin_normal(count, 1, np.random.default_rng(SEED))[:, 0]
    for row, place in enumerate(wanted):
        mine = {name: values[row] for name, values in figures.items()}
        found[place] = _discharge(fleets[place], mine, draws)
    return found


def _runs_down(fleet: Machine) -> bool:
    values = fleet.values
    return (
        "battery.capacity_ah" in values
        and fleet.words["battery.kind"] in CHEMISTRIES
        and fleet.motor is not None
        and "wheel.speed_rpm" not in values
    )


def _at(fleet: Machine, drawn: float) -> Machine:
    """Return a machine after a share of the usable charge was drawn."""
    kind: Chemistry = CHEMISTRIES[fleet.words["battery.kind"]]
    values = fleet.values
    charge = np.asarray(1.0 - values["battery.usable_percent"] / 100.0 * drawn)
    full = values.get("battery.rest_v", values["motor.supply_v"])
    return fleet.having(
        {
            "battery.rest_v": full * kind.voltage_share(charge),
            "battery.resistance_ohm": values["battery.resistance_ohm"]
            * kind.resistance_share(charge),
        }
    )


def _figures(fleet: Machine, speed: Array, work: Effort) -> dict[str, Array]:
    """Return exit speed, time to be ready, and the charge of a shot and of a spin-up."""
    interval = np.maximum(np.asarray(fleet.values["battery.interval_s"]), work.recovery_s)
    volts = np.asarray(fleet.values["battery.rest_v"])
    return {
        "speed": np.asarray(speed),
        "ready": work.recovery_s,
        "amp_s": (work.shot_j + interval * work.running_w) / volts,
        "start_amp_s": work.spin_up_j / volts,
    }


def _discharge(fleet: Machine, figures: dict[str, Array], draws: Array) -> Discharge | None:
    """Return the evening of one machine from its figures at each level, shape (LEVELS, K)."""
    shoots = np.logical_and(figures["speed"] > 0.0, np.isfinite(figures["amp_s"]))
    through = np.asarray(shoots.all(axis=0))
    if 2 * np.count_nonzero(through) < through.size:
        return None
    figures = {name: values[:, through] for name, values in figures.items()}
    speed, amp_s = figures["speed"], figures["amp_s"]
    share = fleet.u.get("battery.capacity_ah", 0.0) / float(
        np.mean(fleet.values["battery.capacity_ah"])
    )
    capacity = (
        3600.0 * np.mean(fleet.values["battery.capacity_ah"]) * (1.0 + share * draws[through])
    )
    usable = float(np.mean(fleet.values["battery.usable_percent"])) / 100.0
    step = capacity * usable / (LEVELS - 1)
    shots = np.zeros_like(speed)
    shots[1:] = np.cumsum(step * 0.5 * (1.0 / amp_s[1:] + 1.0 / amp_s[:-1]), axis=0)
    shots = np.maximum(shots - figures["start_amp_s"][0] / amp_s[0], 0.0)
    ratio = speed / speed[0]
    hundredth = np.array(
        [np.interp(HUNDREDTH, at, ratios) for at, ratios in zip(shots.T, ratio.T, strict=True)]
    )
    early = np.minimum(shots[-1], HUNDREDTH)
    return Discharge(
        _estimate(shots[-1]),
        _estimate(hundredth),
        _estimate(ratio[-1]),
        _estimate(figures["ready"][-1]),
        float(np.mean((hundredth - 1.0) / np.maximum(early, 1.0))),
    )


def _estimate(values: Array) -> Estimate:
    return Estimate(float(values.mean()), float(values.std()))
