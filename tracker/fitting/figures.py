"""The figures of a shot, from its launch, with their covariance."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.fitting.model import (
    GRAVITY_AT,
    GRAVITY_STEP_MPS2,
    PARAMETERS,
    Circumstances,
    forces_with,
)
from tracker.flight.events import apex, crossing
from tracker.flight.forces import Forces
from tracker.flight.trajectory import fly

Array = NDArray[np.float64]

FIGURES = (
    "exit_speed_mps",
    "launch_angle_deg",
    "azimuth_deg",
    "carry_m",
    "landing_along_m",
    "landing_across_m",
    "apex_m",
    "flight_time_s",
    "landing_speed_mps",
    "landing_angle_deg",
    "release_s",
)


@dataclass(frozen=True)
class Figures:
    """What a shot did.

    Attributes
    ----------
    values : ndarray, shape (11,)
        In the order of `FIGURES`; NaN for a flight that never comes down.
    jacobian : ndarray, shape (11, P)
        Derivative by the fit's `PARAMETERS`.
    """

    values: Array
    jacobian: Array

    def value(self, name: str) -> float:
        """Return one figure by its name."""
        return float(self.values[FIGURES.index(name)])

    def u(self, covariance: Array) -> dict[str, float]:
        """Return every figure's standard uncertainty from the parameters' covariance (P, P)."""
        variance = np.einsum("fi,ij,fj->f", self.jacobian, covariance, self.jacobian)
        return dict(zip(FIGURES, np.sqrt(np.maximum(variance, 0.0)).tolist(), strict=True))


def figures_of(circumstances: Circumstances, parameters: Array) -> Figures:
    """Compute the figures of a shot and their derivatives.

    The landing is where the ball's lowest point comes down to the ground plane: the centre at
    the height of the radius.

    Parameters
    ----------
    circumstances : Circumstances
    parameters : ndarray, shape (P,)
        In the order of `tracker.fitting.model.PARAMETERS`.
    """
    launch = parameters[1:12]
    forces = forces_with(circumstances.forces, parameters[GRAVITY_AT])
    radius_m = circumstances.ball_radius_m
    values, by_launch = _of_launch(launch, forces, radius_m)
    heavier, _ = _of_launch(launch, forces_with(forces, GRAVITY_STEP_MPS2), radius_m)
    jacobian = np.zeros((len(FIGURES), len(PARAMETERS)))
    jacobian[:, 1:12] = by_launch
    jacobian[:, GRAVITY_AT] = (heavier - values) / GRAVITY_STEP_MPS2
    values[10], jacobian[10, 0], jacobian[10, GRAVITY_AT] = parameters[0], 1.0, 0.0
    return Figures(values, jacobian)


def _of_launch(launch: Array, forces: Forces, radius_m: float) -> tuple[Array, Array]:
    """Return the figures that the launch decides and their derivatives by it, shape (11, 11)."""
    vx, vy, vz = launch[3:6]
    speed, level = float(np.linalg.norm(launch[3:6])), float(np.hypot(vx, vy))
    values = np.full(len(FIGURES), np.nan)
    by_launch = np.zeros((len(FIGURES), 11))
    values[0] = speed
    by_launch[0, 3:6] = launch[3:6] / speed
    values[1] = np.degrees(np.arctan2(vz, level))
    by_launch[1, 3:6] = np.degrees(np.array([-vz * vx / level, -vz * vy / level, level]) / speed**2)
    values[2] = np.degrees(np.arctan2(vy, vx))
    by_launch[2, 3:5] = np.degrees(np.array([-vy, vx]) / level**2)
    gravity = forces.gravity_mps2
    longest = 2.5 * max(vz, 0.0) / gravity + np.sqrt(2.0 * max(launch[2], 0.1) / gravity) + 1.0
    flight = fly(launch, forces, float(min(longest, 15.0)), 0.02, sensitivities=True)
    top = apex(flight)
    if top is not None and top.state_by_launch is not None:
        values[6], by_launch[6] = top.state[2], top.state_by_launch[2]
    down = crossing(flight, radius_m)
    if down is not None and down.state_by_launch is not None and down.time_by_launch is not None:
        path = down.state[:2] - launch[:2]
        by_path = down.state_by_launch[:2].copy()
        by_path[:, :2] -= np.eye(2)
        carry = float(np.linalg.norm(path))
        values[3], by_launch[3] = carry, path @ by_path / carry
        values[4:6], by_launch[4:6] = down.state[:2], down.state_by_launch[:2]
        values[7], by_launch[7] = down.time_s, down.time_by_launch
        falling = down.state[3:6]
        fast, flat = float(np.linalg.norm(falling)), float(np.hypot(falling[0], falling[1]))
        values[8], by_launch[8] = fast, falling @ down.state_by_launch[3:6] / fast
        values[9] = np.degrees(np.arctan2(-falling[2], flat))
        slope = np.array([falling[2] * falling[0] / flat, falling[2] * falling[1] / flat, -flat])
        by_launch[9] = np.degrees(slope / fast**2) @ down.state_by_launch[3:6]
    return values, by_launch
