"""The figures that describe a flight, and what each owes to the launch."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.ground import LEVEL, Ground
from tracker.flight.events import apex, crossing
from tracker.flight.trajectory import Trajectory

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
)
"""Order of the figures; the names and their meanings are those of docs/formats.md."""


@dataclass(frozen=True)
class FlightFigures:
    """The figures of one flight.

    Attributes
    ----------
    values : ndarray, shape (10,)
        In the order of `FIGURES`.
    by_launch : ndarray, shape (10, 11), or None
        Their derivatives by the launch parameters in the order of `LAUNCH`, for a flight that
        was computed with sensitivities.
    """

    values: Array
    by_launch: Array | None

    def __getitem__(self, name: str) -> float:
        """Return the figure of that name."""
        return float(self.values[FIGURES.index(name)])


def figures(
    trajectory: Trajectory, height_m: float, ground: Ground = LEVEL
) -> FlightFigures | None:
    """Return the figures of a flight that ends when its centre comes down to `height_m`.

    The height is that of the ball's centre above the ground at the bounce, so a radius; the apex is
    the centre's height too, above the origin's level. Release is the first node, at time zero. None
    when the ball does not come down within the trajectory.
    """
    top, landing = apex(trajectory), crossing(trajectory, height_m, ground)
    if top is None or landing is None:
        return None
    start = trajectory.states[0]
    run = landing.state[:2] - start[:2]
    carry = float(np.hypot(run[0], run[1]))
    speed, rise, turn = _polar(start[3:])
    last_speed, last_rise, _ = _polar(landing.state[3:])
    release = (speed, rise, turn)
    arrival = (last_speed, -last_rise)
    values = np.array([*release, carry, *landing.state[:2], top.state[2], landing.time_s, *arrival])
    by_start, by_landing, by_time = (
        trajectory.sensitivities,
        landing.state_by_launch,
        landing.time_by_launch,
    )
    by_top = top.state_by_launch
    if by_start is None or by_landing is None or by_time is None or by_top is None:
        return FlightFigures(values, None)
    way = run / carry if carry > 0.0 else np.zeros(2)
    by_arrival = _polar_slopes(landing.state[3:]) @ by_landing[3:]
    by_launch = np.vstack(
        [
            _polar_slopes(start[3:]) @ by_start[0, 3:],
            way @ (by_landing[:2] - by_start[0, :2]),
            by_landing[:2],
            by_top[2],
            by_time,
            by_arrival[0],
            -by_arrival[1],
        ]
    )
    return FlightFigures(values, by_launch)


def release_figures(velocity: Array) -> tuple[Array, Array]:
    """Return what a flight's start alone decides, whether or not it comes down.

    Parameters
    ----------
    velocity : ndarray, shape (3,)
        At release, m/s.

    Returns
    -------
    values : ndarray, shape (3,)
        The first three of `FIGURES`: speed (m/s), launch angle and azimuth (degrees).
    by_velocity : ndarray, shape (3, 3)
        Their derivatives.
    """
    return np.array(_polar(velocity)), _polar_slopes(velocity)


def _polar(velocity: Array) -> tuple[float, float, float]:
    """Return speed, angle above the horizontal and azimuth (degrees) of a velocity, shape (3,)."""
    level = float(np.hypot(velocity[0], velocity[1]))
    return (
        float(np.hypot(level, velocity[2])),
        float(np.degrees(np.arctan2(velocity[2], level))),
        float(np.degrees(np.arctan2(velocity[1], velocity[0]))),
    )


def _polar_slopes(velocity: Array) -> Array:
    """Return the derivative of speed (m/s) and of both angles (degrees) by the velocity, (3, 3).

    Zero for an angle that is not defined: no azimuth straight up, no angles at rest.
    """
    along, across, up = velocity
    level = float(np.hypot(along, across))
    speed = float(np.hypot(level, up))
    slopes = np.zeros((3, 3))
    if speed == 0.0:
        return slopes
    slopes[0] = velocity / speed
    if level == 0.0:
        return slopes
    slopes[1] = np.array([-up * along / level, -up * across / level, level]) / speed**2
    slopes[2] = np.array([-across, along, 0.0]) / level**2
    slopes[1:] = np.degrees(slopes[1:])
    return slopes
