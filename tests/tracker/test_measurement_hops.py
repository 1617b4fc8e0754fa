"""What a ball did after its bounce, the first of a run of positions, and where a path begins."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from calibration.site import Site
from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import (
    SIZE_PX,
    calibrated,
    calibration_site,
    circumstances,
    request,
)
from tests.tracker.invented_shot import invented
from tests.tracker.test_measurement_rules import fitted_shot
from tracker.measurement.flight import first_of_run
from tracker.measurement.passes import NO_OBSERVERS, Timing
from tracker.measurement.scouting import Scouted
from tracker.measurement.sighting import AGREE_PX, AGREE_U, agreeing
from tracker.measurement.starts import presumed_camera
from tracker.measurement.starts.merging import (
    HOP_AHEAD,
    HOP_KEEPS,
    HOP_M,
    MIDWAY_M,
    MIDWAY_SHARE,
    OVERLAP_S,
    REBOUND,
    hop_in_picture,
    hop_of,
    midway_of,
)
from tracker.measurement.starts.scale_reasons import EDGE_SHARE, end_reasons
from tracker.records import Quality, ReasonCode, Track


def shot(start, velocity, begin_s, lasts_s=1.0, quality=Quality.CHECK):
    """A path in a vacuum; its last step shows another velocity than its first."""
    since = np.linspace(0.0, lasts_s, 200)[:, None]
    fall = np.array([0.0, 0.0, -9.81])
    points = np.array(start) + since * np.array(velocity) + 0.5 * fall * since**2
    path = SimpleNamespace(points_m=points, times_s=begin_s + since[:, 0])
    return SimpleNamespace(path=path, shot=SimpleNamespace(quality=quality, flight_time_s=lasts_s))


# Up at 4 m/s and 8 aslant: it comes down at 5.81 m/s after a second, 8 m along.
FIRST = shot((0.0, 0.0, 0.9), (6.4, 4.8, 4.0), 1.0)
END = FIRST.path.points_m[-1]


def hop(keeps=0.6, rise=3.0, lapse=0.05, off=(0.0, 0.0), turn_deg=0.0, **more):
    way = np.arctan2(4.8, 6.4) + np.radians(turn_deg)
    level = 8.0 * keeps * np.array([np.cos(way), np.sin(way)])
    start = (END[0] + off[0], END[1] + off[1], 0.0)
    return shot(start, (*level, rise), 2.0 + lapse, 0.5, **more)


def test_a_hop_goes_on_where_its_flight_came_down() -> None:
    assert hop_of(hop(), [FIRST]) is FIRST
    assert hop_of(FIRST, [FIRST, hop()]) is None


def test_what_cannot_be_a_hops_flight_hides_none_that_is() -> None:
    pathless = SimpleNamespace(path=None, shot=FIRST.shot)
    long_ago = shot((0.0, 0.0, 0.9), (6.4, 4.8, 4.0), -30.0)
    second = hop()
    assert hop_of(second, [second, pathless, long_ago, FIRST]) is FIRST
    after = rebound()
    assert hop_in_picture(after, [after, pathless, FILMED]) is FILMED


@pytest.mark.parametrize(
    ("off", "belongs"),
    # 8 m/s over the time between: 0.4 m, where along alone would be 0.32 m.
    [((0.0, HOP_M + 0.37), True), ((0.0, HOP_M + 0.43), False), ((-HOP_M - 0.43, 0.0), False)],
)
def test_a_hop_begins_no_farther_off_than_the_ball_went_since(off, belongs) -> None:
    assert (hop_of(hop(off=off), [FIRST]) is FIRST) is belongs


@pytest.mark.parametrize(
    ("change", "belongs"),
    [
        # It comes down at 5.81 m/s and rises by less, though it rose by 4 m/s at its release.
        ({"rise": 0.97 * HOP_KEEPS * 5.78}, True),
        ({"rise": 1.04 * HOP_KEEPS * 5.81}, False),
        ({"keeps": 0.98 * HOP_KEEPS}, True),
        ({"keeps": 1.02 * HOP_KEEPS}, False),
        ({"turn_deg": float(np.degrees(np.arccos(HOP_AHEAD))) - 2.0}, True),
        ({"turn_deg": float(np.degrees(np.arccos(HOP_AHEAD))) + 2.0}, False),
        ({"quality": Quality.GOOD}, False),
        ({"lapse": 30.0}, False),
    ],
)
def test_a_hop_keeps_less_of_every_speed_and_goes_ahead(change, belongs) -> None:
    assert (hop_of(hop(**change), [FIRST]) is FIRST) is belongs


PER_METRE, SCALED = 40.0, 1.3
"""Pixels a metre where the first comes down, and by how much the other's own scale is off."""


def pictured(one, origin_m=(0.0, 0.0, 0.0), scale=1.0):
    """The same shot with its path in the picture; its own metres are off by scale and origin."""
    path = one.path
    pixels = np.column_stack(
        [900.0 - PER_METRE * path.points_m[:, 0], 500.0 - PER_METRE * path.points_m[:, 2]]
    )
    own = scale * (path.points_m - np.array(origin_m))
    path = SimpleNamespace(points_m=own, times_s=path.times_s, pixels=pixels)
    return SimpleNamespace(path=path, shot=one.shot)


# It comes down at 6.4 m/s along the picture, to its left, and 5.81 m/s downwards.
ACROSS = shot((0.0, 0.0, 0.9), (6.4, 0.0, 4.0), 1.0)
LAND_S, LAND_M, DOWN_MPS = 2.0, 6.4, 9.81 * 0.9975 - 4.0
FILMED = pictured(ACROSS)


def rebound(rise=0.7 * DOWN_MPS, ahead=4.0, lapse=0.02, off_m=0.0, **more):
    """What the ball does next, before a camera presumed for it alone."""
    start = (LAND_M + off_m, 0.0, 0.0)
    hopping = shot(start, (ahead, 0.0, rise), LAND_S + lapse, 0.5, **more)
    return pictured(hopping, origin_m=start, scale=SCALED)


@pytest.mark.parametrize(
    ("change", "belongs"),
    [
        ({}, True),
        ({"rise": 0.98 * REBOUND * DOWN_MPS}, True),
        ({"rise": 1.02 * REBOUND * DOWN_MPS}, False),
        ({"ahead": 0.97 * HOP_KEEPS * 6.4}, True),
        ({"ahead": 1.03 * HOP_KEEPS * 6.4}, False),
        ({"ahead": -0.5}, False),
        ({"lapse": 0.9 * OVERLAP_S}, True),
        ({"lapse": 1.1 * OVERLAP_S}, False),
        ({"lapse": -0.9 * OVERLAP_S}, True),
        ({"lapse": -1.1 * OVERLAP_S}, False),
        # A release at the first one's end, at the scale of which a metre is 40 px.
        ({"off_m": 0.95 * HOP_M}, True),
        ({"off_m": 1.05 * HOP_M}, False),
        ({"quality": Quality.GOOD}, False),
    ],
)
def test_a_hop_is_known_in_the_picture_where_each_shot_has_its_own_scale(change, belongs) -> None:
    second = rebound(**change)
    assert (hop_in_picture(second, [FILMED, second]) is FILMED) is belongs
    assert hop_in_picture(FILMED, [FILMED, second]) is None


def test_before_a_presumed_camera_hops_are_rejected_candidates(monkeypatch) -> None:
    path = invented()[0].path
    first, second = (
        fitted_shot(path=replace(path, **vars(each.path)), quality=Quality.CHECK)
        for each in (FILMED, rebound())
    )
    times = np.arange(100) / 30.0
    scouted = Scouted((), (), (), 1.0 / 30.0, Timing(times, times), "", (), (), ())
    monkeypatch.setattr(presumed_camera, "scout", lambda *_: scouted)
    monkeypatch.setattr(presumed_camera, "measure_throws", lambda *_: [first, second])
    facts = clip_context(circumstances(calibrated())).facts
    object.__setattr__(facts, "file_times_s", times)
    object.__setattr__(facts, "capture_fps", None)
    start = presumed_camera.PresumedCameraStart(Site(SIZE_PX, ()), height_known=False)
    found = start.find(facts, request("tennis"), NO_OBSERVERS)
    assert [each.path for each in found.shots] == [first.path]
    assert [each.reasons[0].code for each in found.rejected] == [ReasonCode.HOP]


@pytest.mark.parametrize(("height_known", "paths"), [(True, ["lasting"]), (False, ["all"])])
def test_paths_beside_a_release_in_the_frame_are_no_birds(monkeypatch, height_known, paths) -> None:
    """Two markers and a height give it its place; then only what lasts speaks for a bird."""
    times = np.arange(100) / 30.0
    scouted = Scouted((), (), (), 1.0 / 30.0, Timing(times, times), "", (), (), ())
    judged = []
    monkeypatch.setattr(presumed_camera, "scout", lambda *_: scouted)
    monkeypatch.setattr(presumed_camera, "by_size", lambda *_: ((), {}))
    monkeypatch.setattr(presumed_camera, "throws_of", lambda *_: ())
    monkeypatch.setattr(presumed_camera, "other_paths", lambda *_: [])
    monkeypatch.setattr(presumed_camera, "why_no_throw", lambda *_: ())
    monkeypatch.setattr(
        presumed_camera, "lasting", lambda scouted: SimpleNamespace(arcs=("lasting",))
    )

    def judge(throws, measurement, context, scouted, observers):
        judged.extend(scouted.arcs or ["all"])
        return []

    monkeypatch.setattr(presumed_camera, "measure_throws", judge)
    facts = clip_context(circumstances(calibrated())).facts
    object.__setattr__(facts, "file_times_s", times)
    object.__setattr__(facts, "capture_fps", None)
    site = replace(calibration_site(), position_m=None)
    presumed_camera.PresumedCameraStart(site, height_known).find(
        facts, request("tennis"), NO_OBSERVERS
    )
    assert judged == paths


@pytest.mark.parametrize(
    ("used", "first"),
    [
        ([1, 1, 1, 1, 1, 1], 0),
        ([1, 0, 0, 1, 1, 0, 1, 1], 3),
        ([1, 0, 1, 1, 0, 0], 0),
        ([0, 1, 1, 0, 0, 0, 1, 0], 0),
    ],
)
def test_a_run_begins_where_two_of_the_next_three_are_used(used, first) -> None:
    times = 10.0 + np.arange(len(used))
    assert first_of_run(times, np.array(used, bool)) == times[first]


def track(pixels, u_px=0.2):
    count = len(pixels)
    return Track(
        frames=np.arange(count),
        times_s=np.arange(count) / 60.0,
        pixels=np.array(pixels, float),
        covariances=np.repeat(u_px**2 * np.eye(2)[None], count, axis=0),
        lean=np.zeros(count),
    )


def test_positions_agree_within_what_they_and_the_course_are_known_to() -> None:
    still = np.tile([100.0, 50.0], (3, 1))
    reach = AGREE_U * float(np.hypot(0.2, AGREE_PX))
    found = track(still + np.array([[0.0, 0.0], [0.95 * reach, 0.0], [0.0, 1.05 * reach]]))
    frames = [SimpleNamespace(frame=frame) for frame in range(3)]
    course = SimpleNamespace(pixels=still)
    assert agreeing(found, frames, course).tolist() == [True, True, False]


@pytest.mark.parametrize(
    ("pixels", "at_edge"),
    [
        # Steps of 20 and 60 px: the larger of the first two is what it may have come since.
        ([[60.0, 300.0], [80.0, 300.0], [140.0, 300.0]], True),
        ([[60.0, 300.0], [80.0, 300.0], [100.0, 300.0], [400.0, 300.0]], False),
        ([[300.0, 300.0], [295.0, 300.0], [20.0, 300.0]], False),
        ([[600.0, 300.0], [610.0, 300.0], [620.0, 300.0]], False),
    ],
)
def test_a_path_that_begins_at_the_edge_may_have_begun_outside(pixels, at_edge) -> None:
    size = (1000, 600)
    assert EDGE_SHARE * size[0] == pytest.approx(12.0)
    codes = [reason.code for reason in end_reasons(track(pixels), size)]
    assert (ReasonCode.BEGINS_AT_EDGE in codes) is at_edge


def onward(off_m=0.0, faster=1.0, begin_s=1.4, origin_m=(0.1, 0.0, 0.0), **more):
    """The first one's ball, found again from some time on, before a camera of its own."""
    since = begin_s - 1.0
    place = (6.4 * since, 0.0, 0.9 + off_m + 4.0 * since - 0.5 * 9.81 * since**2)
    velocity = (6.4 * faster, 0.0, (4.0 - 9.81 * since) * faster)
    return pictured(shot(place, velocity, begin_s, 0.3, **more), origin_m=origin_m, scale=SCALED)


@pytest.mark.parametrize(
    ("change", "belongs"),
    [
        ({}, True),
        ({"off_m": 0.95 * MIDWAY_M}, True),
        ({"off_m": -1.05 * MIDWAY_M}, False),
        ({"faster": 1.0 + 0.95 * MIDWAY_SHARE}, True),
        ({"faster": 1.0 - 1.05 * MIDWAY_SHARE}, False),
        ({"begin_s": 1.97}, True),
        ({"begin_s": 2.03}, False),
        ({"quality": Quality.GOOD}, False),
    ],
)
def test_what_starts_on_another_flights_way_is_its_ball_again(change, belongs) -> None:
    second = onward(**change)
    pathless = SimpleNamespace(path=None, shot=FIRST.shot)
    assert (midway_of(second, [second, pathless, FILMED]) is FILMED) is belongs
    assert midway_of(FILMED, [FILMED, second]) is None
    assert midway_of(pathless, [FILMED]) is None
