"""Acceleration of a ball at a velocity through the air, with its derivatives."""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from tracker.flight.forces import DRAG_AT_MPS, Forces

Array = NDArray[np.float64]

TABLE_STEP_MPS = 0.5
TABLE_TOP_MPS = 60.0
"""Step and top of the table of drag over speed, m/s: published curves are smooth over the step,
and no launcher throws faster than the top."""


@dataclass(frozen=True)
class DragTable:
    """Drag over speed, linear between evenly spaced speeds.

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
        """Return the table, its rises, intervals per m/s and the last interval, as floats."""
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
    # A speed that is not a number takes the last interval, and stays not a number.
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


@dataclass(frozen=True)
class Aerodynamics:
    """The forces on one ball, as functions of its velocity through the air.

    Attributes
    ----------
    drags : DragTable
    lifts : Lifts
    gravity_mps2 : float
        Downward, less buoyancy.
    reach_per_m : float
        See `tracker.flight.forces.Forces`.
    """

    drags: DragTable
    lifts: Lifts
    gravity_mps2: float
    reach_per_m: float

    def accelerations(self, through_air: Array) -> Array:
        """Return the acceleration, shape (..., 3), at velocities through the air, (..., 3)."""
        speed = np.sqrt(np.sum(through_air**2, axis=-1))
        by_up, by_side = _lift_directions(self.lifts.weight(speed)[..., None] * through_air)
        slope: Array = -(speed * self.drags.at(speed))[..., None] * through_air
        slope += self.lifts.up * by_up + self.lifts.side * by_side
        slope[..., 2] -= self.gravity_mps2
        return slope

    def by_velocity(self, through_air: Array) -> Array:
        """Return the derivative of the acceleration by the velocity, shape (..., 3, 3)."""
        up, side, fade = self.lifts.up, self.lifts.side, self.lifts.fade
        speed = np.sqrt(np.sum(through_air**2, axis=-1))
        drag, by_speed = self.drags.at(speed), self.drags.slopes_at(speed)[0]
        # The acceleration is W M u - |u| D u with the lifts' weight W = (1 - e) |u| + e v0: its
        # slope is W M - |u| D + ((1 - e) M u / |u| - D u / |u| - D' u) u^T.
        matrix = np.array([[0.0, -side, -up], [side, 0.0, 0.0], [up, 0.0, 0.0]])
        turned = (1.0 - fade) * np.einsum("ij,...j->...i", matrix, through_air)
        along = turned - drag[..., None] * through_air
        along = along / np.where(speed > 0.0, speed, 1.0)[..., None]
        along = along - by_speed[..., None] * through_air
        slope: Array = self.lifts.weight(speed)[..., None, None] * matrix
        slope = slope - (speed * drag)[..., None, None] * np.eye(3)
        slope += along[..., :, None] * through_air[..., None, :]
        return slope

    def by_coefficients(self, through_air: Array) -> Array:
        """Return the derivative by drag, both lifts, the drag's slope and the fade, (..., 3, 5)."""
        speed = np.sqrt(np.sum(through_air**2, axis=-1))
        scaled = speed[..., None] * through_air
        _, by_drag, by_slope = self.drags.slopes_at(speed)
        weighted = self.reach_per_m * self.lifts.weight(speed)
        up, side = _lift_directions(weighted[..., None] * through_air)
        faded_up, faded_side = _lift_directions((DRAG_AT_MPS - speed)[..., None] * through_air)
        by_fade = self.lifts.up * faded_up + self.lifts.side * faded_side
        columns = (-by_drag[..., None] * scaled, up, side, -by_slope[..., None] * scaled, by_fade)
        return np.stack(columns, axis=-1)


def _lift_directions(scaled: Array) -> tuple[Array, Array]:
    """Return what lifts of 1/m give: spin axis to the right (0, -1, 0), and up."""
    up, side = np.zeros_like(scaled), np.zeros_like(scaled)
    up[..., 0], up[..., 2] = -scaled[..., 2], scaled[..., 0]
    side[..., 0], side[..., 1] = -scaled[..., 1], scaled[..., 0]
    return up, side
