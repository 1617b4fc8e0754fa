"""What to expect of a machine, and how surely."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.flight.air import Air
from tracker.flight.ball import Ball
from tracker.flight.energy import kinetic_energy_j
from tracker.launcher.belief import KEPT, latin_normal
from tracker.launcher.carry import Carry, Release, carry_of
from tracker.launcher.fields import MODEL_SHARE, NUMBERS, Number
from tracker.launcher.learning import Learned
from tracker.launcher.machine import Machine
from tracker.launcher.shot import Effort, Launch, effort, launch
from tracker.launcher.spinning import AirAround
from tracker.statistics.components import Estimate

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Outdoors:
    """What a prediction needs besides the machine.

    Attributes
    ----------
    ball : Ball
    air : Air
    release : Release or None
        Without it no carry is predicted.
    interval_s : float
        Time from shot to shot.
    carry_factor : Estimate or None
        Measured over modelled carry, where shots have shown it: it takes the place of what is
        stated of drag, wind and angle.
    """

    ball: Ball
    air: Air
    release: Release | None = None
    interval_s: float = 15.0
    carry_factor: Estimate | None = None

    @property
    def around(self) -> AirAround:
        """The air as the wheels feel it."""
        return AirAround(self.air.density_kgpm3, self.air.viscosity_pas)


@dataclass(frozen=True)
class Prediction:
    """What to expect of one machine.

    Attributes
    ----------
    exit_speed, spin : Estimate
        m/s and rad/s; the first with the model's own uncertainty.
    carry : Estimate or None
        m.
    launch : Launch
        The shot behind it.
    effort : Effort or None
    spin_up : Estimate or None
        s.
    flight : Carry or None
    budget : tuple of (str, float)
        What the exit speed's uncertainty (m/s) comes from, greatest first.
    """

    exit_speed: Estimate
    spin: Estimate
    carry: Estimate | None
    launch: Launch
    effort: Effort | None
    spin_up: Estimate | None
    flight: Carry | None
    budget: tuple[tuple[str, float], ...]

    def ball_energy_j(self, ball: Ball) -> float:
        """Return the energy of the ball's motion at the exit, J."""
        return kinetic_energy_j(ball, self.exit_speed.value)


def predict(machine: Machine, outdoors: Outdoors, learned: Learned | None = None) -> Prediction:
    """Return what to expect of a machine.

    Parameters
    ----------
    machine : Machine
    outdoors : Outdoors
    learned : Learned, optional
        What shots have taught; its covariance takes the place of the stated uncertainties.

    Notes
    -----
    The exit speed by draws (JCGM 101), as the limit of the grip bends it: mean and standard
    deviation. Everything else, and what each number contributes, to first order (GUM equation
    13), by differences over one standard uncertainty to either side.
    """
    best = machine if learned is None else learned.applied(machine)
    shot = launch(best, outdoors.ball, outdoors.around)
    work = effort(best, shot, outdoors.interval_s, outdoors.around)
    centre = _outputs(shot, work)

    parts: list[tuple[str, Array]] = []
    taught = () if learned is None else learned.keys
    for number in NUMBERS:
        u = best.u.get(number.key, 0.0)
        if u > 0.0 and number.key in best.values and number.key not in taught:
            parts.append((number.key, _swing(best, number, u, outdoors)))
    variance = sum((swing**2 for _, swing in parts), np.zeros(3))
    if learned is not None:
        slopes = np.column_stack(
            [_learned_slope(machine, learned, place, outdoors) for place in range(len(taught))]
        )
        variance = variance + np.diag(slopes @ learned.covariance @ slopes.T)
        shared = float(slopes[0] @ learned.covariance @ slopes[0])
        parts.append(("what the shots taught", np.array([math.sqrt(max(shared, 0.0)), 0.0, 0.0])))
    model = MODEL_SHARE * centre[0]
    parts.append(("the model itself", np.array([model, 0.0, 0.0])))
    speed = _speed(machine, outdoors, learned)
    spin = Estimate(float(centre[1]), math.sqrt(float(variance[1])))
    spin_up = None
    if work is not None:
        spin_up = Estimate(work.spin_up_s, math.sqrt(float(variance[2])))

    flight = None
    if outdoors.release is not None:
        flight = carry_of(
            speed.value,
            spin.value,
            outdoors.release,
            outdoors.ball,
            outdoors.air,
            machine.words["wheel.arrangement"],  # type: ignore[arg-type]
        )
    carry = None
    if flight is not None:
        carry = _carry(flight, speed, outdoors.carry_factor)
    budget = sorted(((key, abs(float(swing[0]))) for key, swing in parts), key=lambda p: -p[1])
    return Prediction(speed, spin, carry, shot, work, spin_up, flight, tuple(budget))


def _speed(machine: Machine, outdoors: Outdoors, learned: Learned | None) -> Estimate:
    """Return the exit speed by draws of everything that is uncertain.

    The draws are the same ones whenever the same numbers are uncertain, so that predictions along
    a sweep differ by what is swept and not by chance.
    """
    taught = () if learned is None else learned.keys
    own = [
        number
        for number in NUMBERS
        if number.key not in taught
        and number.key in machine.values
        and machine.u.get(number.key, 0.0) > 0.0
    ]
    rng = np.random.default_rng(len(own))
    moves = latin_normal(KEPT, len(own), rng)
    speeds = np.empty(KEPT)
    for place, move in enumerate(moves):
        best = machine if learned is None else learned.applied(machine, learned.draws[place])
        changes = {
            number.key: _moved(best.values[number.key], machine.u[number.key], number, float(step))
            for number, step in zip(own, move, strict=True)
        }
        if "grip.gap_mm" in changes:
            widest = 990.0 * outdoors.ball.diameter_m
            changes["grip.gap_mm"] = min(changes["grip.gap_mm"], widest)
        speeds[place] = launch(best.having(changes), outdoors.ball, outdoors.around).exit.speed_mps
    middle = float(speeds.mean())
    return Estimate(middle, math.hypot(float(speeds.std()), MODEL_SHARE * middle))


def _moved(value: float, u: float, number: Number, step: float) -> float:
    """Return a number moved by so many standard uncertainties, in proportion when it is loose."""
    share = u / value if value > 0.0 else 0.0
    moved = value * math.exp(share * step) if share > 0.05 else value + u * step
    return min(max(moved, number.low), number.high)


def _carry(flight: Carry, speed: Estimate, factor: Estimate | None) -> Estimate:
    """Return the carry with its uncertainty, corrected where shots have shown by how much."""
    if factor is None:
        return Estimate(flight.carry_m, math.hypot(flight.u_m, flight.by_speed_s * speed.u))
    return Estimate(
        factor.value * flight.carry_m,
        math.hypot(factor.u * flight.carry_m, factor.value * flight.by_speed_s * speed.u),
    )


def _outputs(shot: Launch, work: Effort | None) -> Array:
    return np.array(
        [
            shot.exit.speed_mps,
            shot.exit.spin_radps,
            math.nan if work is None else work.spin_up_s,
        ]
    )


def _run(machine: Machine, outdoors: Outdoors) -> Array:
    shot = launch(machine, outdoors.ball, outdoors.around)
    found = _outputs(shot, effort(machine, shot, outdoors.interval_s, outdoors.around))
    return np.nan_to_num(found)


def _swing(machine: Machine, number: Number, u: float, outdoors: Outdoors) -> Array:
    """Return half the difference that one standard uncertainty to either side makes."""
    value = machine.values[number.key]
    high, low = min(value + u, number.high), max(value - u, number.low)
    if number.key == "grip.gap_mm":
        # Beyond the ball's diameter there is no grip to speak of.
        high = min(high, 0.5 * (value + 1e3 * outdoors.ball.diameter_m))
    if high <= low:
        return np.zeros(3)
    difference = _run(machine.having({number.key: high}), outdoors) - _run(
        machine.having({number.key: low}), outdoors
    )
    return np.asarray(difference / (high - low) * u)


def _learned_slope(machine: Machine, learned: Learned, place: int, outdoors: Outdoors) -> Array:
    """Return the slope of the outputs by one learned factor, over its own uncertainty."""
    step = max(1e-3, math.sqrt(float(learned.covariance[place, place])))
    shift = np.zeros(len(learned.keys))
    shift[place] = step
    above = _run(learned.applied(machine, learned.logs + shift), outdoors)
    below = _run(learned.applied(machine, learned.logs - shift), outdoors)
    return np.asarray((above - below) / (2.0 * step))
