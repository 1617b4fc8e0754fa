"""Which arcs may be throws: each condition decides by itself."""

from dataclasses import replace

import numpy as np
import pytest

from tracker.following.arcs import fit_arc
from tracker.following.linking import NearBall
from tracker.following.throws import (
    falls_briefly,
    falls_near,
    is_fall,
    is_near_throw,
    is_slow_fall,
    is_throw,
)

WIDTH, FRAME_S = 1920, 1.0 / 60.0
FALL = 400.0


def arc(onward=0.0, fall=FALL, seconds=0.8, speed=700.0, noise=0.3, step=1, bulge=0.0, seed=1):
    """A path of constant acceleration along and down, in every frame or each `step`-th."""
    rng = np.random.default_rng(seed)
    frames = np.arange(0, int(seconds / FRAME_S) + 1, step)
    since = frames * FRAME_S - seconds / 2.0
    column = 900.0 + speed * since + 0.5 * onward * since**2
    # A quartic term: the acceleration towards both ends less that in the middle.
    quartic = bulge * fall / 12.0 / (0.35 * seconds) ** 2
    row = 500.0 + 0.5 * fall * since**2 + 0.5 * quartic * since**4
    pixels = np.column_stack([column, row]) + rng.normal(0.0, noise, (len(frames), 2))
    return fit_arc(np.column_stack([frames, frames * FRAME_S, pixels]), FRAME_S)


def test_curve_of_an_arc_has_the_motion_it_was_drawn_with():
    found = arc(onward=-60.0)
    assert found.velocity_pxps == pytest.approx([700.0, 0.0], abs=12.0)
    assert found.acceleration_pxps2 == pytest.approx([-60.0, FALL], abs=20.0)
    assert found.duration_s == pytest.approx(0.8) and found.seen_share == 1.0
    assert found.scatter_px == pytest.approx(0.3 * np.sqrt(2.0), rel=0.35)


def test_stated_uncertainty_of_the_acceleration_is_its_scatter():
    every = [arc(seed=seed, noise=0.6) for seed in range(60)]
    off = np.array([each.acceleration_pxps2 - (0.0, FALL) for each in every]).ravel()
    stated = np.mean([each.acceleration_u_pxps2 for each in every])
    assert np.sqrt(np.mean(off**2)) == pytest.approx(stated, rel=0.25)


@pytest.mark.parametrize("direction", [1.0, -1.0])
def test_air_slows_a_throw_down_and_never_speeds_it_up(direction):
    # Level acceleration in the direction of motion: a bird may, a ball does not.
    speed = direction * 700.0
    assert is_fall(arc(onward=-0.6 * direction * FALL, speed=speed), FRAME_S)
    assert is_fall(arc(onward=0.2 * direction * FALL, speed=speed), FRAME_S)
    assert not is_fall(arc(onward=0.6 * direction * FALL, speed=speed), FRAME_S)


def test_what_falls_hardest_in_the_middle_of_its_path_is_no_fall():
    assert is_fall(arc(bulge=0.3), FRAME_S)
    assert is_fall(arc(bulge=-0.1), FRAME_S)
    assert not is_fall(arc(bulge=-0.9), FRAME_S)


@pytest.mark.parametrize(
    ("wrong", "right"),
    [
        ({"seconds": 0.2}, {"seconds": 0.4}),
        ({"step": 3}, {"step": 2}),
        ({"fall": -FALL}, {"fall": FALL}),
        ({"noise": 5.0}, {"noise": 1.0}),
    ],
    ids=["short", "often missing", "rises", "ragged"],
)
def test_a_fall_is_long_seen_downward_and_smooth(wrong, right):
    assert is_fall(arc(**right), FRAME_S)
    assert not is_fall(arc(**wrong), FRAME_S)


def test_gravity_in_the_picture_has_bounds_for_a_throw():
    # Frame widths per s²: 0.04 from 150 m away, 2 from 4 m.
    for share, seconds, may in (
        (0.035, 2.0, False),
        (0.045, 2.0, True),
        (1.9, 0.8, True),
        (2.1, 0.8, False),
    ):
        found = arc(fall=share * WIDTH, seconds=seconds, speed=1700.0, noise=0.05)
        assert is_fall(found, FRAME_S)
        assert is_throw(found, WIDTH, FRAME_S) == may, share


def test_the_slowest_throw_is_faster_than_what_drops():
    # 3.5 m/s, which is 0.35 s of gravity.
    assert is_throw(arc(speed=0.5 * FALL), WIDTH, FRAME_S)
    assert not is_throw(arc(speed=0.0, seconds=0.4), WIDTH, FRAME_S)


def test_slow_motion_is_a_long_path_that_hardly_bends():
    slow = {"fall": 0.02 * WIDTH, "speed": 250.0, "seconds": 3.0}
    assert is_slow_fall(arc(**slow), WIDTH, FRAME_S)
    for change in ({"seconds": 0.6}, {"step": 2}, {"fall": 0.06 * WIDTH}, {"speed": 40.0}):
        assert not is_slow_fall(arc(**(slow | change)), WIDTH, FRAME_S), change


@pytest.mark.parametrize(("seconds_of_fall", "slow"), [(3.6, False), (4.4, True), (7.0, True)])
def test_slow_motion_shows_in_a_speed_that_nothing_is_thrown_with(seconds_of_fall, slow):
    """Speed over fall is that over gravity: 4 s, or 40 m/s, is beyond any throw."""
    fall = 60.0
    found = arc(fall=fall, speed=seconds_of_fall * fall, seconds=1.6, noise=0.05)
    assert found.acceleration_pxps2[1] == pytest.approx(fall, rel=0.03)
    assert is_slow_fall(found, WIDTH, FRAME_S) is slow


NEAR = NearBall(diameter_px=30.0, fall_pxps2=FALL)


@pytest.mark.parametrize(
    ("wrong", "right"),
    [
        ({"seconds": 0.15}, {"seconds": 0.4}),
        ({"step": 2}, {"step": 1}),
        ({"fall": 0.5 * FALL}, {"fall": 0.6 * FALL}),
        ({"fall": 1.9 * FALL}, {"fall": 1.7 * FALL}),
        ({"onward": 0.5 * FALL}, {"onward": -0.2 * FALL}),
        ({"seconds": 0.4, "speed": 130.0}, {"seconds": 0.4, "speed": 170.0}),
        ({"noise": 6.0, "fall": 1.5 * FALL}, {"noise": 1.0, "fall": 1.5 * FALL}),
    ],
)
def test_a_near_throw_falls_as_its_size_says_and_comes_some_way(wrong, right):
    # Sixty frames a second are twice what a near ball needs: every second frame is looked at.
    assert is_near_throw(arc(**right), NEAR, FRAME_S)
    assert not is_near_throw(arc(**wrong), NEAR, FRAME_S)


def test_air_brakes_a_fast_near_ball_and_a_slant_changes_its_pace():
    """Air at 12 m/s brakes a tennis ball by 0.3 g, at 28 m/s by 1.6 g (0.021 / m)."""
    fast = {"speed": 3.0 * FALL, "seconds": 0.4, "noise": 0.1}
    assert is_near_throw(arc(onward=-1.6 * FALL, **fast), NEAR, FRAME_S)
    slow = {"speed": 0.5 * FALL, "seconds": 0.8, "noise": 0.1}
    assert not is_near_throw(arc(onward=-1.2 * FALL, **slow), NEAR, FRAME_S)
    nearer = arc(onward=0.6 * FALL, **fast)
    assert not is_near_throw(nearer, NEAR, FRAME_S)
    # By 0.35, and 1.8 times the square of 3 s over the frame's 11 s²: it may gain 1.82 falls.
    assert is_near_throw(nearer, NEAR, FRAME_S, 11.0 * FALL)
    faster = arc(onward=2.2 * FALL, **fast)
    assert not is_near_throw(faster, NEAR, FRAME_S, 11.0 * FALL)
    # It is named all the same.
    assert falls_near(faster, NEAR, FRAME_S)


@pytest.mark.parametrize(
    ("seconds", "speed", "named"),
    [(0.2, 700.0, True), (0.4, 700.0, False), (0.07, 700.0, False), (0.2, 60.0, False)],
)
def test_a_fall_too_short_for_a_throw_is_named(seconds, speed, named):
    found = arc(seconds=seconds, speed=speed, fall=2.0 * FALL, noise=0.05)
    assert falls_briefly(found, WIDTH, FRAME_S) is named
    assert not is_throw(found, WIDTH, FRAME_S) or not named
    assert not falls_briefly(replace(found, seen_share=0.7), WIDTH, FRAME_S)


def test_a_long_path_that_bends_sideways_is_no_near_throw():
    assert not is_near_throw(arc(onward=1.2 * FALL, seconds=1.0), NEAR, FRAME_S)
