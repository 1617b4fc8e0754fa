"""Moments of a flight: the highest point, and coming down through a height."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.ground import LEVEL, Ground
from tracker.flight.trajectory import Trajectory

Array = NDArray[np.float64]

CLIMB = np.array([0.0, 0.0, 0.0, 0.0, 0.0, 1.0])
"""Weights of a state's parts in its speed upward."""


@dataclass(frozen=True)
class Crossing:
    """A moment of a flight that the flight itself decides.

    Attributes
    ----------
    time_s : float
    state : ndarray, shape (6,)
        Position (m) and velocity (m/s).
    time_by_launch : ndarray, shape (11,), or None
        Derivative of the time by the launch parameters in the order of `LAUNCH`.
    state_by_launch : ndarray, shape (6, 11), or None
        Derivative of the state at that moment, which moves with the launch.
    """

    time_s: float
    state: Array
    time_by_launch: Array | None = None
    state_by_launch: Array | None = None


def crossing(trajectory: Trajectory, height_m: float, ground: Ground = LEVEL) -> Crossing | None:
    """Return the first moment at which the ball's centre comes down to a height above the ground.

    Parameters
    ----------
    trajectory : Trajectory
    height_m : float
        Height above the ground, m.
    ground : Ground

    Returns
    -------
    Crossing or None
        None when the ball does not come down through that height within the trajectory.
    """
    upward = _state_weights(ground)
    times, heights = _turns(trajectory, upward)
    before, after = heights[:-1], heights[1:]
    falls = np.flatnonzero((before >= height_m) & (after <= height_m) & (before > after))
    if not len(falls):
        return None
    first = falls[0]
    time_s = _root(trajectory, upward, height_m, (times[first], times[first + 1]))
    return _moment(trajectory, time_s, by=upward)


def apex(trajectory: Trajectory) -> Crossing | None:
    """Return the highest point: where the ball stops rising, or the start if it never rises.

    None when the ball is still rising at the end of the trajectory.
    """
    climb = trajectory.states[:, 5]
    if climb[0] <= 0.0:
        return _moment(trajectory, float(trajectory.times_s[0]), by=None)
    tops = np.flatnonzero((climb[:-1] > 0.0) & (climb[1:] <= 0.0))
    if not len(tops):
        return None
    times = trajectory.times_s[tops[0] : tops[0] + 2]
    return _moment(trajectory, _root(trajectory, CLIMB, 0.0, (times[0], times[1])), by=CLIMB)


def _state_weights(ground: Ground) -> Array:
    """Return what each part of a state contributes to its height above the ground, shape (6,)."""
    return np.concatenate([ground.upward, np.zeros(3)])


def _turns(trajectory: Trajectory, upward: Array) -> tuple[Array, Array]:
    """Return times and heights of the nodes and of the tops between them, in order.

    Heights are those above the ground, and tops the highest places above it.

    Without the tops, a flight that only just rises above a height between two nodes would
    seem never to have been there.
    """
    times, climb = trajectory.times_s, trajectory.states[:, 3:] @ upward[:3]
    climbing = np.concatenate([np.zeros(3), upward[:3]])
    tops = [
        _root(trajectory, climbing, 0.0, (times[node], times[node + 1]))
        for node in np.flatnonzero((climb[:-1] > 0.0) & (climb[1:] < 0.0))
    ]
    heights = trajectory.states @ upward
    if not tops:
        return times, heights
    joined = np.concatenate([times, tops])
    heights = np.concatenate([heights, trajectory.at(tops) @ upward])
    order = np.argsort(joined, kind="stable")
    return joined[order], heights[order]


def _root(
    trajectory: Trajectory, weights: Array, level: float, between: tuple[float, float]
) -> float:
    """Return when a sum of parts of the state falls to a level, between two times that hold it.

    Newton's method, kept inside the bracket by halving it.
    """
    low, high = between
    time_s = 0.5 * (low + high)
    for _ in range(60):
        states, rates = trajectory.at_with_rates(time_s)
        gap, slope = float(states[0] @ weights) - level, float(rates[0] @ weights)
        low, high = (time_s, high) if gap > 0.0 else (low, time_s)
        better = time_s - gap / slope if slope < 0.0 else low - 1.0
        if not low <= better <= high:
            better = 0.5 * (low + high)
        if abs(better - time_s) <= 1e-14 * max(1.0, abs(better)):
            break
        time_s = better
    return float(time_s)


def _moment(trajectory: Trajectory, time_s: float, by: Array | None) -> Crossing:
    """Return the flight at a time that a sum of parts of its state decides, or fixed (None)."""
    if trajectory.sensitivities is None:
        return Crossing(time_s, trajectory.at(time_s)[0])
    state, by_launch, rate, _ = (part[0] for part in trajectory.motion(time_s))
    # The level is reached later when that sum is raised (implicit function).
    later = np.zeros(by_launch.shape[1])
    time_by_launch = later if by is None else -(by @ by_launch) / (by @ rate)
    return Crossing(time_s, state, time_by_launch, by_launch + np.outer(rate, time_by_launch))
