"""A flight at its nodes, interpolated between them with its derivatives by the launch."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Trajectory:
    """A flight at its nodes, with a polynomial of fifth degree between them.

    Attributes
    ----------
    times_s : ndarray, shape (N,)
        Nodes, rising, s.
    states : ndarray, shape (N, 6)
        Position (m) and velocity (m/s).
    rates : ndarray, shape (N, 6)
        Velocity and acceleration.
    sensitivities : ndarray, shape (N, 6, 11 or 26), or None
        Derivative of the states by the launch parameters in the order of `LAUNCH`, and by those
        of `EXTRAS` where the flight was given any.
    sensitivity_rates : ndarray, shape (N, 6, 11 or 26), or None
        Derivative of the rates by the same.
    """

    times_s: Array
    states: Array
    rates: Array
    sensitivities: Array | None = None
    sensitivity_rates: Array | None = None

    def at(self, times_s: ArrayLike) -> Array:
        """Return the states, shape (M, 6), at any times (s), shape (M,).

        Position is the quintic through position, velocity and acceleration of the two nodes
        around, and velocity its derivative (Hermite interpolation). A time outside the nodes
        takes the nearest interval's polynomial: good for some steps before the start.
        """
        place, share, step = self._locate(times_s)
        position, velocity, _ = _quintic(self.states, self.rates, place, share, step)
        return np.concatenate([position, velocity], axis=1)

    def at_with_sensitivities(self, times_s: ArrayLike) -> tuple[Array, Array]:
        """Return the states, shape (M, 6), and their derivatives, shape (M, 6, 11), at any times.

        The derivatives are those of what `at` returns. Raises ValueError when the flight was
        computed without sensitivities.
        """
        states, sensitivities, _, _ = self.motion(times_s)
        return states, sensitivities

    def at_with_rates(self, times_s: ArrayLike) -> tuple[Array, Array]:
        """Return states and rates (velocity, acceleration), each shape (M, 6), at any times."""
        place, share, step = self._locate(times_s)
        position, velocity, acceleration = _quintic(self.states, self.rates, place, share, step)
        return (
            np.concatenate([position, velocity], axis=1),
            np.concatenate([velocity, acceleration], axis=1),
        )

    def motion(self, times_s: ArrayLike) -> tuple[Array, Array, Array, Array]:
        """Return states, their derivatives by the launch, and the rates of both, at any times.

        Shapes (M, 6), (M, 6, 11), (M, 6), (M, 6, 11). Raises ValueError when the flight was
        computed without sensitivities.
        """
        if self.sensitivities is None or self.sensitivity_rates is None:
            raise ValueError("this flight was computed without sensitivities")
        place, share, step = self._locate(times_s)
        position, velocity, acceleration = _quintic(self.states, self.rates, place, share, step)
        by_launch = _quintic(self.sensitivities, self.sensitivity_rates, place, share, step)
        return (
            np.concatenate([position, velocity], axis=1),
            np.concatenate(by_launch[:2], axis=1),
            np.concatenate([velocity, acceleration], axis=1),
            np.concatenate(by_launch[1:], axis=1),
        )

    def positions_with_sensitivities(self, times_s: ArrayLike) -> tuple[Array, Array]:
        """Return states, shape (M, 6), and the positions' derivatives by the launch, (M, 3, 11).

        The positions' part of `at_with_sensitivities`, at a fraction of its cost. Raises
        ValueError when the flight was computed without sensitivities.
        """
        if self.sensitivities is None or self.sensitivity_rates is None:
            raise ValueError("this flight was computed without sensitivities")
        place, share, step = self._locate(times_s)
        position, velocity, _ = _quintic(self.states, self.rates, place, share, step)
        # A quintic is linear in what its two nodes give it: one product of matrices serves all.
        given = np.stack(
            [
                self.sensitivities[:, :3],
                self.sensitivity_rates[:, :3],
                self.sensitivity_rates[:, 3:],
            ]
        )
        weights = np.zeros((len(place), 3, len(self.times_s)))
        row = np.arange(len(place))
        for power, (before, after) in enumerate(_quintic_weights(share)):
            weights[row, power, place] = step**power * before
            weights[row, power, place + 1] = step**power * after
        by_launch = weights.reshape(len(place), -1) @ given.reshape(weights[0].size, -1)
        return np.concatenate([position, velocity], axis=1), by_launch.reshape(
            len(place), *given.shape[2:]
        )

    def _locate(self, times_s: ArrayLike) -> tuple[NDArray[np.intp], Array, Array]:
        """Return the interval of each time, the share of it that has passed, and its length."""
        times = np.asarray(times_s, float).reshape(-1)
        place = np.searchsorted(self.times_s, times, side="right") - 1
        place = np.clip(place, 0, len(self.times_s) - 2)
        start = self.times_s[place]
        step = self.times_s[place + 1] - start
        return place, (times - start) / step, step


def _quintic(
    states: Array, rates: Array, place: NDArray[np.intp], share: Array, step: Array
) -> tuple[Array, Array, Array]:
    """Return value, first and second derivative of the Hermite quintic, each shape (M, 3, ...)."""
    shape = (-1,) + (1,) * (states.ndim - 1)
    s, h = share.reshape(shape), step.reshape(shape)
    after = place + 1
    start, speed = states[place, :3], h * rates[place, :3]
    bend = h * h * rates[place, 3:]
    gap = states[after, :3] - start - speed - 0.5 * bend
    gap_speed = h * rates[after, :3] - speed - bend
    gap_bend = h * h * rates[after, 3:] - bend
    third = 10.0 * gap - 4.0 * gap_speed + 0.5 * gap_bend
    fourth = -15.0 * gap + 7.0 * gap_speed - gap_bend
    fifth = 6.0 * gap - 3.0 * gap_speed + 0.5 * gap_bend
    value = start + s * (speed + s * (0.5 * bend + s * (third + s * (fourth + s * fifth))))
    first = speed + s * (bend + s * (3.0 * third + s * (4.0 * fourth + s * 5.0 * fifth)))
    second = bend + s * (6.0 * third + s * (12.0 * fourth + s * 20.0 * fifth))
    return value, first / h, second / (h * h)


def _quintic_weights(share: Array) -> tuple[tuple[Array, Array], ...]:
    """Return what the value of `_quintic` takes of both nodes' value, rate and its rate.

    With steps of length one; each shape (M,).
    """
    s = share
    cubed = s * s * s
    gap = cubed * (10.0 + s * (-15.0 + 6.0 * s))
    speed = cubed * (-4.0 + s * (7.0 - 3.0 * s))
    bend = cubed * (0.5 + s * (-1.0 + 0.5 * s))
    return (
        (1.0 - gap, gap),
        (s - gap - speed, speed),
        (0.5 * s * s - 0.5 * gap - speed - bend, bend),
    )
