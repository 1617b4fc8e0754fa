"""What to expect of machines, and how surely."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tracker.flight.air import Air
from tracker.flight.ball import Ball
from tracker.flight.energy import kinetic_energy_j
from tracker.launcher.arrays import Array
from tracker.launcher.carry import Release, carry_of
from tracker.launcher.discharge import Discharge, discharges
from tracker.launcher.fleet import together
from tracker.launcher.learning import Posterior, learn
from tracker.launcher.machine import Machine
from tracker.launcher.recovery import Effort
from tracker.launcher.sampling import KEPT
from tracker.launcher.shot import Launch, effort_of, launch
from tracker.launcher.spinning import AirAround
from tracker.statistics.components import Estimate

COST_DRAWS = 20
"""Draws for the uncertainty of times and energies: it is known to a sixth of itself."""


@dataclass(frozen=True)
class Outdoors:
    """Ball, air and release of a prediction.

    Attributes
    ----------
    ball : Ball
    air : Air
    release : Release or None
        Without it no carry is predicted.
    carry_factor : Estimate or None
        Measured over modelled carry; it replaces what is stated of drag, wind and angle.
    """

    ball: Ball
    air: Air
    release: Release | None = None
    carry_factor: Estimate | None = None

    @property
    def around(self) -> AirAround:
        """The air in which the wheels turn."""
        return AirAround(self.air.density_kgpm3, self.air.viscosity_pas)


@dataclass(frozen=True)
class Costs:
    """Times and energies of a machine with their standard uncertainties.

    Attributes
    ----------
    spin_up_s, recovery_s, shot_j, running_w : Estimate
    start_a, running_a : Estimate
        Current of the battery when the wheels start, and while they run.
    spin_up_j : Estimate
    """

    spin_up_s: Estimate
    recovery_s: Estimate
    shot_j: Estimate
    running_w: Estimate
    start_a: Estimate
    running_a: Estimate
    spin_up_j: Estimate


@dataclass(frozen=True)
class Prediction:
    """What to expect of one machine.

    Attributes
    ----------
    exit_speed, spin : Estimate
        m/s and rad/s, of the balls that get through.
    speeds : ndarray, shape (K,)
        Equally likely exit speeds, zero where the ball sticks or the wheels do not start. The
        draws of all machines that are predicted together belong together.
    sticks : float
        Chance that the ball does not get through.
    starts : bool
        False when the motor cannot start its wheel.
    carry : Estimate or None
        m.
    launch : Launch
        The shot of the machine as stated.
    costs : Costs or None
        None without a motor or where it cannot start.
    """

    exit_speed: Estimate
    spin: Estimate
    speeds: Array
    sticks: float
    starts: bool
    carry: Estimate | None
    launch: Launch
    costs: Costs | None

    def ball_energy_j(self, ball: Ball) -> float:
        """Return the energy of the ball's motion at the exit, J."""
        return kinetic_energy_j(ball, self.exit_speed.value)


def predict(machine: Machine, outdoors: Outdoors, learned: Posterior | None = None) -> Prediction:
    """Return what to expect of one machine; see `predict_all`."""
    return predict_all([machine], [outdoors], learned)[0]


def predict_all(
    machines: Sequence[Machine],
    outdoors: Sequence[Outdoors],
    learned: Posterior | None = None,
    same_as: Sequence[int | None] = (),
) -> list[Prediction]:
    """Return what to expect of machines, their draws belonging together.

    Parameters
    ----------
    machines : sequence of Machine
    outdoors : sequence of Outdoors
        Of each; ball and air around the wheels are those of the first.
    learned : Posterior, optional
        What shots say of the model.
    same_as : sequence of int or None
        For each machine the lesson of `learned` that was measured with it; none when empty.

    Notes
    -----
    By draws (JCGM 101): the model with its numbers drawn, times the discrepancy.
    """
    ball, air = outdoors[0].ball, outdoors[0].around
    posterior = learn([], ball, air, machines) if learned is None else learned
    speeds, spins = exit_draws(machines, posterior, same_as)
    costs = _all_costs([posterior.fleet(machine) for machine in machines], ball, air)
    return [
        _prediction(machine, out, (speeds[:, i], spins[:, i]), costs[i])
        for i, (machine, out) in enumerate(zip(machines, outdoors, strict=True))
    ]


def exit_draws(
    machines: Sequence[Machine], posterior: Posterior, same_as: Sequence[int | None] = ()
) -> tuple[Array, Array]:
    """Return draws of the exit speeds and spins of machines, each of shape (K, J).

    Zero where the ball sticks or the wheels do not start.
    """
    ball, air = posterior.places.ball, posterior.places.air
    fleets = [posterior.fleet(machine) for machine in machines]
    features = posterior.places.of(machines)
    factors = np.exp(posterior.factors(features, same_as or [None] * len(machines)))
    kept = len(posterior.sizes)
    speeds, spins = np.zeros((2, kept, len(machines)))
    for indices, fleet in together(fleets, kept):
        shots = launch(fleet, ball, air).exit
        shape = (len(indices), kept)
        speeds[:, indices] = shots.speed_mps.reshape(shape).T * factors[:, indices]
        spins[:, indices] = shots.spin_radps.reshape(shape).T * factors[:, indices]
    return speeds, spins


def discharges_of(machines: Sequence[Machine], posterior: Posterior) -> list[Discharge | None]:
    """Return the shots of machines on one charge, None where nothing is known of the battery."""
    few = slice(0, KEPT, KEPT // COST_DRAWS)
    fleets = [_some(posterior.fleet(machine), few) for machine in machines]
    count = len(range(KEPT)[few])
    return discharges(fleets, posterior.places.ball, posterior.places.air, count)


def _all_costs(fleets: Sequence[Machine], ball: Ball, air: AirAround) -> list[Costs | None]:
    """Return times and energies of machines, None without a motor."""
    costs: list[Costs | None] = [None] * len(fleets)
    few = slice(0, KEPT, KEPT // COST_DRAWS)
    count = len(range(KEPT)[few])
    for indices, fleet in together([_some(fleet, few) for fleet in fleets], count):
        work = effort_of(fleet, launch(fleet, ball, air), air)
        for row, index in enumerate(indices):
            costs[index] = _costs(work, slice(row * count, (row + 1) * count))
    return costs


def _some(fleet: Machine, few: slice) -> Machine:
    """Return some of the draws of a machine."""
    values = {k: np.asarray(v)[few] if np.ndim(v) else v for k, v in fleet.values.items()}
    return Machine(values, fleet.words, fleet.u)


def _costs(work: Effort | None, mine: slice) -> Costs | None:
    if work is None or not np.isfinite(work.spin_up_s[mine]).all():
        return None

    def estimate(values: Array) -> Estimate:
        return Estimate(float(values[mine].mean()), float(values[mine].std()))

    return Costs(
        estimate(work.spin_up_s),
        estimate(work.recovery_s),
        estimate(work.shot_j),
        estimate(work.running_w),
        estimate(work.start_a),
        estimate(work.running_a),
        estimate(work.spin_up_j),
    )


def _prediction(
    machine: Machine, outdoors: Outdoors, draws: tuple[Array, Array], costs: Costs | None
) -> Prediction:
    speeds, spins = draws
    shot = launch(machine, outdoors.ball, outdoors.around)
    starts = bool(np.all(shot.running.starts))
    out = speeds > 0.0
    speed = _mean(speeds[out])
    spin = _mean(spins[out])
    return Prediction(
        speed,
        spin,
        speeds,
        float(1.0 - out.mean()),
        starts,
        carry_from(speed, outdoors, spin.value, machine.words["wheel.arrangement"]),
        shot,
        costs if starts else None,
    )


def _mean(values: Array) -> Estimate:
    """Return mean and standard deviation of draws; zero where there is none."""
    return (
        Estimate(float(values.mean()), float(values.std())) if values.size else Estimate(0.0, 0.0)
    )


def carry_from(
    speed: Estimate, outdoors: Outdoors, spin_radps: float = 0.0, arrangement: str = "over"
) -> Estimate | None:
    """Return the carry of a shot, None without a release or where the ball does not get out.

    Corrected where measured carries have shown by how much.
    """
    if outdoors.release is None:
        return None
    flight = carry_of(
        speed.value, spin_radps, outdoors.release, outdoors.ball, outdoors.air, arrangement
    )
    if flight is None:
        return None
    factor = outdoors.carry_factor
    if factor is None:
        return Estimate(flight.carry_m, math.hypot(flight.u_m, flight.by_speed_s * speed.u))
    return Estimate(
        factor.value * flight.carry_m,
        math.hypot(factor.u * flight.carry_m, factor.value * flight.by_speed_s * speed.u),
    )
