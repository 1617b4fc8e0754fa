"""A flight with constant drag and lift coefficients, and what it owes to each launch parameter.

The equation of motion is that of a sphere with quadratic drag and Magnus lift (R. D. Mehta,
Annu. Rev. Fluid Mech. 17, 151, 1985), ``a = -g z - k D |u| u + k |u| (c x u)``, where ``u`` is
the velocity through the air, ``k = rho A / (2 m)``, ``D`` the drag coefficient and ``c`` a
vector whose parts are lift coefficients. No force depends on the position, so velocity is
integrated on its own and position follows.
"""

from dataclasses import dataclass
from math import ceil, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tracker.flight.forces import Forces

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
wind (m/s)."""


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
    sensitivities : ndarray, shape (N, 6, 11), or None
        Derivative of the states by the launch parameters in the order of `LAUNCH`.
    sensitivity_rates : ndarray, shape (N, 6, 11), or None
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
    if not np.all(np.isfinite(parameters)):
        raise ValueError("a launch must be finite")

    through_air, stages = _velocities(parameters, forces, step, len(times) - 1)
    slopes = _accelerations(stages, parameters, forces)
    wind = np.array([parameters[9], parameters[10], 0.0])
    velocity = through_air + wind
    moved = step * velocity[:-1] + step * step / 6.0 * slopes[:, :3].sum(axis=1)
    position = parameters[:3] + _running_sum(moved)
    acceleration = np.concatenate(
        [slopes[:, 0], _accelerations(through_air[-1:], parameters, forces)]
    )
    states = np.concatenate([position, velocity], axis=1)
    states[0] = parameters[:6]  # to the last bit, which wind taken off and put back may change
    rates = np.concatenate([velocity, acceleration], axis=1)
    if not sensitivities:
        return Trajectory(times, states, rates)
    by_launch, rates_by_launch = _variations(times, through_air, stages, parameters, forces)
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

    def pushed(u: Array) -> Array:
        speed = np.sqrt(u[0] * u[0] + u[1] * u[1] + u[2] * u[2])
        slope = np.empty_like(u)
        slope[0] = speed * (-drag * u[0] - lift_up * u[2] - lift_side * u[1])
        slope[1] = speed * (-drag * u[1] + lift_side * u[0])
        slope[2] = speed * (-drag * u[2] + lift_up * u[0]) - forces.gravity_mps2
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


def _velocities(parameters: Array, forces: Forces, step: float, count: int) -> tuple[Array, Array]:
    """Return the velocity through the air at the nodes (N+1, 3) and at the four stages (N, 4, 3).

    Plain floats: three numbers are too few for arrays to pay.
    """
    _, _, _, x, y, z, drag, up, side, wind_x, wind_y = parameters.tolist()
    d, p, q = (forces.reach_per_m * value for value in (drag, up, side))
    g = forces.gravity_mps2
    x -= wind_x
    y -= wind_y
    half, sixth = 0.5 * step, step / 6.0
    nodes = [(x, y, z)]
    stages: list[tuple[float, float, float]] = []
    for _ in range(count):
        s = sqrt(x * x + y * y + z * z)
        ax, ay, az = s * (-d * x - p * z - q * y), s * (q * x - d * y), s * (p * x - d * z) - g
        bx, by, bz = x + half * ax, y + half * ay, z + half * az
        s = sqrt(bx * bx + by * by + bz * bz)
        fx, fy, fz = (
            s * (-d * bx - p * bz - q * by),
            s * (q * bx - d * by),
            s * (p * bx - d * bz) - g,
        )
        cx, cy, cz = x + half * fx, y + half * fy, z + half * fz
        s = sqrt(cx * cx + cy * cy + cz * cz)
        hx, hy, hz = (
            s * (-d * cx - p * cz - q * cy),
            s * (q * cx - d * cy),
            s * (p * cx - d * cz) - g,
        )
        ex, ey, ez = x + step * hx, y + step * hy, z + step * hz
        s = sqrt(ex * ex + ey * ey + ez * ez)
        stages += ((x, y, z), (bx, by, bz), (cx, cy, cz), (ex, ey, ez))
        x += sixth * (ax + 2.0 * (fx + hx) + s * (-d * ex - p * ez - q * ey))
        y += sixth * (ay + 2.0 * (fy + hy) + s * (q * ex - d * ey))
        z += sixth * (az + 2.0 * (fz + hz) + s * (p * ex - d * ez) - g)
        nodes.append((x, y, z))
    return np.array(nodes), np.array(stages).reshape(count, 4, 3)


def _accelerations(through_air: Array, parameters: Array, forces: Forces) -> Array:
    """Return the acceleration, shape (..., 3), at velocities through the air, shape (..., 3)."""
    by_drag, by_up, by_side = _pushes(through_air, forces)
    drag, up, side = parameters[6:9]
    slope = drag * by_drag + up * by_up + side * by_side
    slope[..., 2] -= forces.gravity_mps2
    return slope


def _pushes(through_air: Array, forces: Forces) -> tuple[Array, Array, Array]:
    """Return the acceleration, shape (..., 3), that a coefficient of one would give.

    Drag; lift with the spin axis to the right (0, -1, 0); lift with the spin axis up.
    """
    strength = forces.reach_per_m * np.sqrt(np.sum(through_air**2, axis=-1, keepdims=True))
    scaled = strength * through_air
    up, side = np.zeros_like(scaled), np.zeros_like(scaled)
    up[..., 0], up[..., 2] = -scaled[..., 2], scaled[..., 0]
    side[..., 0], side[..., 1] = -scaled[..., 1], scaled[..., 0]
    return -scaled, up, side


def _slopes(through_air: Array, parameters: Array, forces: Forces) -> Array:
    """Return the derivative of the acceleration by the velocity, shape (..., 3, 3)."""
    drag, up, side = forces.reach_per_m * parameters[6:9]
    # The acceleration is |u| M u with M constant, so its slope is |u| M + (M u) u^T / |u|.
    matrix = np.array([[-drag, -side, -up], [side, -drag, 0.0], [up, 0.0, -drag]])
    speed = np.sqrt(np.sum(through_air**2, axis=-1))[..., None, None]
    along = through_air @ matrix.T
    outer = along[..., :, None] * through_air[..., None, :]
    return speed * matrix + outer / np.where(speed > 0.0, speed, 1.0)


def _variations(
    times: Array, nodes: Array, stages: Array, parameters: Array, forces: Forces
) -> tuple[Array, Array]:
    """Differentiate the nodes' states and rates by the launch, each shape (N, 6, 11).

    The variational equations are linear, so every step is one affine map of the derivative of
    the velocity: all maps are made at once and then chained. Six columns are enough (velocity,
    drag, two lifts): the start moves everything alike, and a wind does what the opposite change
    of the velocity does, seen from the moving air.
    """
    count, step = len(times), times[1] - times[0]
    half = 0.5 * step
    slope = _slopes(stages, parameters, forces)
    source = np.zeros((count - 1, 4, 3, 6))
    source[..., 3:] = np.stack(_pushes(stages, forces), axis=-1)

    # Each stage's derivative is linear @ V + constant, V being the one at the step's start.
    linear, constant = slope[:, 0], source[:, 0]
    sum_linear, sum_constant = linear.copy(), constant.copy()
    map_linear, map_constant = linear.copy(), constant.copy()
    for stage, reach, weight in ((1, half, 2.0), (2, half, 2.0), (3, step, 1.0)):
        here = slope[:, stage]
        linear, constant = (
            here + reach * here @ linear,
            source[:, stage] + reach * here @ constant,
        )
        map_linear += weight * linear
        map_constant += weight * constant
        if stage < 3:
            sum_linear += linear
            sum_constant += constant
    map_linear = np.eye(3) + step / 6.0 * map_linear
    map_constant *= step / 6.0

    velocity = np.empty((count, 3, 6))
    velocity[0] = np.eye(3, 6)
    for node in range(count - 1):
        np.matmul(map_linear[node], velocity[node], out=velocity[node + 1])
        velocity[node + 1] += map_constant[node]
    moved = step * velocity[:-1]
    moved += step * step / 6.0 * (sum_linear @ velocity[:-1] + sum_constant)
    position = _running_sum(moved)
    last_source = np.zeros((1, 3, 6))
    last_source[..., 3:] = np.stack(_pushes(nodes[-1:], forces), axis=-1)
    acceleration = _slopes(nodes, parameters, forces) @ velocity
    acceleration += np.concatenate([source[:, 0], last_source])

    by_launch, rates = np.zeros((count, 6, 11)), np.zeros((count, 6, 11))
    by_launch[:, 0:3, 0:3] = np.eye(3)
    by_launch[:, 0:3, 3:9], by_launch[:, 3:6, 3:9] = position, velocity
    rates[:, 0:3, 3:9], rates[:, 3:6, 3:9] = velocity, acceleration
    by_launch[:, :, 9:11] = -by_launch[:, :, 3:5]
    rates[:, :, 9:11] = -rates[:, :, 3:5]
    for axis in (0, 1):
        by_launch[:, axis, 9 + axis] += times
        by_launch[:, 3 + axis, 9 + axis] += 1.0
        rates[:, axis, 9 + axis] += 1.0
    return by_launch, rates


def _running_sum(steps: Array) -> Array:
    """Return the sums of the first 0, 1, 2 ... of `steps` along the first axis."""
    sums = np.zeros((len(steps) + 1, *steps.shape[1:]))
    np.cumsum(steps, axis=0, out=sums[1:])
    return sums


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
