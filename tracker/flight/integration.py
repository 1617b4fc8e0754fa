"""Integration of a flight through wind and gusts.

The equation of motion is that of a sphere with quadratic drag and Magnus lift (R. D. Mehta,
Annu. Rev. Fluid Mech. 17, 151, 1985), ``a = -g z - k D |u| u + k |u| (c x u)``, where ``u`` is
the velocity through the air, ``k = rho A / (2 m)``, ``D`` the drag coefficient and ``c`` a
vector whose parts are lift coefficients. `D` may follow the speed. No force depends on the
position, so velocity is integrated on its own and position follows.
"""

from collections.abc import Callable
from math import ceil, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tracker.flight.aerodynamics import Aerodynamics, DragTable, Lifts
from tracker.flight.forces import DRAG_AT_MPS, Forces
from tracker.flight.gusts import GUST_MODES, gust_modes
from tracker.flight.sensitivities import running_sum, sensitivities
from tracker.flight.trajectory import Trajectory

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
"""Order of the other force parameters: gravity beyond that of the forces (m/s²), change of the drag
coefficient with speed (`tracker.flight.aerodynamics.DragTable`), fade of the lifts with speed
(`tracker.flight.aerodynamics.Lifts`), and gusts, each a cosine (m/s, `gust_modes`)."""

MOST_STEPS = 20_000
"""Largest number of steps of one integration: 400 s at the usual step, far beyond any flight."""


# An iteration may try a launch that no ball could have: what is not finite shows in the states,
# where a fit looks for it, and no warning reaches a person's screen.
@np.errstate(over="ignore", invalid="ignore")
def fly(
    launch: ArrayLike,
    forces: Forces,
    duration_s: float,
    step_s: float = 0.02,
    with_sensitivities: bool = False,
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
    with_sensitivities : bool
        Whether to differentiate by the launch: the variational equations, integrated with the
        same steps, so that they are the exact derivatives of the nodes.
    extras : array_like, shape (15,), optional
        Other force parameters, in the order of `EXTRAS`; with it the sensitivities have
        26 columns, first those of the launch, then those of the extras.

    Returns
    -------
    Trajectory

    Raises
    ------
    ValueError
        When a number is not finite, the duration or step is not above zero, or the steps would
        be more than `MOST_STEPS`.
    """
    parameters = np.asarray(launch, float)
    if parameters.shape != (len(LAUNCH),):
        raise ValueError(f"a launch has {len(LAUNCH)} numbers, not shape {parameters.shape}")
    times, step = _nodes(duration_s, step_s)
    other = np.zeros(len(EXTRAS)) if extras is None else np.asarray(extras, float)
    if not np.all(np.isfinite(parameters)) or not np.all(np.isfinite(other)):
        raise ValueError("a launch must be finite")

    air = _air(parameters, other, forces)
    modes = gust_modes(np.linspace(0.0, duration_s, 2 * len(times) - 1))
    gusts = modes @ other[3:].reshape(2, -1).T
    inside, stages = _velocities(parameters, air, gusts, step)
    through_air = inside.copy()
    through_air[:, :2] -= gusts[::2]
    slopes = air.accelerations(stages)
    last = air.accelerations(through_air[-1:])
    states = _states(parameters, inside, slopes, step)
    rates = np.concatenate([states[:, 3:], np.concatenate([slopes[:, 0], last])], axis=1)
    if not with_sensitivities:
        return Trajectory(times, states, rates)
    modes_used = None if extras is None else modes
    return Trajectory(
        times, states, rates, *sensitivities(times, through_air[-1:], stages, air, modes_used)
    )


def _air(launch: Array, extras: Array, forces: Forces) -> Aerodynamics:
    """Return the forces on a ball with these coefficients."""
    lift_up, lift_side = (forces.reach_per_m * launch[7:9]).tolist()
    return Aerodynamics(
        DragTable.of(forces, launch[6], extras[1]),
        Lifts(lift_up, lift_side, float(extras[2])),
        forces.gravity_mps2 + float(extras[0]),
        forces.reach_per_m,
    )


def _states(launch: Array, inside: Array, slopes: Array, step: float) -> Array:
    """Return position and velocity at the nodes, shape (N+1, 6).

    Parameters
    ----------
    launch : ndarray, shape (11,)
    inside : ndarray, shape (N+1, 3)
        Velocity at the nodes in the mean wind's frame.
    slopes : ndarray, shape (N, 4, 3)
        Acceleration at the stages.
    step : float
    """
    velocity = inside + np.array([launch[9], launch[10], 0.0])
    moved = step * velocity[:-1] + step * step / 6.0 * slopes[:, :3].sum(axis=1)
    states = np.concatenate([launch[:3] + running_sum(moved), velocity], axis=1)
    states[0] = launch[:6]  # to the last bit, which wind taken off and put back may change
    return states


@np.errstate(over="ignore", invalid="ignore")  # as in `fly`
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
    pushed = _pushes(columns, forces)
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


def _pushes(columns: Array, forces: Forces) -> Callable[[Array], Array]:
    """Return the acceleration of many flights by their velocities through the air, (3, K) each."""
    reach = forces.reach_per_m
    drag, lift_up, lift_side = reach * columns[6], reach * columns[7], reach * columns[8]
    curve = DragTable.of(forces, 1.0 / reach if reach else 0.0, 0.0)
    constant = forces.drag_curve is None
    lifted = bool(np.any(lift_up) or np.any(lift_side))

    def pushed(u: Array) -> Array:
        squares = u * u
        speed = squares[0] + squares[1]
        speed += squares[2]
        np.sqrt(speed, out=speed)
        slope: Array = -(drag if constant else drag * curve.at(speed)) * u
        if lifted:
            slope[0] -= lift_up * u[2]
            slope[0] -= lift_side * u[1]
            slope[1] += lift_side * u[0]
            slope[2] += lift_up * u[0]
        slope *= speed
        slope[2] -= forces.gravity_mps2
        return slope

    return pushed


def _nodes(duration_s: float, step_s: float) -> tuple[Array, float]:
    """Return evenly spaced times from zero to the duration, and their true step."""
    if not 0.0 < duration_s < np.inf or not 0.0 < step_s < np.inf:
        raise ValueError("duration and step must be above zero and finite")
    if duration_s > MOST_STEPS * step_s:
        raise ValueError(f"a flight of {duration_s:g} s takes more than {MOST_STEPS} steps")
    count = max(1, ceil(duration_s / step_s - 1e-9))
    return np.linspace(0.0, duration_s, count + 1), duration_s / count


def _velocities(launch: Array, air: Aerodynamics, gusts: Array, step: float) -> tuple[Array, Array]:
    """Return the velocity in the mean wind's frame at the nodes (N+1, 3) and four stages (N, 4, 3).

    At the stages it is that through the air, `gusts` (half a step apart, shape (2N+1, 2)) taken
    off too. Plain floats: arrays of three numbers cost more than they save.
    """
    x, y, z = (launch[3] - launch[9], launch[4] - launch[10], launch[5])
    lifts = air.lifts
    p, q, fade, kept = lifts.up, lifts.side, lifts.fade * DRAG_AT_MPS, 1.0 - lifts.fade
    g, half, sixth = air.gravity_mps2, 0.5 * step, step / 6.0
    table, rise, per, last = air.drags.plain()
    wind_x, wind_y = gusts[:, 0].tolist(), gusts[:, 1].tolist()
    nodes = [(float(x), float(y), float(z))]
    x, y, z = nodes[0]
    stages: list[tuple[float, float, float]] = []

    def push(u: float, v: float, w: float) -> tuple[float, float, float]:
        s = sqrt(u * u + v * v + w * w)
        place = s * per
        # An iteration may stray to speeds that are not finite: they take the last interval.
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
