"""A path's curve by its definition, and each condition of a throw on both sides of its bound."""

from dataclasses import replace

import numpy as np
import pytest

from tracker.following.arcs import fit_arc
from tracker.following.linking import NearBall
from tracker.following.throws import (
    is_fall,
    is_near_throw,
    is_slow_fall,
    is_throw,
    trimmed_throw,
)

WIDTH = 1000
STEP_S = 1.0 / 60.0


def path(count, along, down, step_s=STEP_S):
    """The path through exact polynomials, given by their coefficients about its middle."""
    frames = np.arange(count)
    times = 3.0 + frames * step_s
    since = times - times.mean()
    pixels = np.column_stack([np.polynomial.polynomial.polyval(since, c) for c in (along, down)])
    return fit_arc(np.column_stack([frames, times, pixels]), step_s)


@pytest.mark.parametrize(("count", "degree"), [(11, 2), (12, 3), (39, 3), (40, 4), (80, 4)])
def test_a_longer_path_may_bend_in_more_ways(count, degree):
    """A parabola below twelve positions, a cubic below forty, then of fourth degree."""
    span = 0.5 * (count - 1) * STEP_S
    for term in (2, 3, 4):
        coefficients = [500.0, 300.0, 150.0, 0.0, 0.0]
        coefficients[term] += 8.0 / span**term
        found = path(count, [400.0, 500.0], coefficients)
        assert (found.scatter_px < 1e-6) == (term <= degree), term


def test_motion_is_that_of_the_middle_of_a_path():
    found = path(30, [400.0, 500.0, -30.0], [300.0, -80.0, 200.0, 40.0])
    assert found.velocity_pxps == pytest.approx([500.0, -80.0])
    assert found.acceleration_pxps2 == pytest.approx([-60.0, 400.0])
    assert found.seen_share == 1.0 and found.duration_s == pytest.approx(29 * STEP_S)
    times = np.array([3.0, 3.1])
    since = times - found.times_s.mean()
    along = 400.0 + 500.0 * since - 30.0 * since**2
    assert found.at(times)[:, 0] == pytest.approx(along)


@pytest.mark.parametrize(("count", "degree"), [(9, 2), (25, 3), (60, 4)])
def test_uncertainty_of_the_acceleration_is_that_of_positions_good_to_0_4_px(count, degree):
    """At least: a path that lies on its curve is on a grid of blocks all the same."""
    found = path(count, [400.0, 500.0], [300.0, -80.0, 200.0])
    since = found.times_s - found.times_s.mean()
    design = np.vander(since, degree + 1, increasing=True)
    u = 2.0 * 0.4 * np.sqrt(np.linalg.inv(design.T @ design)[2, 2])
    assert found.acceleration_u_pxps2 == pytest.approx(u, rel=1e-6)


@pytest.mark.parametrize("outlier_px", [1.0, 50.0, 5000.0])
def test_scatter_of_a_path_is_not_that_of_its_worst_position(outlier_px):
    """What lies farther off than three medians and half a pixel counts as that far."""
    rng = np.random.default_rng(4)
    frames = np.arange(30)
    times = frames * STEP_S
    pixels = np.column_stack([100.0 + 500.0 * times, 300.0 + 200.0 * times**2])
    pixels += rng.normal(0.0, 0.8, pixels.shape)
    pixels[13] += outlier_px
    found = fit_arc(np.column_stack([frames, times, pixels]), STEP_S)
    off = np.linalg.norm(pixels - found.at(times), axis=1)
    cut = np.minimum(off, 3.0 * np.median(off) + 0.5)
    assert found.scatter_px == pytest.approx(np.sqrt(np.mean(cut**2)))
    assert found.scatter_px < 2.0
    # The noise along an axis is the scatter of both over the root of two.
    factor = found.acceleration_u_pxps2 / path(30, [0.0], [0.0]).acceleration_u_pxps2
    assert factor * 0.4 == pytest.approx(max(found.scatter_px / np.sqrt(2.0), 0.4), rel=0.12)


@pytest.mark.parametrize("quartic", [-900.0, 0.0, 700.0])
def test_unevenness_is_the_change_of_the_fall_from_the_middle_to_the_ends(quartic):
    count = 60
    found = path(count, [400.0, 500.0], [300.0, -80.0, 200.0, 0.0, quartic])
    lever = 0.35 * (count - 1) * STEP_S
    # Acceleration by its polynomial: 2 c2 + 12 c4 t².
    fall = [400.0 + 12.0 * quartic * t**2 for t in (-lever, 0.0, lever)]
    expected = ((fall[0] + fall[2]) / 2.0 - fall[1]) / fall[1]
    assert found.unevenness == pytest.approx(expected, abs=1e-6)
    since = found.times_s - found.times_s.mean()
    design = np.vander(since, 5, increasing=True)
    u = 0.4 * np.sqrt(np.linalg.inv(design.T @ design)[4, 4])
    assert found.unevenness_u == pytest.approx(12.0 * u * lever**2 / 400.0, rel=1e-6)


@pytest.mark.parametrize(("count", "known"), [(19, False), (20, True)])
def test_unevenness_needs_twenty_positions(count, known):
    found = path(count, [400.0, 500.0], [300.0, -80.0, 200.0, 0.0, -4000.0])
    assert (found.unevenness != 0.0) is known and (found.unevenness_u > 0.0) is known


@pytest.mark.parametrize(("step", "share"), [(1, 1.0), (2, 0.5), (4, 0.25)])
def test_seen_share_counts_the_frames_between_the_ends(step, share):
    frames = np.arange(0, 61, step)
    rows = np.column_stack([frames, frames * STEP_S, 9.0 * frames, 0.1 * frames**2])
    assert fit_arc(rows, STEP_S).seen_share == pytest.approx(share)


GOOD = path(60, [400.0, 900.0], [300.0, -80.0, 200.0])
"""A fall of 400 px/s², 0.4 frame widths, with a scatter of nothing."""


def changed(**values):
    """The same with some of its numbers replaced, its curve as it is."""
    values = {
        key: np.array(value) if key.endswith(("pxps", "pxps2")) and key[-6:] != "u" else value
        for key, value in values.items()
    }
    return replace(GOOD, **values)


def downward(fall, onward=0.0):
    return {"acceleration_pxps2": (onward, fall)}


def lasting(seconds):
    """The first positions of the path, made to last so long; its curve runs as before."""
    return {"times_s": np.linspace(0.0, seconds, len(GOOD.times_s))}


def cut(count):
    return {
        "frames": GOOD.frames[:count],
        "times_s": np.linspace(0.0, 0.5, count),
        "pixels": GOOD.pixels[:count],
    }


def speed_of(arc):
    """Root mean square speed: 900 px/s along, and what it falls."""
    times = np.linspace(arc.times_s[0], arc.times_s[-1], 20)
    way = np.linalg.norm(np.diff(arc.at(times), axis=0), axis=1)
    return np.sqrt(np.mean((way / np.diff(times)) ** 2))


ROOM_PX = 1.0 + 0.04 * speed_of(GOOD) * STEP_S
FALLS = {
    "positions": (cut(8), cut(7)),
    "duration": (lasting(0.251), lasting(0.249)),
    "share of frames": ({"seen_share": 0.5}, {"seen_share": 0.499}),
    "significance": ({"acceleration_u_pxps2": 26.6}, {"acceleration_u_pxps2": 26.7}),
    "evenness": (
        {"unevenness": -0.54, "unevenness_u": 0.1},
        {"unevenness": -0.56, "unevenness_u": 0.1},
    ),
    "evenness that is sure": (
        {"unevenness": -0.249, "unevenness_u": 0.0},
        {"unevenness": -0.251, "unevenness_u": 0.0},
    ),
    "scatter": ({"scatter_px": 0.999 * ROOM_PX}, {"scatter_px": 1.001 * ROOM_PX}),
}


@pytest.mark.parametrize("bound", FALLS)
def test_a_fall_keeps_to_each_bound(bound):
    within, beyond = FALLS[bound]
    assert is_fall(changed(**within), STEP_S)
    assert not is_fall(changed(**beyond), STEP_S)
    # A throw is a fall.
    assert not is_throw(changed(**beyond), WIDTH, STEP_S)


def test_onward_is_along_the_motion():
    back = {"velocity_pxps": (-900.0, 0.0), "acceleration_u_pxps2": 1.0}
    assert is_fall(changed(**back, **downward(400.0, 300.0)), STEP_S)
    assert not is_fall(changed(**back, **downward(400.0, -300.0)), STEP_S)


@pytest.mark.parametrize("width_px", [np.inf, 9000.0, WIDTH])
def test_a_fall_speeds_up_no_more_than_a_slant_shows(width_px):
    """Twice the tangent of 35 degrees, over a focal length of 0.79 widths, times speed squared."""
    most = 0.35 * 400.0 + 1.8 * speed_of(GOOD) ** 2 / width_px + 2.0 * 10.0
    for share, taken in ((0.999, True), (1.001, False)):
        found = changed(**downward(400.0, share * most), acceleration_u_pxps2=10.0)
        assert is_fall(found, STEP_S, width_px) is taken
        assert width_px != WIDTH or is_throw(found, WIDTH, STEP_S) is taken


def test_before_a_calibrated_camera_a_throw_flies_square():
    aslant = changed(**downward(400.0, 300.0), acceleration_u_pxps2=10.0)
    assert is_throw(aslant, WIDTH, STEP_S) and is_throw(GOOD, WIDTH, STEP_S)
    assert trimmed_throw(GOOD, WIDTH, STEP_S) is GOOD
    assert trimmed_throw(aslant, WIDTH, STEP_S) is not aslant


def test_positions_of_a_large_ball_may_scatter_more():
    for share, taken in ((0.999, True), (1.001, False)):
        found = changed(scatter_px=share * (ROOM_PX + 1.5))
        assert is_throw(found, WIDTH, STEP_S, 1.5) is taken


@pytest.mark.parametrize(
    ("scale", "within", "beyond"),
    [
        (1.0, 40.1, 39.9),
        (1.0, 1999.0, 2001.0),
        # 0.35 s of gravity: the slowest throw.
        (0.5, 0.5 * speed_of(GOOD) / 0.3505, 0.5 * speed_of(GOOD) / 0.3495),
    ],
    ids=["far", "near", "slow"],
)
def test_a_throw_keeps_to_each_bound(scale, within, beyond):
    arc = replace(GOOD, pixels=GOOD.pixels * scale, acceleration_u_pxps2=0.1)
    for fall, taken in ((within, True), (beyond, False)):
        found = replace(arc, acceleration_pxps2=np.array([0.0, fall]))
        assert is_fall(found, STEP_S)
        assert is_throw(found, WIDTH, STEP_S) is taken


SLOW = {"acceleration_pxps2": np.array([0.0, 30.0]), "acceleration_u_pxps2": 1.0}


def slow(count=60, **values):
    first = replace(GOOD, **SLOW)
    if count < 60:
        first = replace(first, **cut(count))
    return replace(first, **values)


@pytest.mark.parametrize(
    ("within", "beyond"),
    [
        ({"count": 40}, {"count": 39}),
        ({"seen_share": 0.8}, {"seen_share": 0.799}),
        ({"acceleration_u_pxps2": 5.99}, {"acceleration_u_pxps2": 6.01}),
        (
            {"acceleration_pxps2": np.array([0.0, 39.9])},
            {"acceleration_pxps2": np.array([0.0, 40.1])},
        ),
        ({"scatter_px": 0.999 * ROOM_PX}, {"scatter_px": 1.001 * ROOM_PX}),
    ],
    ids=["positions", "share of frames", "significance", "fall", "scatter"],
)
def test_a_fall_in_slow_motion_keeps_to_each_bound(within, beyond):
    assert is_slow_fall(slow(**within), WIDTH, STEP_S)
    assert not is_slow_fall(slow(**beyond), WIDTH, STEP_S)


@pytest.mark.parametrize(("seconds", "slow_motion"), [(3.99, False), (4.01, True)])
def test_slow_motion_is_faster_than_forty_metres_per_second_would_be(seconds, slow_motion):
    fall = np.array([0.0, 1.5 * speed_of(GOOD) / seconds])
    arc = slow(pixels=GOOD.pixels * 1.5, acceleration_pxps2=fall)
    assert is_slow_fall(arc, 8700, STEP_S) is slow_motion


@pytest.mark.parametrize(("share", "far_enough"), [(0.149, False), (0.151, True)])
def test_slow_motion_goes_some_way_through_the_frame(share, far_enough):
    extent = float(np.linalg.norm(np.ptp(GOOD.pixels, axis=0)))
    width = extent / share
    arc = slow(acceleration_pxps2=np.array([0.0, 30.0]))
    assert is_slow_fall(arc, round(width), STEP_S) is far_enough


NEAR = NearBall(diameter_px=20.0, fall_pxps2=400.0)
NEAR_ROOM_PX = 1.0 + 0.1 * 20.0 + 0.04 * speed_of(GOOD) * STEP_S


@pytest.mark.parametrize(
    ("within", "beyond"),
    [
        (cut(7), cut(6)),
        (lasting(0.201), lasting(0.199)),
        ({"seen_share": 0.75}, {"seen_share": 0.749}),
        (downward(221.0), downward(219.0)),
        (downward(719.0), downward(721.0)),
        ({"acceleration_u_pxps2": 26.6}, {"acceleration_u_pxps2": 26.7}),
        (downward(400.0, 139.0), downward(400.0, 141.0)),
        ({"scatter_px": 0.999 * NEAR_ROOM_PX}, {"scatter_px": 1.001 * NEAR_ROOM_PX}),
    ],
)
def test_a_near_throw_keeps_to_each_bound(within, beyond):
    assert is_near_throw(changed(**within), NEAR, STEP_S)
    assert not is_near_throw(changed(**beyond), NEAR, STEP_S)


@pytest.mark.parametrize(("diameters", "far_enough"), [(1.99, False), (2.01, True)])
def test_a_near_throw_comes_two_diameters_far(diameters, far_enough):
    extent = float(np.linalg.norm(np.ptp(GOOD.pixels, axis=0)))
    near = NearBall(diameter_px=extent / diameters, fall_pxps2=400.0)
    assert is_near_throw(GOOD, near, STEP_S) is far_enough


def spoilt(first_px, last_px, wrong, count, step_s):
    """A throw with so many wrong positions at its beginning and at its end."""
    since = (np.arange(count) - 0.5 * (count - 1)) * step_s
    pixels = np.column_stack([500.0 + 700.0 * since, 300.0 + 200.0 * since**2])
    pixels[:wrong, 1] += np.arange(wrong, 0, -1) * first_px
    pixels[-wrong:, 1] += np.arange(1, wrong + 1) * last_px
    return np.column_stack([np.arange(count), np.arange(count) * step_s, pixels])


CUTS = [(0, 0), (0, 2), (2, 0), (0, 4), (2, 2), (4, 0), (2, 4), (4, 2), (4, 4)]
"""Positions cut off the beginning and the end, the fewest first."""


@pytest.mark.parametrize(
    ("wrong", "count", "step_s"),
    [(2, 15, 2.0 * STEP_S), (4, 16, 2.0 * STEP_S), (4, 17, 2.0 * STEP_S), (4, 40, STEP_S)],
)
def test_the_fewest_positions_that_leave_a_throw_are_cut_off(wrong, count, step_s):
    outcomes = set()
    for first_px, last_px in np.random.default_rng(2).uniform(-9.0, 9.0, (25, 2)):
        rows = spoilt(first_px, last_px, wrong, count, step_s)
        found = trimmed_throw(fit_arc(rows, step_s), WIDTH, step_s)
        first = None
        for ahead, behind in CUTS:
            part = rows[ahead : count - behind]
            if len(part) >= 12 and is_throw(fit_arc(part, step_s), WIDTH, step_s):
                first = ahead, behind
                break
        outcomes.add(first)
        ends = found and (int(found.frames[0]), count - 1 - int(found.frames[-1]))
        assert ends == first
    assert len(outcomes) >= 3


def test_a_near_ball_falls_as_one_up_to_what_air_takes():
    """By a third of its fall, and by that times the square of its speed over 8 m/s in gravity."""
    drag = (speed_of(GOOD) / (0.8 * 400.0)) ** 2
    within, beyond = (downward(400.0, -share * (0.35 + drag)) for share in (399.0, 401.0))
    assert is_near_throw(changed(**within), NEAR, STEP_S)
    assert not is_near_throw(changed(**beyond), NEAR, STEP_S)
