"""What a calibration will give, predicted before anybody has picked a pixel."""

import numpy as np
import pytest

from calibration.camera import looking_at
from calibration.errors import InputError
from calibration.markers import Marker
from calibration.site import Site, camera_at, forecast_camera, markers_in_view, outlook, solve

SIZE = (1920, 1080)
PLACE, AIM = np.array([18.0, -34.0, 1.7]), np.array([18.0, 0.0, 3.0])
LINE = tuple(
    Marker(f"{at:g} m cone", np.array([at, 0.0, 0.0]), 0.02, None, 0.7)
    for at in (0.0, 10.0, 20.0, 30.0)
)
POLE = Marker("top of the pole", np.array([20.0, 0.0, 2.0]), 0.02, None, 0.7)
TAPED = {"position_m": np.zeros(3), "position_u_m": 0.1, "level_u_deg": 1.0}


def test_the_covariance_is_that_of_the_calibration_itself():
    site = Site(SIZE, (*LINE, POLE), field_of_view_deg=70.0, **TAPED)
    camera = camera_at(site, PLACE, AIM)
    predicted, parts = forecast_camera(site, camera)
    picked = Site(
        SIZE,
        markers_in_view(site, camera),
        field_of_view_deg=70.0,
        **{**TAPED, "position_m": PLACE},
    )
    solved = solve(picked)
    assert predicted.position == pytest.approx(solved.camera.position, abs=1e-3)
    ours, theirs = (np.sqrt(np.diag(one.covariance)) for one in (predicted, solved.camera))
    assert ours == pytest.approx(theirs, rel=1e-3)
    assert sum(parts.values()) == pytest.approx(predicted.covariance, rel=1e-6, abs=1e-15)
    assert set(parts) == set(solved.camera_parts)


def test_the_camera_sees_as_wide_as_was_said():
    for width, height in (SIZE, (1080, 1920)):
        site = Site((width, height), LINE, field_of_view_deg=55.0)
        figures = {one.name: one.value for one in outlook(camera_at(site, PLACE, AIM))}
        assert figures["field of view"] == pytest.approx(55.0)
        assert figures["roll"] == pytest.approx(0.0, abs=1e-9)
        assert figures["across"] == pytest.approx(PLACE[1])


def test_only_markers_in_view_count():
    far = Marker("far cone", np.array([90.0, 0.0, 0.0]))
    behind = Marker("behind", np.array([18.0, -60.0, 0.0]))
    site = Site(SIZE, (*LINE, far, behind), field_of_view_deg=70.0, **TAPED)
    camera = camera_at(site, PLACE, AIM)
    assert [marker.name for marker in markers_in_view(site, camera)] == [one.name for one in LINE]
    fewer, _ = forecast_camera(Site(SIZE, LINE, field_of_view_deg=70.0, **TAPED), camera)
    assert forecast_camera(site, camera)[0].covariance == pytest.approx(fewer.covariance)


def test_a_marker_at_the_very_edge_is_not_counted_on():
    camera = looking_at(PLACE, (1.0, 0.0, 3.0), 1400.0, SIZE)
    nearest = 0.01 * SIZE[0]
    for inward, counted in ((nearest - 1.0, False), (nearest + 1.0, True)):
        place = camera.on_plane([[1919.0 - inward, 540.0]], (0, 0, 0), (0, 1, 0))[0]
        seen = markers_in_view(Site(SIZE, (Marker("at the edge", place),)), camera)
        assert bool(seen) == counted


@pytest.mark.parametrize(
    ("markers", "known", "words"),
    [
        (LINE[:1], TAPED, "1 of the 1 markers, and 2 are needed"),
        ((), TAPED, "0 of the 0 markers"),
        (LINE[:2], {}, "and 3 are needed where its position is not taped"),
        (LINE, {}, "along one line"),
    ],
)
def test_what_would_not_fix_a_camera_is_said(markers, known, words):
    site = Site(SIZE, markers, **known)
    with pytest.raises(InputError) as caught:
        forecast_camera(site, looking_at(PLACE, AIM, 1400.0, SIZE))
    assert words in str(caught.value)
