"""The shots that are expected, and what of them the camera has to keep in view."""

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.camera import looking_at
from calibration.errors import InputError
from tracker.fitting import ExpectedFlight, circumstances_of, expected_flight
from tracker.launcher.prediction import Outdoors, predict
from tracker.launcher.setup import machine_from_setup
from tracker.measurement.circumstances import ClipRequest
from tracker.results import RESULTS
from tracker.session import SESSION_FILE, Session
from tracker.statistics.components import Estimate
from tracker.workflow.outings import gather
from tracker.workflow.predict import taught
from tracker.workflow.stand import air_of, ball_of

Array = NDArray[np.float64]

SPEED_U_SHARE, ANGLE_U_DEG, AZIMUTH_U_DEG = 0.05, 1.0, 1.0
"""How far the next shot may be from what is expected where nobody says: 5 %, 1 and 1 degree, one
standard uncertainty (common practice, no source)."""

SAMPLES = 40
"""Places along a flight that must be in view."""


@dataclass(frozen=True)
class Shots:
    """The shots that are expected.

    Attributes
    ----------
    speed_mps, angle_deg, azimuth_deg : Estimate
    flight : ExpectedFlight
        The one in the middle.
    others : tuple of ExpectedFlight
        The corners: speed, angle and azimuth each one standard uncertainty off, all at once.
    radius_m : float
        Of the ball.
    landing_m : ndarray, shape (2,)
        Expected landing, along and across.
    landing_covariance : ndarray, shape (2, 2)
        Of the next landing, m²: speed, angle, azimuth, drag, lift and wind.
    """

    speed_mps: Estimate
    angle_deg: Estimate
    azimuth_deg: Estimate
    flight: ExpectedFlight
    others: tuple[ExpectedFlight, ...]
    radius_m: float
    landing_m: Array
    landing_covariance: Array

    @property
    def points_m(self) -> Array:
        """Places that must be in view: those of every flight, and the ground below its ends."""
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


def shots_of(
    request: ClipRequest, speed_mps: Estimate, angle_deg: Estimate, azimuth_deg: Estimate
) -> Shots:
    """Return the flights of the shots that are expected.

    Raises
    ------
    InputError
        Where the ball would not come down within the time that a flight may take.
    """
    nowhere = looking_at((0.0, -1.0, 1.0), (0.0, 0.0, 1.0), 1000.0, (1920, 1080))
    known = circumstances_of(nowhere, request)

    def flown(speed: float, angle: float, azimuth: float) -> ExpectedFlight:
        found = expected_flight(known, velocity(speed, angle, azimuth))
        if found is None:
            raise InputError(
                f"a ball that leaves with {speed:.3g} m/s at {angle:.3g}° does not come down "
                "within 15 s",
                where="--speed, --angle",
                remedy="check the exit speed and the launch angle",
            )
        return found

    flight = flown(speed_mps.value, angle_deg.value, azimuth_deg.value)
    corners = [
        flown(
            max(speed_mps.value + a * speed_mps.u, 0.2 * speed_mps.value),
            angle_deg.value + b * angle_deg.u,
            azimuth_deg.value + c * azimuth_deg.u,
        )
        for a in (-1.0, 1.0)
        for b in (-1.0, 1.0)
        for c in (-1.0, 1.0)
    ]
    figures = flight.figures
    centre = np.array([figures.value("landing_along_m"), figures.value("landing_across_m")])
    slopes = figures.jacobian[4:6, 4:7] @ _by_polar(
        speed_mps.value, angle_deg.value, azimuth_deg.value
    )
    spread = slopes @ np.diag([speed_mps.u**2, angle_deg.u**2, azimuth_deg.u**2]) @ slopes.T
    # Drag, lift and wind: what is known of them is independent.
    aloft = figures.jacobian[4:6, 7:12]
    spread = spread + (aloft / np.diag(known.prior_information())[7:12]) @ aloft.T
    return Shots(
        speed_mps,
        angle_deg,
        azimuth_deg,
        flight,
        tuple(corners),
        request.ball.diameter_m / 2.0,
        centre,
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


def expected_speed(session: Session, name: str = "") -> tuple[Estimate, str]:
    """Return the exit speed that the session's launcher is expected to give, and from what.

    Without a name the fastest of the setups that say enough.

    Raises
    ------
    InputError
        Where the setup is not there or its tables say too little.
    """
    where = session.folder / SESSION_FILE
    entries = [entry for entry in session.setups if entry.name == name or not name]
    if name and not entries:
        known = ", ".join(f'"{entry.name}"' for entry in session.setups) or "none"
        raise InputError(
            f'"{name}" is the name of no setup', where="--setup", remedy=f"they are {known}"
        )
    learned = None
    if (session.folder / RESULTS / "shots.csv").is_file():
        learned, _ = taught(gather([session.folder]))
    outdoors = Outdoors(ball_of(session), air_of(session))
    found: list[tuple[Estimate, str]] = []
    told: InputError | None = None
    for entry in entries:
        try:
            machine = machine_from_setup(
                entry.parts, f'{where}, [[setup]] "{entry.name}"', outdoors.ball.diameter_m
            )
        except InputError as error:
            told = told or error
            continue
        from_what = "the launcher model, corrected by shots" if learned else "the launcher model"
        found.append(
            (predict(machine, outdoors, learned).exit_speed, f'{from_what}, of "{entry.name}"')
        )
    if not found:
        raise told or _no_speed(where)
    return max(found, key=lambda pair: pair[0].value)


def _no_speed(where: Path) -> InputError:
    return InputError(
        "there is no [[setup]] to foretell the exit speed from",
        where=str(where),
        remedy="describe the launcher, or give --speed",
    )
