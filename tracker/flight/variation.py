"""What pushes a ball at a speed, and how a flight differs when its launch does."""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from tracker.flight.forces import DRAG_AT_MPS, Forces

Array = NDArray[np.float64]

TABLE_STEP_MPS = 0.5
TABLE_TOP_MPS = 60.0


@dataclass(frozen=True)
class DragTable:
    """Drag over speed as straight pieces between evenly spaced speeds.

    The coefficient at a speed v is ``D (f(v) + s (v / v0 - 1))``: D the drag coefficient at
    v0 = 20 m/s, f the ball's published curve over its value there (1 without one), s the slope.

    Attributes
    ----------
    per_m : ndarray, shape (K,)
        Share of speed lost per metre, 1/m, at 0, 0.5, 1 ... m/s; the last piece runs on.
    by_drag, by_slope : ndarray, shape (K,)
        Derivative of `per_m` by D and s.
    """

    per_m: Array
    by_drag: Array
    by_slope: Array

    @classmethod
    def of(cls, forces: Forces, drag: float, slope: float) -> Self:
        """Return the table of a ball with this drag coefficient and slope."""
        speeds = np.arange(0.0, TABLE_TOP_MPS + TABLE_STEP_MPS, TABLE_STEP_MPS)
        curve = forces.drag_curve
        shape = np.ones(len(speeds)) if curve is None else np.interp(speeds, *curve)
        beyond = speeds / DRAG_AT_MPS - 1.0
        reach = forces.reach_per_m
        by_drag = reach * (shape + slope * beyond)
        return cls(drag * by_drag, by_drag, reach * drag * beyond)

    def plain(self) -> tuple[list[float], list[float], float, int]:
        """Return the table, its rises, pieces per m/s and the last piece, as plain numbers."""
        table = self.per_m.tolist()
        return table, np.diff(self.per_m).tolist(), 1.0 / TABLE_STEP_MPS, len(table) - 2

    def at(self, speeds: Array) -> Array:
        """Return the share of speed lost per metre at speeds of any shape."""
        place, share = _place(speeds, len(self.per_m))
        return self.per_m[place] + share * np.diff(self.per_m)[place]

    def slopes_at(self, speeds: Array) -> tuple[Array, Array, Array]:
        """Return its derivatives by speed, D and s at speeds of any shape."""
        place, share = _place(speeds, len(self.per_m))
        by_speed = np.diff(self.per_m)[place] / TABLE_STEP_MPS
        by_drag = self.by_drag[place] + share * np.diff(self.by_drag)[place]
        by_slope = self.by_slope[place] + share * np.diff(self.by_slope)[place]
        return by_speed, by_drag, by_slope


def _place(speeds: Array, count: int) -> tuple[NDArray[np.int64], Array]:
    at = speeds / TABLE_STEP_MPS
    # A speed that is no number takes the last piece, and stays no number.
    place = np.where(at < count - 2, at, count - 2).astype(np.int64)
    return place, at - place


@dataclass(frozen=True)
class Lifts:
    """Both lifts and how they follow the speed.

    The coefficient at a speed v is ``C (1 + e (v0 / v - 1))``, C being that at v0 = 20 m/s. A
    ball that keeps its spin has more lift the slower it flies: e is 1 where the coefficient
    goes as the ratio of spin to speed, 0 where it is the same at every speed.

    Attributes
    ----------
    up, side : float
        Coefficient at 20 m/s times the reach, 1/m.
    fade : float
        The e above.
    """

    up: float
    side: float
    fade: float = 0.0

    def weight(self, speeds: Array) -> Array:
        """Return what multiplies ``c x u`` for a coefficient times reach of 1/m, m/s."""
        found: Array = (1.0 - self.fade) * speeds + self.fade * DRAG_AT_MPS
        return found


def accelerations(through_air: Array, drags: DragTable, lifts: Lifts, gravity: float) -> Array:
    """Return the acceleration, shape (..., 3), at velocities through the air, shape (..., 3)."""
    speed = np.sqrt(np.sum(through_air**2, axis=-1))
    by_up, by_side = _lifts(lifts.weight(speed)[..., None] * through_air)
    slope: Array = -(speed * drags.at(speed))[..., None] * through_air
    slope += lifts.up * by_up + lifts.side * by_side
    slope[..., 2] -= gravity
    return slope


def _lifts(scaled: Array) -> tuple[Array, Array]:
    """Return what lifts of 1/m give: spin axis to the right (0, -1, 0), and up."""
    up, side = np.zeros_like(scaled), np.zeros_like(scaled)
    up[..., 0], up[..., 2] = -scaled[..., 2], scaled[..., 0]
    side[..., 0], side[..., 1] = -scaled[..., 1], scaled[..., 0]
    return up, side


def _by_velocity(through_air: Array, drags: DragTable, lifts: Lifts) -> Array:
    """Return the derivative of the acceleration by the velocity, shape (..., 3, 3)."""
    up, side = lifts.up, lifts.side
    speed = np.sqrt(np.sum(through_air**2, axis=-1))
    drag, by_speed = drags.at(speed), drags.slopes_at(speed)[0]
    # The acceleration is W M u - |u| D u with the lifts' weight W = (1 - e) |u| + e v0: its slope
    # is W M - |u| D + ((1 - e) M u / |u| - D u / |u| - D' u) u^T.
    matrix = np.array([[0.0, -side, -up], [side, 0.0, 0.0], [up, 0.0, 0.0]])
    turned = (1.0 - lifts.fade) * np.einsum("ij,...j->...i", matrix, through_air)
    along = turned - drag[..., None] * through_air
    along = along / np.where(speed > 0.0, speed, 1.0)[..., None]
    along = along - by_speed[..., None] * through_air
    slope: Array = lifts.weight(speed)[..., None, None] * matrix
    slope = slope - (speed * drag)[..., None, None] * np.eye(3)
    slope += along[..., :, None] * through_air[..., None, :]
    return slope


def _by_coefficients(through_air: Array, drags: DragTable, lifts: Lifts, reach: float) -> Array:
    """Return the derivative by drag, both lifts, the drag's slope and the fade, (..., 3, 5)."""
    speed = np.sqrt(np.sum(through_air**2, axis=-1))
    scaled = speed[..., None] * through_air
    _, by_drag, by_slope = drags.slopes_at(speed)
    up, side = _lifts(reach * lifts.weight(speed)[..., None] * through_air)
    faded_up, faded_side = _lifts((DRAG_AT_MPS - speed)[..., None] * through_air)
    by_fade = lifts.up * faded_up + lifts.side * faded_side
    columns = (-by_drag[..., None] * scaled, up, side, -by_slope[..., None] * scaled, by_fade)
    return np.stack(columns, axis=-1)


def variations(
    times: Array,
    nodes: Array,
    stages: Array,
    drags: DragTable,
    lifts: Lifts,
    reach: float,
    modes: Array | None,
) -> tuple[Array, Array]:
    """Differentiate the nodes' states and rates by the launch, each shape (N, 6, 11 or 26).

    The variational equations are linear, so every step is one affine map of the derivative of
    the velocity: all maps are made at once and then chained. The start moves everything alike,
    and a mean wind does what the opposite change of the velocity does, seen from the moving air:
    neither needs a column of its own.

    Parameters
    ----------
    times : ndarray, shape (N,)
    nodes : ndarray, shape (N, 3)
        Velocity through the air.
    stages : ndarray, shape (N-1, 4, 3)
        The same at the stages of each step.
    drags : DragTable
    lifts : Lifts
    reach : float
        See `Forces`, 1/m.
    modes : ndarray, shape (2N-1, M), or None
        The gust modes, half a step apart, where the extras count too.
    """
    count, step = len(times), times[1] - times[0]
    half = 0.5 * step
    slope = _by_velocity(stages, drags, lifts)
    slope_at_nodes = _by_velocity(nodes, drags, lifts)
    air = (drags, lifts, reach)
    source = _sources(stages, slope, air, None if modes is None else _staged(modes))
    last = _sources(nodes[-1:], slope_at_nodes[-1:], air, None if modes is None else modes[-1:])
    size = source.shape[-1]

    # Each stage's derivative is linear @ V + constant, V being the one at the step's start.
    linear, constant = slope[:, 0], source[:, 0]
    sum_linear, sum_constant = linear.copy(), constant.copy()
    map_linear, map_constant = linear.copy(), constant.copy()
    for stage, reached, weight in ((1, half, 2.0), (2, half, 2.0), (3, step, 1.0)):
        here = slope[:, stage]
        linear, constant = (
            here + reached * here @ linear,
            source[:, stage] + reached * here @ constant,
        )
        map_linear += weight * linear
        map_constant += weight * constant
        if stage < 3:
            sum_linear += linear
            sum_constant += constant
    map_linear = np.eye(3) + step / 6.0 * map_linear
    map_constant *= step / 6.0

    velocity = np.empty((count, 3, size))
    velocity[0] = np.eye(3, size)
    for node in range(count - 1):
        np.matmul(map_linear[node], velocity[node], out=velocity[node + 1])
        velocity[node + 1] += map_constant[node]
    moved = step * velocity[:-1]
    moved += step * step / 6.0 * (sum_linear @ velocity[:-1] + sum_constant)
    position = running_sum(moved)
    acceleration = slope_at_nodes @ velocity
    acceleration += np.concatenate([source[:, 0], last])

    by_launch, rates = np.zeros((count, 6, size + 5)), np.zeros((count, 6, size + 5))
    by_launch[:, 0:3, 0:3] = np.eye(3)
    for columns, own in ((slice(3, 9), slice(0, 6)), (slice(11, None), slice(6, None))):
        by_launch[:, 0:3, columns], by_launch[:, 3:6, columns] = (
            position[..., own],
            velocity[..., own],
        )
        rates[:, 0:3, columns], rates[:, 3:6, columns] = velocity[..., own], acceleration[..., own]
    by_launch[:, :, 9:11] = -by_launch[:, :, 3:5]
    rates[:, :, 9:11] = -rates[:, :, 3:5]
    for axis in (0, 1):
        by_launch[:, axis, 9 + axis] += times
        by_launch[:, 3 + axis, 9 + axis] += 1.0
        rates[:, axis, 9 + axis] += 1.0
    return by_launch, rates


def _staged(modes: Array) -> Array:
    """Return modes half a step apart, (2N-1, M), as each step's four stages have them."""
    return np.stack([modes[:-2:2], modes[1:-1:2], modes[1:-1:2], modes[2::2]], axis=1)


def _sources(
    through_air: Array,
    slope: Array,
    air: tuple[DragTable, Lifts, float],
    modes: Array | None,
) -> Array:
    """Return what each parameter adds to the acceleration by itself, shape (..., 3, 6 or 21).

    Velocity at the start (nothing), drag, two lifts; then, with modes, gravity, the drag's
    slope, the lifts' fade and the gusts:
    the air that moves along is velocity through it taken away.
    """
    forced = _by_coefficients(through_air, *air)
    known = 6 if modes is None else 9 + 2 * modes.shape[-1]
    source = np.zeros((*through_air.shape, known))
    source[..., 3:6] = forced[..., :3]
    if modes is not None:
        source[..., 2, 6] = -1.0
        source[..., 7:9] = forced[..., 3:]
        gusty = -slope[..., :, :2, None] * modes[..., None, None, :]
        source[..., 9:] = gusty.reshape(*through_air.shape, -1)
    return source


def running_sum(steps: Array) -> Array:
    """Return the sums of the first 0, 1, 2 ... of `steps` along the first axis."""
    sums = np.zeros((len(steps) + 1, *steps.shape[1:]))
    np.cumsum(steps, axis=0, out=sums[1:])
    return sums
