"""Flights integrated by scipy and seen by a camera through OpenCV: nothing of the project's own."""

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from scipy.integrate import solve_ivp

from calibration.camera import looking_at
from tracker.flight.forces import Forces

REACH, GRAVITY = 3.647226574646e-2, 9.80665
FORCES = Forces(REACH, GRAVITY)
RELEASE_M = np.array([0.0, 0.0, 0.8])
RADIUS_M = 0.0335
DRAG = 0.55


def camera(distance_m=34.0):
    """Return a camera beside the field, on the right of the firing line."""
    return looking_at((16.0, -distance_m, 1.5), (15.0, 0.0, 5.0), 1450.0, (1920, 1080))


@dataclass(frozen=True)
class Throw:
    """A launch as a person would state it; lift is (up, left), wind (downrange, left)."""

    speed_mps: float
    angle_deg: float
    azimuth_deg: float = 0.0
    drag: float = DRAG
    lift: tuple[float, float] = (0.0, 0.0)
    wind_mps: tuple[float, float] = (0.0, 0.0)
    start_m: tuple[float, float, float] = tuple(RELEASE_M)

    def velocity(self):
        angle, turn = np.radians([self.angle_deg, self.azimuth_deg])
        return self.speed_mps * np.array(
            [np.cos(angle) * np.cos(turn), np.cos(angle) * np.sin(turn), np.sin(angle)]
        )

    def launch(self):
        return np.array(
            [*self.start_m, *self.velocity(), self.drag, *self.lift, *self.wind_mps], float
        )


@cache
def flown(throw, ground_m=RADIUS_M, forces=FORCES):
    """Return a function from times to states (N, 6), and the moment and state of the landing."""
    wind = np.array([*throw.wind_mps, 0.0])
    spin = np.array([0.0, -throw.lift[0], throw.lift[1]])  # back-spin turns about the right

    def rate(_, state):
        through = state[3:] - wind
        push = -throw.drag * through + np.cross(spin, through)
        fall = np.array([0.0, 0.0, -forces.gravity_mps2])
        return np.concatenate(
            [state[3:], fall + forces.reach_per_m * np.linalg.norm(through) * push]
        )

    def down(_, state):
        return state[2] - ground_m

    down.terminal, down.direction = True, -1.0
    start = np.concatenate([throw.start_m, throw.velocity()])
    result = solve_ivp(
        rate,
        (0.0, 15.0),
        start,
        method="DOP853",
        rtol=1e-9,
        atol=1e-9,
        events=down,
        dense_output=True,
    )
    return lambda times: result.sol(times).T, float(result.t[-1]), result.y[:, -1]


def seen(view, points):
    """Return the pixels, shape (N, 2), at which OpenCV puts ground points in this camera."""
    matrix = np.array(
        [
            [view.focal_px, 0.0, view.centre_px[0]],
            [0.0, view.focal_px, view.centre_px[1]],
            [0.0, 0.0, 1.0],
        ]
    )
    turn, _ = cv2.Rodrigues(view.rotation)
    pixels, _ = cv2.projectPoints(
        np.asarray(points, float).reshape(-1, 1, 3),
        turn,
        -view.rotation @ view.position,
        matrix,
        view.distortion,
    )
    return pixels.reshape(-1, 2)
