"""Every Jacobian of the site's observations against central differences."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.camera import looking_at
from calibration.lens import Lens
from calibration.markers import Marker, Plumb
from calibration.site import Site
from calibration.site.observations import Observations, Posed, horizontal_view, moved


def _camera(portrait=False):
    size = (1080, 1920) if portrait else (1920, 1080)
    camera = looking_at((18.0, -36.0, 1.5), (21.0, 0.0, 3.0), 1450.0, size, roll_rad=0.03)
    return replace(
        camera,
        distortion=np.array([0.05, -0.02, 0.001, -0.0015, 0.004]),
        centre_px=camera.centre_px + np.array([7.0, -4.0]),
    )


@pytest.mark.parametrize("portrait", [False, True])
@pytest.mark.parametrize("with_lens", [False, True])
def test_jacobian_equals_central_differences(portrait, with_lens):
    rng = np.random.default_rng(8)
    camera = _camera(portrait)
    ground = np.array([[10.0, 0, 0], [20.0, 0, 0], [25.0, 3.0, 1.0]])
    pixels = camera.project(ground) + rng.normal(size=(3, 2))
    lens = Lens(
        1440.0, camera.centre_px, np.zeros(5), np.diag([0.01, 4, 4, 1, 1, 1, 1, 1]), camera.size_px
    )
    site = Site(
        camera.size_px,
        tuple(Marker(str(i), ground[i], pixel=pixels[i]) for i in range(3)),
        position_m=(18.1, -36.2, 1.4),
        field_of_view_deg=66.0,
        lens=lens if with_lens else None,
        level_u_deg=1.0,
        plumbs=(Plumb("goal post", pixels[1], pixels[1] + (9.0, -220.0)),),
    )
    observations = Observations(site)
    state = Posed(camera, ground + 0.05 * rng.normal(size=ground.shape))
    residuals, jacobian = observations.model(state)
    assert len(residuals) == len(observations.rows) == len(jacobian)
    steps = np.full(14 + 9, 1e-6)
    steps[7:9] = 1e-3
    for k, step in enumerate(steps):
        change = np.zeros(23)
        change[k] = step
        ahead, _ = observations.model(moved(state, change))
        behind, _ = observations.model(moved(state, -change))
        numeric = -(ahead - behind) / (2.0 * step)
        scale = max(1.0, np.abs(numeric).max())
        assert jacobian[:, k] == pytest.approx(numeric, abs=3e-6 * scale)


def test_field_of_view_of_a_plain_camera_is_what_its_focal_length_says():
    camera = looking_at((0.0, -10.0, 1.0), (0.0, 0.0, 1.0), 1500.0, (1920, 1080))
    view, _ = horizontal_view(camera)
    assert view == pytest.approx(2.0 * np.arctan(960.0 / 1500.0), rel=1e-12)


def test_a_plumb_line_of_the_truth_has_no_gap():
    from calibration.site.observations import plumb_gap

    camera = replace(_camera(), distortion=np.zeros(5))
    lower, upper = camera.project([[14.0, 2.0, 0.0], [14.0, 2.0, 2.4]])
    assert plumb_gap(camera, Plumb("pole", lower, upper))[0] == pytest.approx(0.0, abs=1e-9)
    aside = plumb_gap(camera, Plumb("pole", lower, upper + np.array([3.0, 0.0])))[0]
    assert abs(aside) == pytest.approx(3.0, abs=0.05)


@pytest.mark.parametrize(
    ("stated", "view_deg", "off"),
    [
        (None, 30.0, np.log(np.tan(np.radians(32.5)) / np.tan(np.radians(15.0))) / 0.8),
        (None, 90.0, np.log(np.tan(np.radians(32.5))) / 0.4),
        (50.0, 30.0, np.log(np.tan(np.radians(32.5)) / np.tan(np.radians(15.0))) / 3.0),
    ],
)
def test_a_long_lens_is_less_unusual_than_a_wide_one(stated, view_deg, off):
    """Phones have 15 to 110 degrees; a stated view takes the place of what is usual."""
    focal = 640.0 / np.tan(np.radians(view_deg) / 2.0)
    camera = looking_at((0.0, -20.0, 1.5), (0.0, 0.0, 1.5), focal, (1280, 720))
    observations = Observations(Site((1280, 720), (), field_of_view_deg=stated))
    at = observations.lens_at.start
    residuals, jacobian = observations.model(Posed(camera, observations.taped))
    unlikely = residuals[at] / observations.uncertainty[at]
    assert unlikely == pytest.approx(-off)
    assert jacobian[at, 6] / observations.uncertainty[at] == pytest.approx(
        off / np.log(focal / (640.0 / np.tan(np.radians(32.5))))
    )
