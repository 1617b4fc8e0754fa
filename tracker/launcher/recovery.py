"""Time and energy of the wheels' way up to their steady speed."""

from dataclasses import dataclass

import numpy as np

from tracker.launcher.arrays import Array, Value
from tracker.launcher.spinning import RECOVERED, SPUN_UP, Running, Spinning

STEP = 0.25
"""Step in time over the time constant of the wheels near their steady speed; with it the fourth
order is exact to five digits."""

STEPS = 44
"""Steps: eleven time constants leave a hundred-thousandth of the gap."""


@dataclass(frozen=True)
class Climb:
    """The way of the wheels up to their steady speed.

    Attributes
    ----------
    seconds : ndarray
        Until the slowest wheel reaches the wanted share of its steady speed.
    energy_j : ndarray
        From the battery's cells beyond what running costs, until nothing is missing any more.
    current_a : ndarray
        Greatest current of the battery on the way.
    """

    seconds: Array
    energy_j: Array
    current_a: Array


def climb(
    spinning: Spinning, start: tuple[Value, ...], steady: tuple[Array, ...], share: float
) -> Climb:
    """Return the way of the wheels from speeds to their steady ones.

    Parameters
    ----------
    spinning : Spinning
    start, steady : tuple of Value
        Speeds of the driven wheels, rad/s.
    share : float
        Of the steady speed, at which the time is taken.

    Notes
    -----
    ``I dw/dt = T(w)`` for all wheels together, which meet in the battery, by the classical
    fourth-order Runge-Kutta method; energy alike. Wheels of unequal duty close their gaps each in
    its own time.
    """
    wheels = np.broadcast_arrays(*(np.asarray(w, float) for w in (*start, *steady)))
    speeds, final = np.stack(wheels[: len(start)]), np.stack(wheels[len(start) :])
    inertia = np.asarray(spinning.wheel.inertia_kgm2)
    idle = np.asarray(spinning.flow(tuple(final)).power_w(spinning.battery))

    def rates(at: Array) -> tuple[Array, Array]:
        flow = spinning.flow(tuple(at))
        torques = [spinning.net_nm(c, w) for c, w in zip(flow.currents_a, at, strict=True)]
        excess = np.asarray(flow.power_w(spinning.battery)) - idle
        return np.stack([np.asarray(torque) / inertia for torque in torques]), excess

    duration = STEP / _decay(spinning, steady)
    energy = np.zeros(speeds.shape[1:])
    seconds = np.zeros(speeds.shape[1:])
    gap = _gap(speeds, final)
    for _ in range(STEPS):
        k1, p1 = rates(speeds)
        k2, p2 = rates(speeds + 0.5 * duration * k1)
        k3, p3 = rates(speeds + 0.5 * duration * k2)
        k4, p4 = rates(speeds + duration * k3)
        speeds = speeds + duration / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4)
        energy = energy + duration / 6.0 * (p1 + 2.0 * p2 + 2.0 * p3 + p4)
        after = _gap(speeds, final)
        # Within a step the gap falls exponentially: the part of it until the share is reached.
        part = np.log(gap / (1.0 - share)) / np.log(np.maximum(gap / after, 1.0 + 1e-12))
        seconds = seconds + duration * np.clip(np.where(gap > 1.0 - share, part, 0.0), 0.0, 1.0)
        gap = after
    begin = tuple(np.broadcast_to(np.asarray(w, float), final.shape[1:]) for w in start)
    current = np.maximum(spinning.flow(begin).battery_a, spinning.flow(tuple(final)).battery_a)
    return Climb(seconds, energy, np.asarray(current))


def _gap(speeds: Array, final: Array) -> Array:
    """Return the greatest share of its steady speed that a wheel lacks; never quite zero."""
    return np.asarray(np.maximum((1.0 - speeds / np.maximum(final, 1e-9)).max(axis=0), 1e-15))


def _decay(spinning: Spinning, steady: tuple[Array, ...]) -> Array:
    """Return the rate at which the quickest gap closes near the steady speed, 1/s."""
    moved = tuple(0.999 * speed for speed in steady)
    rates = []
    for side, speed in enumerate(steady):
        one = tuple(moved[i] if i == side else w for i, w in enumerate(steady))
        current = spinning.flow(one).currents_a[side]
        torque = np.asarray(spinning.net_nm(current, one[side]))
        rates.append(torque / (1e-3 * np.maximum(speed, 1e-9) * spinning.wheel.inertia_kgm2))
    return np.asarray(np.maximum.reduce(rates))


@dataclass(frozen=True)
class Effort:
    """What running and shooting ask of motors and battery.

    Attributes
    ----------
    spin_up_s : ndarray
        From rest to 95 % of the steady speed.
    recovery_s : ndarray
        After a shot, to 99 %.
    shot_j : ndarray
        Energy from the battery for a shot, beyond running.
    running_w : ndarray
        Power from the battery while the wheels run.
    start_a : ndarray
        Current of the battery when the wheels start from rest.
    running_a : ndarray
        Current of the battery while they run.
    spin_up_j : ndarray
        Energy from the battery until the wheels run.
    """

    spin_up_s: Array
    recovery_s: Array
    shot_j: Array
    running_w: Array
    start_a: Array
    running_a: Array
    spin_up_j: Array


def effort(spinning: Spinning, running: Running, after_radps: tuple[Array, ...]) -> Effort:
    """Return what a shot asks of motors and battery.

    Parameters
    ----------
    spinning : Spinning
    running : Running
        Before the shot.
    after_radps : tuple of ndarray
        Speeds of the wheels after it.
    """
    steady = spinning.steady()
    # A tachometer may show more than the motor's own steady speed: recover to the lower.
    slowed = tuple(
        own * np.minimum(1.0, after / np.maximum(before, 1e-9))
        for own, after, before in zip(steady, after_radps, running.speeds_radps, strict=False)
    )
    rest = tuple(0.0 * speed for speed in steady)
    up = climb(spinning, rest, steady, SPUN_UP)
    back = climb(spinning, slowed, steady, RECOVERED)
    flow = spinning.flow(steady)
    return Effort(
        up.seconds,
        back.seconds,
        back.energy_j,
        np.asarray(flow.power_w(spinning.battery)),
        up.current_a,
        np.asarray(flow.battery_a),
        up.energy_j,
    )
