"""The expected shots, and the points of their flights that the camera has to keep in view."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import looking_at
from calibration.errors import InputError
from tracker.fitting import Conditions, ExpectedFlight, circumstances_of, expected_flight
from tracker.statistics.components import Estimate

Array = NDArray[np.float64]

SPEED_U_SHARE, ANGLE_U_DEG, AZIMUTH_U_DEG = 0.05, 1.0, 1.0
"""Standard uncertainty of the next shot's exit speed (share of it), launch angle and azimuth where
none is stated (common practice, no source)."""

LEAST_SPEED_SHARE = 0.2
"""Lowest exit speed of a corner flight, as a share of the expected one: keeps it above zero where
the stated uncertainty is large (common practice, no source)."""

SAMPLES = 40
"""Points along a flight that must be in view: 1 m apart on a flight of 40 m, a tenth of the usual
margin (common practice, no source)."""


@dataclass(frozen=True)
class ExpectedShots:
    """The expected shot and those one standard uncertainty off.

    Attributes
    ----------
    speed_mps, angle_deg, azimuth_deg : Estimate
    flight : ExpectedFlight
        At the expected values.
    others : tuple of ExpectedFlight
        The eight corners: speed, angle and azimuth each one standard uncertainty off at once.
    landing_m : ndarray, shape (2,)
        Expected landing, along and across.
    landing_covariance : ndarray, shape (2, 2)
        Covariance of the next landing, m²: from speed, angle, azimuth, drag, lift and wind.
    """

    speed_mps: Estimate
    angle_deg: Estimate
    azimuth_deg: Estimate
    flight: ExpectedFlight
    others: tuple[ExpectedFlight, ...]
    landing_m: Array
    landing_covariance: Array

    @property
    def points_m(self) -> Array:
        """Points that must be in view: of every flight, and the ground below its ends."""
        found = []
        for flight in (self.flight, *self.others):
            places = flight.states(np.linspace(0.0, flight.landing_s, SAMPLES))[:, :3]
            ends = places[[0, -1]] * (1.0, 1.0, 0.0)
            found += [places, ends]
        return np.concatenate(found)


def velocity(speed_mps: float, angle_deg: float, azimuth_deg: float) -> Array:
    """Return a velocity in ground axes, shape (3,), m/s."""
    angle, aside = math.radians(angle_deg), math.radians(azimuth_deg)
    level = math.cos(angle)
    return speed_mps * np.array([level * math.cos(aside), level * math.sin(aside), math.sin(angle)])


def expected_shots(
    conditions: Conditions, speed_mps: Estimate, angle_deg: Estimate, azimuth_deg: Estimate
) -> ExpectedShots:
    """Return the flights of the expected shots.

    Raises
    ------
    InputError
        Where the ball does not come down within the longest flight that is integrated.
    """
    # A flight does not depend on the camera: any will do.
    nowhere = looking_at((0.0, -1.0, 1.0), (0.0, 0.0, 1.0), 1000.0, (1920, 1080))
    known = circumstances_of(nowhere, conditions)

    def flown(speed: float, angle: float, azimuth: float) -> ExpectedFlight:
        found = expected_flight(known, velocity(speed, angle, azimuth))
        if found is None:
            raise InputError(
                f"a ball that leaves with {speed:.3g} m/s at {angle:.3g}° does not come down "
                "within 15 s",
                where="session.toml, [planned] exit_speed_mps and [release] angle_deg",
                remedy="check the exit speed and the launch angle",
            )
        return found

    least = LEAST_SPEED_SHARE * speed_mps.value
    corners = [
        flown(
            max(speed_mps.value + a * speed_mps.u, least),
            angle_deg.value + b * angle_deg.u,
            azimuth_deg.value + c * azimuth_deg.u,
        )
        for a in (-1.0, 1.0)
        for b in (-1.0, 1.0)
        for c in (-1.0, 1.0)
    ]
    flight = flown(speed_mps.value, angle_deg.value, azimuth_deg.value)
    figures = flight.figures
    polar = _by_polar(speed_mps.value, angle_deg.value, azimuth_deg.value)
    slopes = figures.jacobian[4:6, 4:7] @ polar
    spread = slopes @ np.diag([speed_mps.u**2, angle_deg.u**2, azimuth_deg.u**2]) @ slopes.T
    # Drag, lift and wind: their priors are independent.
    aloft = figures.jacobian[4:6, 7:12]
    spread = spread + (aloft / np.diag(known.prior_information())[7:12]) @ aloft.T
    return ExpectedShots(
        speed_mps,
        angle_deg,
        azimuth_deg,
        flight,
        tuple(corners),
        np.array([figures.value("landing_along_m"), figures.value("landing_across_m")]),
        spread,
    )


def _by_polar(speed_mps: float, angle_deg: float, azimuth_deg: float) -> Array:
    """Return the derivative of `velocity` by speed, launch angle and azimuth, shape (3, 3)."""
    angle, aside = math.radians(angle_deg), math.radians(azimuth_deg)
    rise, run = math.sin(angle), math.cos(angle)
    way = np.array([run * math.cos(aside), run * math.sin(aside), rise])
    upward = np.array([-rise * math.cos(aside), -rise * math.sin(aside), run])
    sideways = np.array([-run * math.sin(aside), run * math.cos(aside), 0.0])
    degree = math.radians(1.0) * speed_mps
    return np.column_stack([way, degree * upward, degree * sideways])
