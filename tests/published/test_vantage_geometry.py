"""How wide a camera sees and how large a pixel is, against printed tables and another program."""

import numpy as np
import pytest

from calibration.site import Site, camera_at, outlook
from tests.tracker.vantage_case import Case
from tracker.vantage.judging import judge

PLACE, AIM = np.array([20.0, -30.0, 1.5]), np.array([20.0, 0.0, 1.5])


@pytest.mark.parametrize(
    ("focal_mm", "sensor_mm", "size_px", "printed_deg"),
    [
        # Table of angles of view for 36 x 24 mm: 50 mm, 39.6° across and 27.0° up (G. Ayton,
        # photography notes, "fov", ayton.id.au; read).
        (50.0, 36.0, (6000, 4000), 39.6),
        (50.0, 24.0, (4000, 6000), 27.0),
        # Worked example: 30 mm before a sensor 22.5 mm wide, 41.1° (ScienceZero, "Angle of
        # view"; read).
        (30.0, 22.5, (3504, 2336), 41.1),
    ],
)
def test_the_angle_of_view_of_a_focal_length(focal_mm, sensor_mm, size_px, printed_deg):
    camera = camera_at(Site(size_px, (), field_of_view_deg=printed_deg), PLACE, AIM)
    assert camera.focal_px / size_px[0] == pytest.approx(focal_mm / sensor_mm, rel=2e-3)
    figures = {one.name: one.value for one in outlook(camera)}
    assert figures["field of view"] == pytest.approx(printed_deg)


def test_the_size_of_a_pixel_on_the_ball():
    """A pixel at 100 m, 20 mm before 36 mm, 5472 pixels wide: 3.289473684210527 cm.

    Source: tests of the R package flightplanning 0.8.4 (ground sample distance; read).
    """
    view = float(np.degrees(2.0 * np.arctan(36.0 / 2.0 / 20.0)))
    case = Case(
        position=(0.0, -100.0, 0.8),
        aim=(0.0, 0.0, 0.8),
        view_deg=view,
        size=(5472, 3648),
        speed=20.0,
        angle=0.0,
        markers=((0.0, 0.0, 0.0), (10.0, 0.0, 0.0), (20.0, 0.0, 0.0)),
    )
    stand, shots = case.stand()
    seen = judge(stand, shots).view
    # The flight stays in the plane 100 m off, but for the little that wind and spin do.
    diameter_m = stand.conditions.ball.diameter_m
    assert seen.diameters_px == pytest.approx(diameter_m / 0.03289473684210527, rel=1e-3)
    speed_px = np.linalg.norm(seen.motion_px[0])
    assert speed_px == pytest.approx(20.0 / 0.03289473684210527, rel=0.01)
