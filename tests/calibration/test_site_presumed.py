"""What is presumed of a camera for which too little was taped."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.camera import looking_at
from calibration.errors import InputErrors
from calibration.markers import Marker
from calibration.site import Site, solve
from calibration.site.presumed import AWAY_LOG_SD, USUAL_AWAY_M, Presumption, Sighted

SIZE_PX = (1920, 1080)
PLACES = [(0, 0, 0), (10, 0, 0), (20, 0, 0), (30, 0, 0), (0, 0, 2), (20, 0, 2), (20, 6, 0)]
PLACE = np.array([17.0, -33.0, 1.5])
TRUE = looking_at(PLACE, np.array([17.0, 0.0, 3.0]), 1300.0, SIZE_PX)


def markers(places, pixel_u=0.5):
    return tuple(
        Marker(str(at), np.array(at, float), 0.02, TRUE.project(np.array(at, float))[0], pixel_u)
        for at in places
    )


def sighted(side=-1, away_m=30.0):
    return Sighted(side, away_m, np.array([0.0, 0.0, 1.0]), np.array([400.0, 600.0]))


def test_with_everything_taped_it_agrees_with_the_calibration():
    # What is presumed is so wide that seven markers and a taped place leave nothing of it.
    site = Site(SIZE_PX, markers(PLACES), position_m=PLACE, position_u_m=0.1, level_u_deg=1.0)
    camera = solve(site).camera
    mean, covariance = Presumption(site, -1).around(camera)
    u = np.sqrt(np.diag(camera.covariance))
    assert np.all(np.abs(mean) < 0.2 * u)
    # The calibration alone allows for a lens that bends straight lines more than a phone's.
    bends = slice(9, 13)
    presumed_u = np.sqrt(np.diag(covariance))
    assert np.delete(presumed_u, bends) == pytest.approx(np.delete(u, bends), rel=0.1)
    assert np.all((presumed_u[bends] < u[bends]) & (u[bends] < 1.5 * presumed_u[bends]))


@pytest.mark.parametrize("side", [-1, 1])
def test_it_begins_where_gravity_and_the_release_put_it(side):
    camera = Presumption(Site(SIZE_PX, (), level_u_deg=1.0), side).start(sighted(side))
    assert camera.position[1] * side == pytest.approx(30.0, rel=0.1)
    release = camera.project(np.array([0.0, 0.0, 1.0]))[0]
    assert release == pytest.approx([400.0, 600.0], abs=10.0)
    onward = camera.project(np.array([5.0, 0.0, 1.0]))[0]
    assert (onward[0] - release[0]) * side < 0.0


def test_nothing_taped_leaves_the_distance_as_wide_as_it_is_presumed():
    presumption = Presumption(Site(SIZE_PX, ()), -1)
    camera = presumption.start(sighted(away_m=USUAL_AWAY_M))
    _, covariance = presumption.around(camera)
    away = abs(camera.position[1])
    assert np.sqrt(covariance[4, 4]) == pytest.approx(AWAY_LOG_SD * away, rel=0.02)


def test_a_distance_may_be_presumed_to_another_width():
    presumption = Presumption(Site(SIZE_PX, ()), -1, 8.0, 1.0)
    for each in (presumption, presumption.of(Site(SIZE_PX, (), level_u_deg=1.0))):
        camera = each.start(sighted(away_m=8.0))
        away = abs(camera.position[1])
        assert np.sqrt(each.around(camera)[1][4, 4]) == pytest.approx(away, rel=0.02)
        assert each._usual(camera)[0][0] == pytest.approx(np.log(8.0 / away))


def test_what_is_stated_narrows_what_is_presumed():
    loose = Site(SIZE_PX, ())
    camera = Presumption(loose, -1).start(sighted())

    def u(site):
        return np.sqrt(np.diag(Presumption(site, -1).around(camera)[1]))

    before = u(loose)
    level = u(replace(loose, level_u_deg=1.0))
    assert before[2] == pytest.approx(np.radians(3.0), rel=0.1)
    # The camera looks down a little, so a part of its heading is a turn about its own axis.
    assert level[2] == pytest.approx(np.radians(1.0 / np.sqrt(1.0 + 1.0 / 9.0)), rel=0.1)
    assert u(replace(loose, field_of_view_deg=69.0))[6] < 0.1 * before[6]
    seen = Site(SIZE_PX, markers(PLACES[:2]))
    near = Presumption(seen, -1)
    with_two = np.sqrt(np.diag(near.around(near.start(sighted()))[1]))
    # Two markers tie distance to focal length, which nobody stated.
    assert with_two[4] < 0.8 * before[4]


@pytest.mark.parametrize(
    ("stated", "heading_deg"),
    [({}, 25.0), ({"position_m": PLACE, "position_u_m": 0.1}, 12.0), ({"markers": True}, 12.0)],
)
def test_a_camera_is_square_to_a_taped_line_rather_than_to_a_flight(stated, heading_deg):
    if stated.pop("markers", False):
        stated["markers"] = markers(PLACES[:1], pixel_u=1e6)
    presumption = Presumption(replace(Site(SIZE_PX, ()), **stated), -1)
    camera = looking_at(PLACE, PLACE + np.array([0.0, 33.0, 0.0]), 1300.0, SIZE_PX)
    turned = camera.perturbed(np.append([0.0, np.radians(heading_deg), 0.0], np.zeros(11)))
    off = presumption._usual(turned)[0] - presumption._usual(camera)[0]
    assert abs(off[3]) == pytest.approx(1.0, rel=1e-6)


def test_values_that_cannot_be_are_reported():
    with pytest.raises(InputErrors, match="field_of_view_deg"):
        Presumption(Site(SIZE_PX, (), field_of_view_deg=400.0), 1)


@pytest.mark.parametrize("side", [-1, 1])
def test_slopes_of_what_is_usual_are_those_of_differences(side):
    place = PLACE * np.array([1.0, -side, 1.0])
    camera = looking_at(place, (14.0, 0.5, 4.0), 1300.0, SIZE_PX, roll_rad=0.04)
    presumption = Presumption(Site(SIZE_PX, markers(PLACES[:3])), side)
    _, slope = presumption._usual(camera)
    for at, step in enumerate(1e-6 * np.eye(14)):
        change = presumption._usual(camera.perturbed(step))[0]
        change = change - presumption._usual(camera.perturbed(-step))[0]
        assert -change / 2e-6 == pytest.approx(slope[:, at], abs=1e-7)


def test_a_camera_beyond_the_line_keeps_a_least_distance():
    presumption = Presumption(Site(SIZE_PX, ()), 1)
    beyond = looking_at((3.0, -5.0, 1.5), (3.0, 9.0, 1.5), 1300.0, SIZE_PX)
    gap, slope = presumption._usual(beyond)
    assert gap[0] == pytest.approx(np.log(USUAL_AWAY_M / 0.1) / AWAY_LOG_SD)
    assert not np.any(slope[[0, 2], 4])


def test_what_a_move_of_the_markers_explains_is_no_residual():
    """One marker taped to 5 m and picked 30 px aside hardly moves a camera."""
    loose = replace(markers(PLACES[1:2])[0], u_m=5.0)
    aside = replace(loose, pixel=loose.pixel + np.array([30.0, 0.0]))
    gaps = [Presumption(Site(SIZE_PX, (each,)), -1).rows(TRUE)[0] for each in (loose, aside)]
    assert gaps[1] @ gaps[1] - gaps[0] @ gaps[0] < 0.1


def test_only_the_lens_of_a_presumed_camera_may_be_corrected_by_its_background():
    presumption = Presumption(Site(SIZE_PX, ()), -1)
    camera = presumption.start(sighted())
    found = presumption.with_lens_covariance(camera)
    assert not np.any(found.covariance[:6]) and not np.any(found.covariance[:, :6])
    whole = presumption.around(camera)[1]
    np.testing.assert_array_equal(found.covariance[6:, 6:], whole[6:, 6:])
    assert np.sqrt(found.covariance[6, 6]) > 0.3
