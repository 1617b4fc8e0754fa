"""Derivatives of a flight by its launch: the variational equations of its integration."""

import numpy as np
from numpy.typing import NDArray

from tracker.flight.aerodynamics import Aerodynamics

Array = NDArray[np.float64]

OWN = 6
"""Columns of a sensitivity without extras: velocity at the start, drag and two lifts."""


def sensitivities(
    times: Array, last: Array, stages: Array, air: Aerodynamics, modes: Array | None
) -> tuple[Array, Array]:
    """Differentiate the nodes' states and rates by the launch, each shape (N, 6, 11 or 26).

    The variational equations are linear, so every step is one affine map of the derivative of
    the velocity: all maps are made at once and then chained. The start moves everything alike,
    and a mean wind has the effect of the opposite change of the velocity, seen from the moving air:
    neither needs a column of its own.

    Parameters
    ----------
    times : ndarray, shape (N,)
    last : ndarray, shape (1, 3)
        Velocity through the air at the last node.
    stages : ndarray, shape (N-1, 4, 3)
        The same at the stages of each Runge-Kutta step.
    air : Aerodynamics
    modes : ndarray, shape (2N-1, M), or None
        The gust modes, half a step apart, where the derivatives by the extras are asked for.
    """
    step, steps = float(times[1] - times[0]), len(times) - 1
    # The first stage of a step is its node, so only the last node is a place of its own.
    through_air = np.concatenate([stages.reshape(-1, 3), last])
    slopes = air.by_velocity(through_air)
    sources = _sources(through_air, slopes, air, None if modes is None else _staged(modes))
    slope, source = (each[:-1].reshape(steps, 4, 3, -1) for each in (slopes, sources))
    map_linear, map_constant, sum_linear, sum_constant = _step_maps(slope, source, step)

    velocity = _chained(map_linear, map_constant, np.eye(3, source.shape[-1]))
    moved = step * velocity[:-1]
    moved += step * step / 6.0 * (sum_linear @ velocity[:-1] + sum_constant)
    acceleration = np.concatenate([slope[:, 0], slopes[-1:]]) @ velocity
    acceleration += np.concatenate([source[:, 0], sources[-1:]])
    return _by_launch(times, running_sum(moved), velocity, acceleration)


def _chained(linear: Array, constant: Array, first: Array) -> Array:
    """Return what affine maps make of a first value, one after the other, shape (N+1, 3, K).

    Maps of two steps each lead to every other value, and those to the values between: half as many
    products one after the other, and again half, instead of one for every step.

    Parameters
    ----------
    linear, constant : ndarray
        Shapes (N, 3, 3) and (N, 3, K): value after = linear @ value before + constant.
    first : ndarray, shape (3, K)
    """
    count = len(linear)
    values = np.empty((count + 1, *first.shape))
    values[0] = first
    if count > 1:
        even, odd = slice(0, count - 1, 2), slice(1, count, 2)
        both = linear[odd] @ constant[even]
        both += constant[odd]
        values[: count + 1 : 2][: len(both) + 1] = _chained(linear[odd] @ linear[even], both, first)
        np.matmul(linear[even], values[even], out=values[odd])
        values[odd] += constant[even]
    if count % 2:
        np.matmul(linear[-1], values[-2], out=values[-1])
        values[-1] += constant[-1]
    return values


def _step_maps(slope: Array, source: Array, step: float) -> tuple[Array, Array, Array, Array]:
    """Return each step's affine map of the velocity's derivative, and the sums for the position.

    Parameters
    ----------
    slope : ndarray, shape (N-1, 4, 3, 3)
        Derivative of the acceleration by the velocity at the stages.
    source : ndarray, shape (N-1, 4, 3, K)
        Direct derivative of the acceleration by the parameters there.
    step : float

    Returns
    -------
    map_linear, map_constant, sum_linear, sum_constant : ndarray
        Shapes (N-1, 3, 3), (N-1, 3, K) twice.
    """
    half = 0.5 * step
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
    return np.eye(3) + step / 6.0 * map_linear, step / 6.0 * map_constant, sum_linear, sum_constant


def _by_launch(
    times: Array, position: Array, velocity: Array, acceleration: Array
) -> tuple[Array, Array]:
    """Return the derivatives of states and rates with the columns of start and wind put in."""
    count, size = len(times), velocity.shape[-1]
    by_launch, rates = np.zeros((count, 6, size + 5)), np.zeros((count, 6, size + 5))
    by_launch[:, 0:3, 0:3] = np.eye(3)
    for columns, own in ((slice(3, 9), slice(0, OWN)), (slice(11, None), slice(OWN, None))):
        by_launch[:, 0:3, columns] = position[..., own]
        by_launch[:, 3:6, columns] = velocity[..., own]
        rates[:, 0:3, columns], rates[:, 3:6, columns] = velocity[..., own], acceleration[..., own]
    by_launch[:, :, 9:11] = -by_launch[:, :, 3:5]
    rates[:, :, 9:11] = -rates[:, :, 3:5]
    for axis in (0, 1):
        by_launch[:, axis, 9 + axis] += times
        by_launch[:, 3 + axis, 9 + axis] += 1.0
        rates[:, axis, 9 + axis] += 1.0
    return by_launch, rates


def _staged(modes: Array) -> Array:
    """Return modes half a step apart, (2N-1, M), at each step's four stages and the last node."""
    staged = np.stack([modes[:-2:2], modes[1:-1:2], modes[1:-1:2], modes[2::2]], axis=1)
    return np.concatenate([staged.reshape(-1, modes.shape[1]), modes[-1:]])


def _sources(through_air: Array, slope: Array, air: Aerodynamics, modes: Array | None) -> Array:
    """Return the direct derivative of the acceleration by each parameter, (..., 3, 6 or 21).

    Velocity at the start (zero), drag, two lifts; with modes also gravity, the drag's slope, the
    lifts' fade and the gusts: air that moves along is velocity through it taken away.
    """
    forced = air.by_coefficients(through_air)
    known = OWN if modes is None else OWN + 3 + 2 * modes.shape[-1]
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
