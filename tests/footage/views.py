"""Fields that could have been in front of a camera: taped, picked and calibrated like real ones."""

from dataclasses import dataclass

import numpy as np

from calibration.camera import Camera, looking_at
from calibration.markers import Marker
from calibration.site import Site, solve
from calibration.site.observations import horizontal_view
from tracker.flight.air import Weather, air_from
from tracker.flight.ball import Ball, ball_from
from tracker.measurement.request import ClipRequest

TAPE_U_M, PICK_U_PX, POSITION_U_M, VIEW_U, LEVEL_U_DEG = 0.02, 0.5, 0.10, 0.01, 0.5
RELEASE_U_M = 0.02
TENNIS = ball_from("tennis")


@dataclass(frozen=True)
class View:
    """A field as it truly lies before the camera, and as a person would have taped it.

    Attributes
    ----------
    name : str
    true : Camera
    calibrated : Camera
        Solved from markers, position and field of view that carry drawn errors.
    release_m : ndarray, shape (3,)
        True point of release.
    request : ClipRequest
        What else is known.
    """

    name: str
    true: Camera
    calibrated: Camera
    release_m: np.ndarray
    request: ClipRequest


@dataclass(frozen=True)
class Stand:
    """Where the camera stands and what it is turned to.

    Attributes
    ----------
    off_m : float
        Distance from the firing line; negative on the right of it, where shots run rightward.
    field_of_view_deg : float
    height_m : float
    release_share : float
        Where in the picture's width the release lies, from the edge that shots come from; outside
        the picture below 0.
    ground_share : float
        Where in the picture's height the firing line lies, from the top.
    """

    off_m: float
    field_of_view_deg: float
    height_m: float
    release_share: float
    ground_share: float

    @property
    def name(self) -> str:
        way = "right" if self.off_m < 0 else "left"
        return (
            f"{abs(self.off_m):.0f} m off, {self.field_of_view_deg:.0f}°, {self.height_m:.1f} m "
            f"high, to the {way}, release at {100 * self.release_share:.0f} %"
        )


USUAL = (
    Stand(-30.0, 65.0, 1.5, 0.08, 0.80),
    Stand(30.0, 55.0, 2.5, 0.06, 0.75),
    Stand(-20.0, 75.0, 1.2, 0.15, 0.70),
    Stand(55.0, 50.0, 1.8, 0.30, 0.85),
    Stand(-40.0, 45.0, 3.0, -0.15, 0.90),
    Stand(24.0, 60.0, 1.0, -0.20, 0.80),
)
"""Both firing directions, near and far, release in and out of the picture."""


def drawn_stand(rng: np.random.Generator) -> Stand:
    """Draw a stand from all that is plausible."""
    return Stand(
        off_m=float(rng.choice([-1.0, 1.0]) * np.exp(rng.uniform(np.log(20), np.log(60)))),
        field_of_view_deg=float(rng.uniform(45.0, 75.0)),
        height_m=float(rng.uniform(1.0, 3.0)),
        release_share=float(rng.uniform(-0.3, 0.5)),
        ground_share=float(rng.uniform(0.55, 0.95)),
    )


def view(
    stand: Stand, size_px: tuple[int, int], rng: np.random.Generator, ball: Ball = TENNIS
) -> View:
    """Lay a field before a camera, then tape, pick and calibrate it."""
    width, height = size_px
    focal = width / 2.0 / np.tan(np.radians(stand.field_of_view_deg) / 2.0)
    dip = np.arctan(stand.height_m / abs(stand.off_m))
    rise = np.arctan((stand.ground_share - 0.5) * height / focal) - dip
    right = -np.sign(stand.off_m)
    # The release lies so far aside of the picture's middle, at the firing line's distance.
    aside = (0.5 - stand.release_share) * width / focal * abs(stand.off_m)
    position = np.array([aside, stand.off_m, stand.height_m])
    aim = position + np.array([0.0, -stand.off_m, abs(stand.off_m) * np.tan(rise)])
    roll = float(np.radians(rng.normal(0.0, LEVEL_U_DEG)))
    distortion = rng.normal(0.0, 1.0, 5) * (0.01, 0.005, 0.0004, 0.0004, 0.0)
    true = looking_at(position, aim, focal, size_px, roll, distortion)
    assert right * (true.project([aside + 1.0, 0.0, 2.0])[0, 0] - width / 2.0) > 0.0
    release = np.array([0.0, 0.0, rng.uniform(0.7, 1.0)])
    return View(
        name=stand.name,
        true=true,
        calibrated=_calibrated(true, rng),
        release_m=release,
        request=ClipRequest(
            clip="clip.mp4",
            setup="140 mm wheels",
            ball=ball,
            air=air_from(Weather(temperature_c=15.0, pressure_hpa=1013.0, wind_u_mps=0.5)),
            gravity_mps2=9.81,
            gravity_u_mps2=0.005,
            release_m=release + rng.normal(0.0, RELEASE_U_M, 3) * (0.0, 0.0, 1.0),
            release_u_m=RELEASE_U_M,
            readout_s=0.0001,
        ),
    )


def _calibrated(true: Camera, rng: np.random.Generator) -> Camera:
    """Return the camera that a person's markers, tape and data sheet give."""
    markers = []
    # Cones lie on the ground; one stands on a post two metres high.
    for along in np.arange(-10.0, 61.0, 5.0):
        for up in (0.0, 2.0):
            taped = np.array([along, 0.0, up])
            pixel = true.project(taped + rng.normal(0.0, TAPE_U_M, 3))[0]
            inside = np.all(pixel > 2.0) and np.all(pixel < np.array(true.size_px) - 3.0)
            if inside and (up == 0.0 or len(markers) == 1):
                pixel = pixel + rng.normal(0.0, PICK_U_PX, 2)
                markers.append(Marker(f"{along:g} {up:g}", taped, TAPE_U_M, pixel, PICK_U_PX))
    across = float(np.degrees(horizontal_view(true)[0]))
    return solve(
        Site(
            true.size_px,
            tuple(markers),
            position_m=true.position + rng.normal(0.0, POSITION_U_M, 3),
            position_u_m=POSITION_U_M,
            field_of_view_deg=across * (1.0 + rng.normal(0.0, VIEW_U)),
            field_of_view_u_deg=across * VIEW_U,
            level_u_deg=LEVEL_U_DEG,
        )
    ).camera
