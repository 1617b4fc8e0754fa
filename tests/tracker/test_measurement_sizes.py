"""Balls of other sizes in a first pass: smaller pictures, hands left out, each ball once."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from tests.tracker.test_measurement_steady_rules import CAMERA, STILL, Reference
from tracker.following import free_part
from tracker.following.arcs import fit_arc
from tracker.following.linking import PLACE_U_PX, NearBall
from tracker.measurement import scouted_sizes, steadying
from tracker.measurement.scouted_sizes import OtherSizes, _Near, _Small, coarse_settings, same_ball

STEP_S = 1.0 / 60.0


def facts(size=(960, 600)):
    return SimpleNamespace(size_px=size)


def path(count=20, begin=0, *, aside=0.0, velocity=(300.0, -100.0), fall=400.0):
    frames = begin + np.arange(count)
    since = STEP_S * frames
    pixels = np.column_stack([velocity[0] * since, velocity[1] * since + fall / 2 * since**2])
    pixels += (100.0, 300.0 + aside)
    return fit_arc(np.column_stack([frames, since, pixels]), STEP_S)


@pytest.mark.parametrize(("width", "px"), [(640, 4.0), (2560, 4.0), (2688, 4.2), (3840, 6.0)])
def test_for_a_cause_a_ball_is_looked_for_that_is_as_large_in_a_larger_frame(width, px):
    found = coarse_settings(facts((width, 600)))
    assert found.diameter_px == pytest.approx(px)
    own = scouted_sizes.scouting_settings(facts((width, 600)))
    assert replace(found, diameter_px=own.diameter_px) == own


def test_a_picture_made_smaller_has_the_mean_of_nine_pixels_each():
    picture = np.random.default_rng(1).integers(0, 255, (20, 32), dtype=np.uint8)
    small = scouted_sizes._smaller(picture, (10, 6))
    blocks = picture[:18, :30].reshape(6, 3, 10, 3).mean(axis=(1, 3))
    assert small.shape == (6, 10) and small.dtype == np.uint8
    np.testing.assert_allclose(small, blocks, atol=0.51)


def test_a_place_in_a_smaller_picture_is_the_middle_of_its_nine_pixels(monkeypatch):
    monkeypatch.setattr(scouted_sizes, "replace", lambda each, pixels: pixels)
    found = scouted_sizes._in_frame(SimpleNamespace(pixels=np.array([[0.0, 1.0], [9.5, 4.0]])))
    np.testing.assert_allclose(found, [[1.0, 4.0], [29.5, 13.0]])


@pytest.mark.parametrize(("frame_s", "lag"), [(1 / 30, 2), (1 / 60, 4), (1 / 240, 16), (1.0, 1)])
def test_near_balls_are_looked_for_by_their_middles_and_without_cutouts(frame_s, lag):
    looked = _Near(facts(), frame_s, 30.0)
    for finder in looked._finders:
        settings = finder._settings
        assert (settings.lag, settings.centred, settings.step_px) == (lag, True, 0.0)
        assert settings.window == (0, 0, 320, 200) and finder._cutouts is False


def test_in_a_frame_of_hardly_a_pixel_no_near_ball_is_looked_for():
    assert len(_Near(facts((960, 3)), STEP_S, 30.0)._balls) == 4
    assert _Near(facts((960, 2)), STEP_S, 30.0)._balls == []


class Finder:
    """Gives one candidate a frame, and one more at the end."""

    def __init__(self):
        self.seen = []

    def push(self, *given):
        self.seen.append(given)
        return [given[0]]

    def finish(self):
        return ["last"]


class Search:
    """Gives a path for each candidate, and one more at the end."""

    def push(self, candidates):
        return [f"path of {candidates}"]

    def finish(self):
        return ["path at the end"]


def near_with(balls=1):
    looked = _Near(facts(), STEP_S, 30.0)
    looked._balls = looked._balls[:balls]
    looked._finders, looked._searches = [Finder() for _ in range(balls)], [
        Search() for _ in range(balls)
    ]  # fmt: skip
    looked._found = [[] for _ in range(balls)]
    return looked


@pytest.mark.parametrize("colour", [None, np.zeros((300, 480), np.uint8)])
def test_each_size_sees_the_luma_and_the_colour_made_smaller(monkeypatch, colour):
    monkeypatch.setattr(scouted_sizes, "_in_frame", lambda each: each)
    looked = near_with(2)
    looked.see(7, 0.5, np.zeros((600, 960), np.uint8), colour)
    for finder, found in zip(looked._finders, looked._found, strict=True):
        ((frame, time_s, small, blue),) = finder.seen
        assert (frame, time_s, small.shape) == (7, 0.5, (200, 320))
        assert blue is None if colour is None else blue.shape == (100, 160)
        assert found == ["path of 7"]
    nothing = near_with(0)
    nothing.see(7, 0.5, None, None)
    assert nothing.throws([]) == []


def near_throws(monkeypatch, found, thrown=(), *, reaches=None, holds=None, brief=None):
    """Return the throws seen near among paths that were found at one size."""
    looked = near_with()
    looked._found = [list(found)]
    looked.brief = [] if brief is None else brief
    for name, instead in {
        "_in_frame": lambda each: each,
        "reaches_near_throw": lambda arc, ball: arc in (reaches or found),
        "free_arc": lambda arc, *given: (holds or {}).get(id(arc), arc),
        "is_brief": lambda arc, width_px: not isinstance(arc, str) and width_px == 960,
        "falls_near": lambda arc, ball, frame_s: arc.is_throw and frame_s == STEP_S,
        "is_near_throw": lambda arc, *_: not isinstance(arc, str) and arc.is_throw,
        "is_throw": lambda arc, *_: False,
        "other_ball": lambda *_: None,
    }.items():
        monkeypatch.setattr(scouted_sizes, name, instead)
    return looked.throws(list(thrown))


class Path:
    """A path of so many positions of a ball of some name."""

    def __init__(self, count, ball="a", is_throw=True, fall=0.0):
        self.frames, self.ball, self.is_throw = np.arange(count), ball, is_throw
        self.acceleration_pxps2 = np.array([0.0, fall])


def test_of_throws_seen_near_each_ball_has_its_longest_path(monkeypatch):
    monkeypatch.setattr(
        scouted_sizes, "same_ball", lambda arc, other, width: arc.ball == other.ball
    )
    short, long, other = Path(9), Path(20), Path(12, "b")
    assert near_throws(monkeypatch, [short, other, long]) == [long, other]
    # A usual path that is as long stands for the ball; a shorter one does not.
    assert near_throws(monkeypatch, [short, other, long], [Path(20)]) == [other]
    assert near_throws(monkeypatch, [short, other, long], [Path(19)]) == [long, other]
    assert near_throws(monkeypatch, [short, other], reaches=[short]) == [short]


def test_a_path_without_the_hand_comes_before_the_whole_one(monkeypatch):
    monkeypatch.setattr(scouted_sizes, "same_ball", lambda *_: False)
    whole, free = Path(20), Path(15)
    assert near_throws(monkeypatch, [whole], holds={id(whole): free}) == [free]
    held = Path(15, is_throw=False)
    assert near_throws(monkeypatch, [whole], holds={id(whole): held}) == [whole]
    alone = Path(20, is_throw=False)
    assert near_throws(monkeypatch, [alone], holds={id(alone): free}) == [free]
    assert near_throws(monkeypatch, [alone]) == []


@pytest.mark.parametrize(
    ("share", "may"), [(0.39, False), (0.41, True), (2.49, True), (2.51, False)]
)
def test_a_path_of_a_ball_of_about_half_or_twice_the_size_is_a_throw_too(monkeypatch, share, may):
    """Found at 9 px, of which gravity is 30 times that; with a tenth of 9 px as room."""
    far, other = (Path(each, is_throw=False, fall=share * 30.0 * 9.0) for each in (20, 21))
    asked = []

    def is_throw(arc, *given):
        asked.append(given)
        return arc is far

    monkeypatch.setattr(scouted_sizes, "same_ball", lambda *_: False)
    with monkeypatch.context() as patched:
        near_throws(patched, [far, other])
        patched.setattr(scouted_sizes, "is_throw", is_throw)
        looked = near_with()
        looked._found = [[far, other]]
        assert looked.throws([]) == [far] * may
    assert all(each == (960, STEP_S, pytest.approx(0.9)) for each in asked)
    assert bool(asked) is may


def test_what_falls_as_a_near_ball_too_briefly_is_kept_apart(monkeypatch):
    short, other, long = Path(6), Path(6, is_throw=False), Path(20)
    brief = []
    found = near_throws(monkeypatch, [short, other, long], reaches=[long], brief=brief)
    assert found == [long] and brief == [short]


def test_what_falls_near_but_aslant_is_kept_apart(monkeypatch):
    """Long enough, and no throw: its pace across the frame changes too much."""
    aslant, throw = Path(20), Path(21)
    monkeypatch.setattr(scouted_sizes, "same_ball", lambda *_: False)
    looked, brief = near_with(), []
    looked._found, looked.brief = [[aslant, throw]], brief
    for name, instead in {
        "_in_frame": lambda each: each,
        "reaches_near_throw": lambda arc, ball: not isinstance(arc, str),
        "free_arc": lambda arc, *_: arc,
        "is_brief": lambda arc, width_px: not isinstance(arc, str),
        "falls_near": lambda arc, ball, frame_s: frame_s == STEP_S,
        "is_near_throw": lambda arc, *_: arc is throw,
        "is_throw": lambda arc, *_: False,
        "other_ball": lambda *_: None,
    }.items():
        monkeypatch.setattr(scouted_sizes, name, instead)
    assert looked.throws([]) == [throw] and brief == [aslant]


def test_candidates_and_paths_that_come_at_the_end_count(monkeypatch):
    reached = []
    looked = near_with()
    monkeypatch.setattr(scouted_sizes, "_in_frame", lambda each: each)
    monkeypatch.setattr(
        scouted_sizes, "reaches_near_throw", lambda arc, ball: reached.append(arc) or False
    )
    monkeypatch.setattr(scouted_sizes, "is_brief", lambda arc, width_px: False)
    assert looked.throws([]) == []
    assert reached == ["path of last", "path at the end"]
    small = _Small(facts(), STEP_S)
    small._finder, small._search = Finder(), Search()
    small.see(3, 0.1, "luma", "blue")
    assert small._finder.seen == [(3, 0.1, "luma", "blue")] and small._found == ["path of 3"]
    asked = []
    monkeypatch.setattr(scouted_sizes, "is_throw", lambda arc, *_: asked.append(arc) or False)
    assert small.throws([]) == []
    assert asked == ["path of 3", "path of last", "path at the end"]


@pytest.mark.parametrize(
    ("speed_s", "stop", "count"), [(2.99, 20, 12), (3.01, 20, 20), (1.0, 28, 20)]
)
def test_positions_in_a_hand_are_left_out_of_a_path_as_slow_as_a_toss(
    monkeypatch, speed_s, stop, count
):
    """Slow is a speed over gravity of 3 s (common practice, no source)."""
    ball = NearBall(10.0, 250.0)
    arc = replace(path(), velocity_pxps=speed_s * 250.0 * np.array([0.6, -0.8]))
    rows = slice(8, stop)
    asked = []

    def free(times, pixels, diameter_px, u_px):
        asked.append((diameter_px, u_px.tolist()))
        return rows

    monkeypatch.setattr(free_part, "free_part", free)
    found = free_part.free_arc(arc, ball.fall_pxps2, STEP_S, ball.diameter_px)
    assert len(found.frames) == count
    if count == 12:
        assert found.frames.tolist() == list(range(8, 20)) and asked == [(10.0, [PLACE_U_PX] * 20)]
        np.testing.assert_allclose(found.pixels, arc.pixels[8:])
        np.testing.assert_allclose(found.times_s, arc.times_s[8:])
    else:
        assert found is arc


def test_every_size_sees_every_frame():
    seen = []
    sizes = OtherSizes(facts(), STEP_S, 30.0)
    sizes.near = SimpleNamespace(see=lambda *given: seen.append(("near", *given)))
    sizes.small = SimpleNamespace(see=lambda *given: seen.append(("small", *given)))
    sizes.see(1, 0.1, "luma", "blue")
    assert seen == [("near", 1, 0.1, "luma", "blue"), ("small", 1, 0.1, "luma", "blue")]
    sizes.small = None
    sizes.see(2, 0.2, "luma", None)
    assert seen[2:] == [("near", 2, 0.2, "luma", None)]


def test_two_paths_are_compared_over_all_of_the_time_that_both_last():
    """The median over it: crossing at one end makes no one of two."""
    one = path(31)
    fan = path(31, velocity=(300.0, -100.0 + 40.0))
    apart = 0.5 * 40.0 * 30 * STEP_S
    assert same_ball(one, fan, 1000, 1.01 * apart / 1000) and not same_ball(
        one, fan, 1000, 0.99 * apart / 1000
    )
    later = path(31, 15, velocity=(300.0, -60.0))
    middle = 40.0 * 22.5 * STEP_S
    assert same_ball(one, later, 1000, 1.01 * middle / 1000)
    assert not same_ball(one, later, 1000, 0.99 * middle / 1000)
    assert not same_ball(path(31), path(31, 16), 1000)


# --- the camera's motion


def a_steadier(**how):
    return steadying.Steadier(CAMERA, how.pop("frame_s", STEP_S), **how)


def test_a_camera_is_not_lost_before_it_is_looked_at():
    fresh = a_steadier()
    assert fresh.lost is False and fresh.moves is False and fresh.lost_share == 0.0
    fresh._looked = fresh._lost = 1
    assert fresh.lost_share == 1.0
    assert a_steadier(frame_s=2.0)._alert == 1 and a_steadier(frame_s=2.0)._every == 1


def test_a_frame_is_drawn_through_the_homography_of_a_grid_over_all_of_it(monkeypatch):
    grids = []
    steadier = a_steadier()

    def filmed(motion, grid):
        grids.append(grid)
        found = grid * [0.9, 0.9] + [7.0, -3.0]
        found[5] = np.nan
        return found, None

    monkeypatch.setattr(steadier, "_filmed", filmed, raising=False)
    found = steadier._homography(None)
    np.testing.assert_allclose(found, [[0.9, 0, 7.0], [0, 0.9, -3.0], [0, 0, 1]], atol=1e-4)
    (grid,) = grids
    assert len(grid) == 17 * 11
    assert grid.min(axis=0).tolist() == [0.0, 0.0] and grid.max(axis=0).tolist() == [639.0, 359.0]
    assert len(np.unique(grid[:, 0])) == 17 and len(np.unique(grid[:, 1])) == 11


@pytest.mark.parametrize("before", [None, (9, None), (9, 8)])
@pytest.mark.parametrize("blue", [None, 5])
def test_luma_is_drawn_in_its_part_and_colour_in_half_of_that(monkeypatch, before, blue):
    """Through the same homography between pixels that are twice as wide."""
    drawn = []
    monkeypatch.setattr(
        steadying, "_warped",
        lambda picture, matrix, part, outside: drawn.append((picture, matrix, part, outside))
        or f"drawn {picture}",
    )  # fmt: skip
    steadier = a_steadier(part=(100, 40, 300, 240))
    steadier._before = before
    matrix = np.array([[1.1, 0.02, 6.0], [-0.03, 0.9, 4.0], [1e-4, 2e-4, 1.0]])
    luma, colour = steadier._redrawn(matrix, 3, blue)
    outside = (3, blue) if before is None else before
    assert luma == "drawn 3" and drawn[-1][:1] + drawn[-1][2:] == (
        3, (100, 40, 300, 240), outside[0]
    )  # fmt: skip
    if blue is None or outside[1] is None:
        assert colour is blue and len(drawn) == 1
    else:
        assert colour == "drawn 5"
        _, halved, part, behind = drawn[0]
        assert part == (50, 20, 150, 120) and behind == outside[1]
        for place in ((60.0, 30.0), (140.0, 110.0)):
            # A pixel of the colour is the middle of two of luma.
            wide = np.append(2.0 * np.array(place) + 0.5, 1.0)
            expected = ((matrix @ wide)[:2] / (matrix @ wide)[2] - 0.5) / 2.0
            own = halved @ np.append(place, 1.0)
            np.testing.assert_allclose(own[:2] / own[2], expected)


def test_the_reference_is_straightened_once_when_the_camera_first_moves(monkeypatch):
    straightened = []
    reference = Reference(moved={3, 4, 8})
    monkeypatch.setattr(steadying, "SteadyReference", lambda *_: reference)
    steadier = a_steadier()
    monkeypatch.setattr(steadier, "_redrawn", lambda _, luma, blue: (luma, blue), raising=False)
    monkeypatch.setattr(steadier, "_straighten", straightened.append, raising=False)
    for number in range(10):
        steadier.see(number, STILL)
    assert straightened == [reference] and steadier.moves
    # Asked anew after that, and once a frame else.
    assert reference.asked == [1, 2, 3, 3, 4, 5, 6, 7, 8, 9]
    assert sorted(steadier._motions) == [3, 4, 8]
