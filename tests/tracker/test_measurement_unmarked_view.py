"""The field of view that the background of a swaying camera shows, in place of the usual one."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.camera import Camera, looking_at
from calibration.site import Site
from tracker.measurement.starts.presumed_camera import viewed_by

SIZE_PX = (1600, 900)
SITE = Site(SIZE_PX, ())


class Measured:
    """A lens that somebody measured."""

    def scaled_to(self, size_px: tuple[int, int]) -> "Measured":
        return self


def camera(focal_px: float, log_u: float) -> Camera:
    covariance = np.zeros((14, 14))
    covariance[6, 6] = log_u**2
    place, aim = (17.0, -30.0, 1.5), (17.0, 0.0, 5.0)
    return looking_at(place, aim, focal_px, SIZE_PX).with_covariance(covariance)


@pytest.mark.parametrize(("log_u", "expected"), [(0.04, 0.05), (0.0, 0.03)])
def test_a_view_is_taken_as_well_as_the_background_shows_it(log_u: float, expected: float) -> None:
    """Half of the frame over the focal length is the tangent of half of it."""
    site, (said,) = viewed_by(SITE, camera(1260.0, 0.4), camera(1000.0, log_u))
    assert site.field_of_view_deg == pytest.approx(2.0 * np.degrees(np.arctan(0.8)))
    # Its derivative by the focal length's logarithm is -2 t / (1 + t²).
    u_deg = np.degrees(2.0 * 0.8 / (1.0 + 0.8**2)) * expected
    assert site.field_of_view_u_deg == pytest.approx(u_deg, rel=1e-3)
    assert f"{site.field_of_view_deg:.0f} ± {u_deg:.0f}°" in said


def test_nothing_is_taken_where_the_lens_is_stated_or_the_background_shows_little() -> None:
    presumed, shown = camera(1260.0, 0.4), camera(1000.0, 0.04)
    assert viewed_by(SITE, presumed, None) == (SITE, [])
    assert viewed_by(SITE, presumed, camera(1000.0, 0.21)) == (SITE, [])
    assert viewed_by(SITE, presumed, camera(1000.0, 0.19))[1]
    stated = replace(SITE, field_of_view_deg=70.0, field_of_view_u_deg=2.0)
    assert viewed_by(stated, presumed, shown) == (stated, [])
    known = replace(SITE, lens=Measured())
    assert viewed_by(known, presumed, shown) == (known, [])
