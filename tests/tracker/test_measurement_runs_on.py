"""A bird flies level, folds its wings and falls; a ball is released, and bounces."""

import numpy as np
import pytest

from tracker.following.arcs import Arc, fit_arc
from tracker.measurement.passes import Timing
from tracker.measurement.scouting import Scouted
from tracker.measurement.starts.runs_on import LONGEST_GAP_S, _keeps_pace, lasting, runs_on
from tracker.records import Reason, ReasonCode

FRAME_S, WIDTH = 1.0 / 60.0, 1280
TIMES_S = np.arange(120) * FRAME_S
SPEED = np.array([270.0, -9.0])
"""Of a drawn bird, px/s; its fall was 240 px/s²."""


def path(begin_s: float, end_s: float, place, velocity, fall: float) -> Arc:
    """A path from a place with a velocity, and a downward acceleration."""
    times = np.arange(begin_s, end_s, FRAME_S)
    since = times - begin_s
    pixels = np.array(place) + np.outer(since, velocity)
    pixels[:, 1] += 0.5 * fall * since**2
    pixels += np.random.default_rng(2).normal(0.0, 0.3, pixels.shape)
    frames = np.rint(times / FRAME_S)
    return fit_arc(np.column_stack([frames, times, pixels]), FRAME_S)


FALL = path(0.8, 2.0, (900.0, 170.0), SPEED, 240.0)
LEVEL = path(0.0, 0.79, np.array([900.0, 170.0]) - 0.8 * SPEED, SPEED, 0.0)
END = FALL.at(np.array([1.99, 2.01]))
ONWARD = (END[1] - END[0]) / 0.02


def test_what_flew_level_before_it_fell_was_not_released() -> None:
    assert runs_on(FALL, [FALL, LEVEL], WIDTH)
    assert not runs_on(FALL, [FALL], WIDTH)


def test_what_flies_on_level_after_its_fall_did_not_land() -> None:
    assert runs_on(FALL, [path(2.02, 2.6, END[1], ONWARD, 0.0)], WIDTH)


@pytest.mark.parametrize(
    "other",
    [
        path(0.0, 0.79, np.array([900.0, 170.0]) - 0.8 * SPEED, SPEED, 200.0),
        path(0.0, 0.79, np.array([840.0, 170.0]) - 0.8 * SPEED, SPEED, 0.0),
        path(0.0, 0.79, np.array([900.0, 170.0]) - 0.8 * 0.6 * SPEED, 0.6 * SPEED, 0.0),
        path(0.0, 0.8 - 1.3 * LONGEST_GAP_S, (900.0 - 216.0, 177.0), SPEED, 0.0),
        path(0.70, 0.79, np.array([900.0, 170.0]) - 0.1 * SPEED, SPEED, 0.0),
        path(2.02, 2.6, END[1], ONWARD * np.array([0.6, -0.5]), 0.0),
    ],
    ids=["same fall", "elsewhere", "a slower hand", "long before", "too short", "a bounce"],
)
def test_other_paths_leave_a_throw_what_it_is(other: Arc) -> None:
    assert not runs_on(FALL, [FALL, other], WIDTH)


@pytest.mark.parametrize(("begin_s", "says"), [(0.0, True), (0.45, False)])
def test_a_wing_beat_changes_the_speed_up_and_down_but_not_across(begin_s, says) -> None:
    """A hand that throws moves for a shorter time than a bird that flew there."""
    lead = np.array([1.0, 0.0]) * SPEED
    place = np.array([900.0, 170.0]) - (0.8 - begin_s) * lead
    released = path(0.8, 2.0, (900.0, 170.0), SPEED - np.array([0.0, 120.0]), 240.0)
    assert runs_on(released, [path(begin_s, 0.79, place, lead, 0.0)], WIDTH) is says


@pytest.mark.parametrize(
    ("end_s", "across", "downward", "says"),
    [
        (2.55, 1.0, 0.0, True),
        (2.55, 0.92, 0.0, True),
        (2.55, 0.85, 0.0, False),
        (2.45, 1.0, 0.0, False),
        (2.55, 1.0, 1000.0, False),
    ],
    ids=["wings spread", "a little slower", "rolls on the grass", "too short", "a steep fall"],
)
def test_what_pulls_out_of_its_fall_at_the_same_pace_did_not_land(
    end_s, across, downward, says
) -> None:
    """A ball that lands loses speed by friction, or bounces and falls again."""
    steep = path(0.8, 2.0, (900.0, 170.0), SPEED + np.array([0.0, downward]), 240.0)
    end = steep.at(np.array([2.01]))[0]
    level = path(2.02, end_s, end, np.array([across * SPEED[0], 0.0]), 0.0)
    assert runs_on(steep, [steep, level], WIDTH) is says


@pytest.mark.parametrize(
    ("before", "after", "keeps"),
    [
        # A tenth of the greater speed across, whichever way it goes and whatever its speed down.
        ((100.0, 0.0), (90.1, 300.0), True),
        ((100.0, 0.0), (89.9, 0.0), False),
        ((-90.1, 40.0), (-100.0, 0.0), True),
        ((-89.9, 40.0), (-100.0, 0.0), False),
        ((100.0, 0.0), (-100.0, 0.0), False),
        # Half of the whole speed at the least: 200 px/s here.
        ((99.0, 173.8), (101.0, 0.0), True),
        ((99.0, 173.8), (99.9, 0.0), False),
    ],
)
def test_a_pace_is_kept_across_the_frame_by_what_moves_mostly_across(before, after, keeps) -> None:
    assert _keeps_pace(np.array(before), np.array(after)) is keeps


@pytest.mark.parametrize(("push", "says"), [(0.0, True), (0.3, True), (0.9, False)])
def test_a_hand_that_gains_speed_into_the_fall_is_no_bird(push: float, says: bool) -> None:
    """It moves for 0.3 s on the ball's way; the gain is in accelerations of the fall."""
    gain, since = push * 240.0, np.arange(-0.30, -0.01, FRAME_S)
    pixels = np.array([900.0, 170.0]) + np.outer(since, SPEED)
    pixels[:, 0] += 0.5 * gain * since**2
    pixels += np.random.default_rng(3).normal(0.0, 0.1, pixels.shape)
    times = 0.8 + since
    hand = fit_arc(np.column_stack([np.rint(times / FRAME_S), times, pixels]), FRAME_S)
    assert runs_on(FALL, [FALL, hand], WIDTH) is says


@pytest.mark.parametrize(
    ("brake", "climbs", "says"),
    [(0.2, 0.0, True), (0.4, 0.0, True), (0.75, 0.0, False), (0.75, 20.0, True)],
)
def test_the_shadow_of_a_ball_that_hops_is_no_bird(brake, climbs, says) -> None:
    """It slows as the ball's climb does, and lies on the ground; a bird that slows so climbs."""
    end = FALL.at(np.array([2.01]))[0]
    since = np.arange(0.01, 0.68, FRAME_S)
    pixels = end + np.outer(since, (SPEED[0], -climbs))
    pixels[:, 0] -= 0.5 * brake * 240.0 * since**2
    pixels[:, 1] += np.linspace(0.0, 4.0, len(since))
    pixels += np.random.default_rng(3).normal(0.0, 0.1, pixels.shape)
    times = 2.0 + since
    level = fit_arc(np.column_stack([np.rint(times / FRAME_S), times, pixels]), FRAME_S)
    assert runs_on(FALL, [FALL, level], WIDTH) is says
    # The same way taken leftward.
    mirror = np.array([-1.0, 1.0])
    fall = fit_arc(np.column_stack([FALL.frames, FALL.times_s, FALL.pixels * mirror]), FRAME_S)
    rows = np.column_stack([np.rint(times / FRAME_S), times, pixels * mirror])
    assert runs_on(fall, [fall, fit_arc(rows, FRAME_S)], WIDTH) is says


def test_a_path_shorter_than_half_a_second_may_be_the_launchers_own() -> None:
    short, long = path(0.3, 0.79, (0.0, 0.0), SPEED, 0.0), path(0.25, 0.79, (0.0, 0.0), SPEED, 0.0)
    kept = lasting(
        Scouted((short, long), (), (), FRAME_S, Timing(TIMES_S, TIMES_S), "", (), (), ())
    )
    assert kept.arcs == (long,) and kept.frame_s == FRAME_S


@pytest.mark.parametrize(
    ("code", "followed"),
    [(ReasonCode.CAMERA_LOST, True), (ReasonCode.FRAME_TIMES, False), (None, False)],
)
def test_a_camera_that_is_not_followed_doubts_a_shot_from_a_known_release(code, followed) -> None:
    """Where no row would say so, or the release has no place, it refuses."""
    doubts = () if code is None else (Reason(code),)
    lost_s = tuple(TIMES_S[30:110])
    scouted = Scouted((), (), (), FRAME_S, Timing(TIMES_S, TIMES_S), "", doubts, (), lost_s)
    assert not scouted.follows_camera(0.5, 1.5)
    assert bool(lasting(scouted).follows_camera(0.5, 1.5)) == followed
