"""A flight through wind and gusts, and what it owes to each launch parameter.

The equation of motion is that of a sphere with quadratic drag and Magnus lift (R. D. Mehta,
Annu. Rev. Fluid Mech. 17, 151, 1985), ``a = -g z - k D |u| u + k |u| (c x u)``, where ``u`` is
the velocity through the air, ``k = rho A / (2 m)``, ``D`` the drag coefficient and ``c`` a
vector whose parts are lift coefficients. `D` may follow the speed. No force depends on the
position, so velocity is integrated on its own and position follows.
"""

from dataclasses import dataclass
from math import ceil, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tracker.flight.forces import DRAG_AT_MPS, Forces
from tracker.flight.gusts import GUST_MODES, gust_modes
from tracker.flight.variation import DragTable, Lifts, accelerations, running_sum, variations

Array = NDArray[np.float64]

LAUNCH = (
    "along",
    "across",
    "up",
    "speed_along",
    "speed_across",
    "speed_up",
    "drag",
    "lift_up",
    "lift_side",
    "wind_along",
    "wind_across",
)
"""Order of the launch parameters: position (m) and velocity (m/s) at time zero, drag
coefficient, lift coefficients (back-spin of a level shot lifts it up, side-spin to the left),
wind (m/s). Coefficients that follow the speed are those at 20 m/s."""

EXTRAS = (
    "gravity",
    "drag_slope",
    "lift_fade",
    *(f"gust_{axis}_{mode}" for axis in ("along", "across") for mode in range(1, GUST_MODES + 1)),
)
"""Order of what else bends a flight: more gravity than the forces have (m/s²), change of the
drag coefficient with speed (see `DragTable`), the
lifts' fade with speed (see `Lifts`), and gusts, each a cosine (m/s, `gust_modes`)."""


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

    def places(self, times_s: ArrayLike) -> tuple[Array, Array]:
        """Return states, shape (M, 6), and the places' derivatives by the launch, (M, 3, 11).

        The same as the upper half of `at_with_sensitivities`, at a fraction of its cost. Raises
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


def fly(
    launch: ArrayLike,
    forces: Forces,
    duration_s: float,
    step_s: float = 0.02,
    sensitivities: bool = False,
    extras: ArrayLike | None = None,
) -> Trajectory:
    """Compute a flight by the classical Runge-Kutta method of fourth order (Kutta, 1901).

    Parameters
    ----------
    launch : array_like, shape (11,)
        In the order of `LAUNCH`.
    forces : Forces
    duration_s : float
        Length of the flight; the last node lies there exactly.
    step_s : float
        Greatest step.
    sensitivities : bool
        Whether to differentiate by the launch: the variational equations, integrated with the
        same steps, so that they are the exact derivatives of the nodes.
    extras : array_like, shape (15,), optional
        What bends the flight besides, in the order of `EXTRAS`; with it the sensitivities have
        26 columns, first those of the launch, then those of the extras.

    Returns
    -------
    Trajectory

    Raises
    ------
    ValueError
        When a number is not finite, or the duration or step is not above zero.
    """
    parameters = np.asarray(launch, float)
    if parameters.shape != (len(LAUNCH),):
        raise ValueError(f"a launch has {len(LAUNCH)} numbers, not shape {parameters.shape}")
    times, step = _nodes(duration_s, step_s)
    besides = np.zeros(len(EXTRAS)) if extras is None else np.asarray(extras, float)
    if not np.all(np.isfinite(parameters)) or not np.all(np.isfinite(besides)):
        raise ValueError("a launch must be finite")

    drags = DragTable.of(forces, parameters[6], besides[1])
    up, side = (forces.reach_per_m * parameters[7:9]).tolist()
    lifts = Lifts(up, side, float(besides[2]))
    gravity = forces.gravity_mps2 + float(besides[0])
    moments = np.linspace(0.0, duration_s, 2 * len(times) - 1)
    modes = gust_modes(moments)
    gusts = modes @ besides[3:].reshape(2, -1).T
    inside, stages = _velocities(parameters, drags, lifts, gravity, gusts, step)
    slopes = accelerations(stages, drags, lifts, gravity)
    wind = np.array([parameters[9], parameters[10], 0.0])
    velocity = inside + wind
    moved = step * velocity[:-1] + step * step / 6.0 * slopes[:, :3].sum(axis=1)
    position = parameters[:3] + running_sum(moved)
    through_air = inside.copy()
    through_air[:, :2] -= gusts[::2]
    acceleration = np.concatenate(
        [slopes[:, 0], accelerations(through_air[-1:], drags, lifts, gravity)]
    )
    states = np.concatenate([position, velocity], axis=1)
    states[0] = parameters[:6]  # to the last bit, which wind taken off and put back may change
    rates = np.concatenate([velocity, acceleration], axis=1)
    if not sensitivities:
        return Trajectory(times, states, rates)
    by_launch, rates_by_launch = variations(
        times,
        through_air,
        stages,
        drags,
        lifts,
        forces.reach_per_m,
        None if extras is None else modes,
    )
    return Trajectory(times, states, rates, by_launch, rates_by_launch)


def fly_many(
    launches: ArrayLike, forces: Forces, duration_s: float, step_s: float
) -> tuple[Array, Array]:
    """Compute many flights at once, with the method of `fly`.

    Parameters
    ----------
    launches : array_like, shape (K, 11)
        Each in the order of `LAUNCH`.
    forces : Forces
    duration_s, step_s : float
        As in `fly`.

    Returns
    -------
    times_s : ndarray, shape (N,)
    states : ndarray, shape (N, K, 6)
    """
    parameters = np.asarray(launches, float)
    if parameters.ndim != 2 or parameters.shape[1] != len(LAUNCH):
        raise ValueError(f"launches have {len(LAUNCH)} columns, not shape {parameters.shape}")
    times, step = _nodes(duration_s, step_s)
    columns = np.ascontiguousarray(parameters.T)
    wind = np.zeros((3, len(parameters)))
    wind[:2] = columns[9:11]
    velocity = columns[3:6] - wind
    position = columns[0:3].copy()
    states = np.empty((len(times), 6, len(parameters)))
    states[0, :3], states[0, 3:] = position, columns[3:6]
    reach = forces.reach_per_m
    drag, lift_up, lift_side = reach * columns[6], reach * columns[7], reach * columns[8]
    curve = DragTable.of(forces, 1.0 / reach if reach else 0.0, 0.0)
    constant = forces.drag_curve is None

    def pushed(u: Array) -> Array:
        speed = np.sqrt(u[0] * u[0] + u[1] * u[1] + u[2] * u[2])
        slope = np.empty_like(u)
        slows = drag if constant else drag * curve.at(speed)
        slope[0] = speed * (-slows * u[0] - lift_up * u[2] - lift_side * u[1])
        slope[1] = speed * (-slows * u[1] + lift_side * u[0])
        slope[2] = speed * (-slows * u[2] + lift_up * u[0]) - forces.gravity_mps2
        return slope

    for node in range(1, len(times)):
        k1 = pushed(velocity)
        k2 = pushed(velocity + 0.5 * step * k1)
        k3 = pushed(velocity + 0.5 * step * k2)
        k4 = pushed(velocity + step * k3)
        inner = k2 + k3
        position += step * (velocity + wind) + step * step / 6.0 * (k1 + inner)
        velocity += step / 6.0 * (k1 + 2.0 * inner + k4)
        states[node, :3] = position
        np.add(velocity, wind, out=states[node, 3:])
    return times, np.ascontiguousarray(states.transpose(0, 2, 1))


def _nodes(duration_s: float, step_s: float) -> tuple[Array, float]:
    """Return evenly spaced times from zero to the duration, and their true step."""
    if not 0.0 < duration_s < np.inf or not 0.0 < step_s < np.inf:
        raise ValueError("duration and step must be above zero and finite")
    count = max(1, ceil(duration_s / step_s - 1e-9))
    return np.linspace(0.0, duration_s, count + 1), duration_s / count


def _velocities(
    launch: Array, drags: DragTable, lifts: Lifts, gravity: float, gusts: Array, step: float
) -> tuple[Array, Array]:
    """Return the velocity in the mean wind's frame at the nodes (N+1, 3) and four stages (N, 4, 3).

    At the stages it is that through the air, `gusts` (half a step apart, shape (2N+1, 2)) taken
    off too. Plain floats: three numbers are too few for arrays to pay.
    """
    x, y, z = (launch[3] - launch[9], launch[4] - launch[10], launch[5])
    p, q, fade, kept = lifts.up, lifts.side, lifts.fade * DRAG_AT_MPS, 1.0 - lifts.fade
    g, half, sixth = gravity, 0.5 * step, step / 6.0
    table, rise, per, last = drags.plain()
    wind_x, wind_y = gusts[:, 0].tolist(), gusts[:, 1].tolist()
    nodes = [(float(x), float(y), float(z))]
    x, y, z = nodes[0]
    stages: list[tuple[float, float, float]] = []

    def push(u: float, v: float, w: float) -> tuple[float, float, float]:
        s = sqrt(u * u + v * v + w * w)
        place = s * per
        # An iteration may stray to speeds that are not finite; they take the last piece.
        i = int(place) if place < last else last
        d = table[i] + (place - i) * rise[i]
        d *= s
        s = kept * s + fade
        return -d * u - s * (p * w + q * v), s * q * u - d * v, s * p * u - d * w - g

    for now in range(0, len(wind_x) - 1, 2):
        gx, gy, hx, hy = wind_x[now], wind_y[now], wind_x[now + 1], wind_y[now + 1]
        first = (x - gx, y - gy, z)
        ax, ay, az = push(*first)
        second = (x + half * ax - hx, y + half * ay - hy, z + half * az)
        bx, by, bz = push(*second)
        third = (x + half * bx - hx, y + half * by - hy, z + half * bz)
        cx, cy, cz = push(*third)
        gx, gy = wind_x[now + 2], wind_y[now + 2]
        fourth = (x + step * cx - gx, y + step * cy - gy, z + step * cz)
        ex, ey, ez = push(*fourth)
        stages += (first, second, third, fourth)
        x += sixth * (ax + 2.0 * (bx + cx) + ex)
        y += sixth * (ay + 2.0 * (by + cy) + ey)
        z += sixth * (az + 2.0 * (bz + cz) + ez)
        nodes.append((x, y, z))
    return np.array(nodes), np.array(stages).reshape(-1, 4, 3)


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
