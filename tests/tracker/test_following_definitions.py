"""Steps of the search against a plain computation of what each is defined to be."""

from copy import copy
from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import correlate

from calibration.camera import looking_at
from tests.tracker.test_following_hop import around, landing
from tests.tracker.test_following_search import context
from tests.tracker.test_following_support import flight_and_pool
from tests.tracker.thrown_balls import DRAG, FORCES, RADIUS_M, RELEASE_M, Throw, camera
from tracker.following import FlightSearch, refinement, through
from tracker.following import hop as hop_module
from tracker.following.clutter import ClutterMap
from tracker.following.hop import Hop, find_hop
from tracker.following.hypothesis import SearchContext, straight_flight, until_ground
from tracker.following.kalman import first_covariance
from tracker.following.path_starts import PathStarts
from tracker.following.plane import PlaneMap
from tracker.following.refinement import refine
from tracker.following.starts import peaks
from tracker.following.support import log_ratio, score
from tracker.following.table import ANGLES_DEG, SPEEDS_MPS, build_table
from tracker.following.usual import UsualVotes
from tracker.following.verdict import extent_of, is_twin, px_per_m, shortfall
from tracker.following.votes import Ballot
from tracker.records import Candidates, Cutouts, ReasonCode

VIEW = camera()


def test_the_mesh_of_the_plane_is_the_camera():
    barrel = replace(VIEW, distortion=np.array([-0.12, 0.04, 0.0, 0.0, 0.0]))
    mesh = PlaneMap(barrel, RELEASE_M)
    pixels = np.random.default_rng(1).uniform((0, 0), (1919, 1079), (300, 2))
    exact = barrel.on_plane(pixels, RELEASE_M, (0.0, 1.0, 0.0))
    below = exact[:, 2] < 30.0
    np.testing.assert_allclose(mesh.places(pixels)[below], exact[below], atol=2e-3)
    # On the mesh itself nothing is interpolated, to the last row and column.
    nodes = np.array([[0.0, 0.0], [8.0, 16.0], [1912.0, 1072.0], [1920.0, 1080.0]])
    on_nodes = barrel.on_plane(nodes, RELEASE_M, (0.0, 1.0, 0.0))
    np.testing.assert_allclose(mesh.places(nodes), on_nodes, atol=1e-9)
    # Beyond the frame the nearest cell goes on straight.
    outside = mesh.places(np.array([[-8.0, 500.0], [0.0, 500.0], [8.0, 500.0]]))
    assert outside[0] == pytest.approx(2.0 * outside[1] - outside[2])


@pytest.mark.parametrize(
    ("height_m", "up_mps", "seconds"),
    [
        # 1.15 times the time to the ground in a vacuum, and a tenth of a second.
        (0.8, 12.0, 1.15 * (12.0 + np.sqrt(144.0 + 2.0 * 9.80665 * 0.8)) / 9.80665 + 0.1),
        (0.8, -3.0, 1.15 * np.sqrt(2.0 * 0.8 / 9.80665) + 0.1),
        (0.0, -3.0, 0.2),
        (0.8, 45.0, 7.0),
    ],
)
def test_a_hypothesis_lasts_until_it_is_surely_down(height_m, up_mps, seconds):
    launch = np.array([0.0, 0.0, height_m, 6.0, 0.0, up_mps, DRAG, 0.0, 0.0, 0.0, 0.0])
    flight = until_ground(context(), launch)
    assert flight.times_s[-1] == pytest.approx(seconds)
    assert flight.sensitivities is not None


def test_first_uncertainty_of_a_flight_that_is_followed():
    """0.1, 0.3 and 0.1 m along, across and up, and 3 % of the speed in each direction."""
    u = np.sqrt(np.diag(first_covariance(20.0)))
    assert u == pytest.approx([0.1, 0.3, 0.1, 0.6, 0.6, 0.6])


def test_log_ratio_is_that_of_a_ball_seen_seven_times_of_ten_and_clutter():
    gate, clutter = 12.0, 3e-5
    for distance in (0.0, 3.0, 11.0):
        density = np.exp(-0.5 * (distance / 4.0) ** 2) / (2.0 * np.pi * 16.0)
        found = log_ratio(np.array([distance**2]), gate, np.array([clutter]))
        assert found[0] == pytest.approx(np.log(0.3 + 0.7 * density / clutter))


def test_votes_are_spread_over_the_two_nearest_bins_of_time_and_of_speed():
    rng = np.random.default_rng(7)
    ballot = Ballot(bin_s=0.05, span_s=2.0)
    count, last = 40, len(SPEEDS_MPS) - 1
    release = rng.uniform(0.3, 1.6, (count, len(ANGLES_DEG)))
    speed = rng.uniform(0.0, last, (count, len(ANGLES_DEG)))
    release[rng.random(release.shape) < 0.2] = np.nan
    speed[rng.random(speed.shape) < 0.2] = np.nan
    weight = rng.uniform(0.5, 6.0, count)
    ballot.cast(release, speed, weight)
    expected = np.zeros((40, len(ANGLES_DEG), len(SPEEDS_MPS)))
    for candidate, angle in np.argwhere(np.isfinite(release) & np.isfinite(speed)):
        row = release[candidate, angle] / 0.05 - 0.5
        at = speed[candidate, angle]
        for r in (int(row), int(row) + 1):
            for s in (int(at), int(at) + 1):
                share = (1.0 - abs(row - r)) * (1.0 - abs(at - s))
                expected[r, angle, min(s, last)] += weight[candidate] * share
    np.testing.assert_allclose(ballot._votes[:40], expected, atol=1e-4)
    # A block has each cell with all its neighbours.
    around = correlate(expected, np.ones((3, 3, 3)), mode="constant")
    np.testing.assert_allclose(ballot.block(6, 30), around[6:31], atol=1e-3)
    assert ballot.row_of(0.149) == 2 and ballot.row_of(-0.01) == -1
    assert ballot.span == 40


def test_the_ring_of_votes_goes_on_where_it_ends():
    """A release much later has the row of one that was cleared, and its neighbours across."""
    ballot = Ballot(bin_s=0.1, span_s=1.0)
    rows = ballot._votes.shape[0]
    shape = (1, len(ANGLES_DEG))
    moment = (rows + 0.5) * 0.1
    ballot.cast(np.full(shape, moment), np.full(shape, 12.0), np.ones(1))
    block = ballot.block(rows - 1, rows + 1)
    assert block.max(axis=(1, 2)) == pytest.approx([3.0, 3.0, 3.0])
    assert ballot.block(rows + 2, rows + 3).max() == 0.0


@pytest.mark.parametrize("angle", [3, 10, 24, 40])
def test_a_cell_of_the_table_is_the_flight_that_passes_it(angle):
    table = build_table(RELEASE_M, DRAG, FORCES, 36.0, 18.0)
    assert table.along_m == pytest.approx((0.3, 0.3))
    assert table.up_m == pytest.approx((-1.1, 19.1 / 67.0))
    along = table.states[:, angle, :, 0].astype(float) - RELEASE_M[0]
    up = table.states[:, angle, :, 2].astype(float)
    for i, j in np.random.default_rng(angle).integers((0, 0), (120, 68), (150, 2)):
        x = table.along_m[0] + i * table.along_m[1]
        z = table.up_m[0] + j * table.up_m[1]
        heights = [np.interp(x, a, h, right=np.nan) for a, h in zip(along.T, up.T, strict=True)]
        heights = np.where(np.array(heights) > -50.0, heights, np.nan)
        known = np.isfinite(heights)
        speed, time = table.cells[i, j, :, angle]
        rises = np.maximum.accumulate(heights[known])
        if known.sum() < 2 or not rises[0] <= z <= rises[-1]:
            assert np.isnan(speed)
            continue
        expected = np.interp(z, rises, np.flatnonzero(known))
        assert speed == pytest.approx(expected, abs=2e-3)
        passing = [np.interp(x, a, table.times_s) for a in along.T]
        assert time == pytest.approx(np.interp(speed, np.arange(58), passing), abs=2e-3)


def test_the_table_has_the_angles_and_speeds_of_throws():
    assert (ANGLES_DEG[0], ANGLES_DEG[-1], len(ANGLES_DEG)) == (-6.0, 88.0, 48)
    assert SPEEDS_MPS[0] == 5.0 and SPEEDS_MPS[-1] == pytest.approx(46.75, abs=0.05)
    np.testing.assert_allclose(SPEEDS_MPS[1:] / SPEEDS_MPS[:-1], 1.04)


CLOSE = looking_at((2.4, -5.6, 1.4), (2.4, 0.0, 1.9), 500.0, (640, 360))
CLOSE_UP = SearchContext(CLOSE, RELEASE_M, FORCES, DRAG, 0.06, RADIUS_M, 1.0 / 240.0)


@pytest.fixture(scope="module")
def usual():
    table = build_table(RELEASE_M, DRAG, FORCES, 6.0, 4.5)
    return UsualVotes(CLOSE_UP, replace(table, states=table.states[:, ::12, ::15]))


def test_four_tenths_of_what_is_usual_come_from_the_newest_block(usual):
    votes_of, rows, film = copy(usual), np.arange(50.0, 50.2, 0.02), (0.0, 100.0)
    rng = np.random.default_rng(1)
    for count in (9, 10):
        first, second = rng.uniform(0.0, 50.0, (2, count, *votes_of._enter_s.shape))
        votes_of._rate = None
        votes_of.learn(first, rows[:count], film)
        np.testing.assert_allclose(votes_of._rate, np.median(first, axis=0))
        votes_of.learn(second, rows[:count], film)
        expected = 0.6 * np.median(first, axis=0) + 0.4 * np.median(second, axis=0)
        np.testing.assert_allclose(votes_of._rate, expected)


def test_at_the_ends_of_a_film_rows_half_covered_and_more_count(usual, monkeypatch):
    """Of their votes per covered frame, the value below which three tenths of them lie."""
    votes_of = copy(usual)
    rng = np.random.default_rng(2)
    shape = (20, *votes_of._enter_s.shape)
    coverage = rng.uniform(0.0, 0.8, shape)
    coverage[:, 0, 0] = 0.0
    votes = rng.uniform(1.0, 9.0, shape)
    monkeypatch.setattr(votes_of, "coverage", lambda *_: coverage, raising=False)
    monkeypatch.setattr(votes_of, "whole", lambda *_: False, raising=False)
    votes_of.learn(votes, np.zeros(20), (0.0, 1.0))
    for at in np.ndindex(shape[1:]):
        own, cast = coverage[(slice(None), *at)], votes[(slice(None), *at)]
        counts = own >= 0.5 * own.max()
        rates = np.sort(cast[counts] / np.maximum(own[counts], 1e-6))
        expected = 0.0 if at == (0, 0) else rates[int(0.3 * len(rates))]
        assert votes_of._rate[at] == pytest.approx(expected)


def spread_out(heights, usual_votes):
    """Votes with lone peaks, far enough from one another that each is a top of its own."""
    votes = np.full((40, 48, 58), -1.0)
    places = [(r, a, s) for r in range(2, 40, 5) for a in range(2, 48, 5) for s in range(2, 58, 5)]
    for height, place in zip(heights, places, strict=False):
        votes[place] = height
    return votes, np.full(votes.shape[1:], usual_votes), places


@pytest.mark.parametrize("usual_votes", [0.0, 10.0])
def test_a_peak_must_stand_out_by_a_standard_deviation(usual_votes):
    """Variance 40, and six for each vote that is usual."""
    sigma = np.sqrt(6.0 * usual_votes + 40.0)
    votes, usual_of, places = spread_out([1.01 * sigma, 0.99 * sigma], usual_votes)
    assert peaks(votes, usual_of).tolist() == [list(places[0])]


def test_forty_eight_peaks_of_votes_and_sixteen_of_significance_are_tried():
    votes, usual_of, places = spread_out(np.linspace(400.0, 300.0, 80), 0.0)
    # Every cell but those of the last twenty lies where many votes are usual.
    usual_of += 3000.0
    for _, angle, speed in places[60:80]:
        usual_of[angle, speed] = 0.0
    cells = [tuple(each) for each in peaks(votes, usual_of).tolist()]
    crowded = [place for place in places[:60] if usual_of[place[1:]] > 0.0]
    assert cells[:48] == places[:48]
    assert len(cells) == 64 and len(crowded) > 0
    assert set(cells[48:]) <= set(places[48:80])


def flight(**numbers):
    return replace(straight_flight(context(), 1.0, np.radians(40.0), 19.0), **numbers)


@pytest.mark.parametrize(
    ("enough", "lacking", "code"),
    [
        ({"hits": 6, "in_view": 6}, {"hits": 5, "in_view": 6}, ReasonCode.DETECTIONS_FEW),
        ({"hits": 10, "in_view": 50}, {"hits": 10, "in_view": 51}, ReasonCode.DETECTIONS_SHARE),
        (
            {"hits": 10, "in_view": 10, "support": 28.0},
            {"hits": 10, "in_view": 10, "support": 27.99},
            ReasonCode.CHANCE,
        ),
    ],
)
def test_a_flight_keeps_to_each_bound(enough, lacking, code):
    assert shortfall(flight(**({"support": 90.0} | enough))) is None
    reason = shortfall(flight(**({"support": 90.0} | lacking)))
    assert reason is not None and reason.code is code


@pytest.mark.parametrize(("later_s", "twin"), [(0.249, True), (0.251, False), (-0.249, True)])
def test_twins_are_released_within_a_quarter_of_a_second(later_s, twin):
    one = flight()
    assert is_twin(context(), replace(one, release_s=1.0 + later_s), [one], 1e5) is twin


@pytest.mark.parametrize(("share", "twin"), [(1.01, True), (0.99, False)])
@pytest.mark.parametrize("order", [1, -1])
def test_twins_lie_within_seven_tenths_of_a_gate_at_four_times_of_twelve(share, twin, order):
    pair = [flight(), straight_flight(context(), 1.05, np.radians(47.0), 16.0)][::order]
    end = min(each.release_s + float(each.trajectory.times_s[-1]) for each in pair)
    times = np.linspace(1.05, end, 12)
    one, two = (VIEW.project(each.trajectory.at(times - each.release_s)[:, :3]) for each in pair)
    fourth = np.sort(np.linalg.norm(one - two, axis=1))[3]
    assert is_twin(context(), pair[0], [pair[1]], share * fourth / 0.7) is twin


def test_the_extent_of_the_table_has_bounds():
    away = looking_at((16.0, -34.0, 1.5), (16.0, -80.0, 5.0), 1450.0, (1920, 1080))
    assert extent_of(replace(context(), camera=away)) == (20.0, 10.0)
    vast = looking_at((16.0, -900.0, 30.0), (16.0, 0.0, 30.0), 1450.0, (1920, 1080))
    assert extent_of(replace(context(), camera=vast)) == (120.0, 40.0)
    tiny = looking_at((0.05, -0.9, 0.7), (0.05, 0.0, 0.0), 4000.0, (640, 360))
    assert extent_of(replace(context(), camera=tiny))[0] == 0.5


@pytest.mark.parametrize("farthest_m", [8.0, 30.0, 100.0])
def test_scale_is_that_halfway_along_what_is_seen_and_thirty_metres_at_most(farthest_m):
    aslant = looking_at((-4.0, -20.0, 1.5), (20.0, 0.0, 3.0), 1450.0, (1920, 1080))
    middle = RELEASE_M + np.array([min(farthest_m, 30.0) / 2.0, 0.0, 2.0])
    depth = (aslant.rotation @ (middle - aslant.position))[2]
    found = px_per_m(replace(context(), camera=aslant), farthest_m)
    assert found == pytest.approx(1450.0 / depth)
    behind = looking_at((15.0, 0.5, 2.8), (15.0, 30.0, 2.8), 1450.0, (1920, 1080))
    assert px_per_m(replace(context(), camera=behind), 30.0) == 1450.0


def lone(index, places, strength):
    pixels = np.asarray(places, float).reshape(-1, 2)
    none = Cutouts(np.zeros((len(pixels), 1, 1), np.int16), np.zeros((len(pixels), 2), np.int64))
    return Candidates(index, index / 30.0, pixels, np.full(len(pixels), strength), none, None)


@pytest.mark.parametrize(
    ("strength", "rarest"),
    [(11.9, 3e-3), (12.1, 1.5e-3), (24.9, 1.5e-3), (25.1, 8e-4), (54.9, 8e-4), (55.1, 4e-4)],
)
def test_where_nothing_was_seen_the_density_is_that_of_the_frames_or_the_least(strength, rarest):
    """Jeffreys' mean rate after none, over nine cells; four classes, cells of 32 by 32 px."""
    clutter = ClutterMap((640, 320))
    found = []
    for index in range(400):
        place = [[300.0, 200.0]] if index in (0, 5, 399) else []
        found += clutter.density(lone(index, place, strength)).tolist()
        clutter._level[:] = 0.0  # only what was never seen is of interest
        clutter._around[:] = 0.0
    expected = [max(rarest, 0.5 / 9.0 / (1.0 + seen)) * 4.0 / 1024.0 for seen in (0, 5, 399)]
    assert found == pytest.approx(expected)


def test_level_of_clutter_is_a_running_mean_smoothed_now_and_then():
    """A frame counts one over eight and the frames so far, a hundredth at least."""
    clutter, rng = ClutterMap((320, 320)), np.random.default_rng(3)
    level, around = np.zeros((11, 11)), np.zeros((11, 11))
    for index in range(140):
        places = rng.uniform(0.0, 320.0, (6, 2))
        found = clutter.density(lone(index, places, 20.0))
        cells = (places // 32).astype(int)
        unseen = max(1.5e-3, 0.5 / 9.0 / (1.0 + index))
        expected = (around[cells[:, 1], cells[:, 0]] + unseen) * 4.0 / 1024.0
        np.testing.assert_allclose(found, expected, rtol=1e-9)
        weight = max(0.01, 1.0 / (8.0 + index + 1.0))
        level *= 1.0 - weight
        np.add.at(level, (cells[:, 1], cells[:, 0]), weight)
        if (index + 1) % 4 == 0 or index + 1 < 8:
            around = correlate(level, np.ones((3, 3)) / 9.0, mode="mirror")


def cauchy_step(found, pool, gate_px, held):
    """One Gauss-Newton step by stacked rows, with numerical slopes and the priors in words.

    Drag within its own uncertainty, lift 0.05 and side 0.03, the speed across 8 % of the speed;
    candidates count by Cauchy's weights with a knee of two sigma, sigma a sixth of the gate.
    """
    now = np.concatenate([[found.release_s], found.launch[3:9]])

    def pixels(values):
        launch = found.launch.copy()
        launch[3:9] = values[1:]
        path = until_ground(context(), launch)
        times = pool.frame_times_s[pool.owner[found.chosen]] - values[0]
        return VIEW.project(path.at(times)[:, :3])

    slopes = []
    for place, small in enumerate((1e-5, 1e-4, 1e-4, 1e-4, 1e-4, 1e-4, 1e-4)):
        ahead, behind = now.copy(), now.copy()
        ahead[place] += small
        behind[place] -= small
        slopes.append((pixels(ahead) - pixels(behind)) / (2.0 * small))
    slope = np.stack(slopes, axis=2)
    off = pool.pixels[found.chosen] - pixels(now)
    sigma = max(1.0, gate_px / 6.0)
    root = 1.0 / np.sqrt(1.0 + (np.linalg.norm(off, axis=1) / (2.0 * sigma)) ** 2) / sigma
    speed = np.linalg.norm(found.launch[3:6])
    u = np.array([0.08 * speed, held * 0.06, held * 0.05, held * 0.03])
    expected = np.array([0.0, DRAG, 0.0, 0.0])
    places = [2, 4, 5, 6]
    prior = np.zeros((4, 7))
    prior[range(4), places] = 1.0 / u
    rows = np.concatenate([(slope * root[:, None, None]).reshape(-1, 7), prior])
    right = np.concatenate([(off * root[:, None]).ravel(), (expected - now[places]) / u])
    return np.linalg.lstsq(rows, right, rcond=None)[0]


@pytest.mark.parametrize("gate_px", [4.0, 12.0, 45.0])
@pytest.mark.parametrize("held", [0.1, 1.0])
def test_a_step_of_the_refinement_is_weighted_least_squares_with_priors(gate_px, held):
    true, pool = flight_and_pool()
    rng = np.random.default_rng(5)
    pool = replace(pool, pixels=pool.pixels + rng.normal(0.0, 2.0, pool.pixels.shape))
    launch = true.launch + np.array([0, 0, 0, 0.1, 0.2, -0.1, 0.03, 0.02, -0.01, 0, 0])
    start = replace(true, launch=launch, trajectory=until_ground(context(), launch))
    start = replace(start, release_s=0.51, chosen=np.arange(len(pool.owner)))
    step = refinement._step(context(), pool, start, gate_px, held)
    expected = cauchy_step(start, pool, gate_px, held)
    assert np.abs(expected[1:]).max() < 0.3 * 16.0
    assert step.release_s - start.release_s == pytest.approx(expected[0], rel=2e-3, abs=1e-6)
    np.testing.assert_allclose(step.launch[3:9] - launch[3:9], expected[1:], rtol=5e-3, atol=2e-5)


@pytest.mark.parametrize(("off_s", "shift_s"), [(0.5, 0.3), (-0.5, -0.3)])
def test_a_step_moves_the_release_by_three_tenths_of_a_second_at_most(off_s, shift_s):
    true, pool = flight_and_pool()
    times = pool.frame_times_s + 3.0 * off_s
    start = replace(true, chosen=np.arange(len(pool.owner)))
    step = refinement._step(context(), replace(pool, frame_times_s=times), start, 1e4, 1e-6)
    assert step.release_s - start.release_s == pytest.approx(shift_s)


def counted_steps(monkeypatch, pool, start, gates):
    steps = []
    step = refinement._step
    monkeypatch.setattr(refinement, "_step", lambda *a: steps.append(a[3]) or step(*a))
    found = refine(context(), pool, start, gates)
    return found, [steps.count(gate) for gate in gates]


def test_a_refinement_that_gains_nothing_takes_two_steps_with_each_gate(monkeypatch):
    true, pool = flight_and_pool()
    _, steps = counted_steps(monkeypatch, pool, true, (45.0, 20.0, 8.0))
    assert steps == [2, 2, 2]


def test_a_refinement_goes_on_while_it_gains_and_takes_eight_steps_at_most(monkeypatch):
    true, pool = flight_and_pool()
    supports = iter(np.arange(1.0, 100.0) * 10.0)
    own = refinement.score

    def growing(*given):
        return replace(own(*given), support=float(next(supports)))

    monkeypatch.setattr(refinement, "score", growing)
    _, steps = counted_steps(monkeypatch, pool, true, (45.0,))
    assert steps == [8]


@pytest.mark.parametrize(
    ("supports", "steps"),
    [
        # Two per cent, and at least one, is a gain.
        ((50.0, 51.1, 52.3, 52.3), 3),
        ((50.0, 50.9, 51.8, 51.8), 2),
        ((200.0, 204.5, 209.0, 209.0), 3),
        ((200.0, 203.5, 207.0, 207.0), 2),
        ((-1.0, -0.5, -0.2, -0.2), 2),
    ],
)
def test_what_counts_as_a_gain(monkeypatch, supports, steps):
    true, pool = flight_and_pool()
    own, given = refinement.score, iter([*supports, 0.0, 0.0, 0.0])
    monkeypatch.setattr(
        refinement, "score", lambda *a: replace(own(*a), support=float(next(given)))
    )
    assert counted_steps(monkeypatch, pool, true, (45.0,))[1] == [steps]


@pytest.mark.parametrize(("candidates", "steps"), [(3, 0), (4, 2), (5, 2)])
def test_a_refinement_needs_four_candidates(monkeypatch, candidates, steps):
    true, pool = flight_and_pool(0, candidates)
    own = refinement.score
    # So few are worth nothing by themselves; here their support does not matter.
    monkeypatch.setattr(refinement, "score", lambda *a: replace(own(*a), support=5.0, in_view=9))
    assert counted_steps(monkeypatch, pool, true, (45.0,))[1] == [steps]


@pytest.mark.parametrize(("in_view", "steps"), [(124, 2), (126, 0)])
def test_a_refinement_needs_candidates_in_eight_frames_of_a_hundred(monkeypatch, in_view, steps):
    true, pool = flight_and_pool(0, 10)
    own = refinement.score
    monkeypatch.setattr(
        refinement, "score", lambda *a: replace(own(*a), support=5.0, in_view=in_view)
    )
    assert counted_steps(monkeypatch, pool, true, (45.0,))[1] == [steps]


@pytest.mark.parametrize(("share", "steps"), [(-0.44, [2, 2]), (-0.46, [1, 0])])
def test_a_hopeless_refinement_is_given_up_after_its_first_step(monkeypatch, share, steps):
    true, pool = flight_and_pool()
    own = refinement.score

    def weak(*given):
        found = own(*given)
        return replace(found, support=share * found.in_view)

    monkeypatch.setattr(refinement, "score", weak)
    assert counted_steps(monkeypatch, pool, true, (45.0, 20.0))[1] == steps


@pytest.mark.parametrize(("drag", "bound"), [(0.0, 0.05), (3.0, 1.5)])
def test_drag_stays_that_of_a_ball(drag, bound):
    true, pool = flight_and_pool()
    start = replace(true, chosen=np.arange(len(pool.owner)))
    stage = replace(context(), drag=drag, drag_u=1e-9)
    assert refinement._step(stage, pool, start, 45.0, 1.0).launch[6] == bound
    # The same of a flight through places that a person picked.
    found, _ = through._step(stage, picked()[1], start, 1.0)
    assert found.launch[6] == bound


@pytest.mark.parametrize(
    ("support", "hits", "in_view", "found"),
    [
        (14.0, 8, 10, True),
        (13.99, 8, 10, False),
        (20.0, 4, 5, True),
        (20.0, 3, 3, False),
        (20.0, 13, 20, True),
        (20.0, 12, 19, False),
    ],
)
def test_a_hop_keeps_to_each_bound(support, hits, in_view, found):
    assert Hop(1.0, 0.6, 0.6, 0.0, support, hits, in_view).found is found


def a_path(height_off_m=0.0, along_mps=9.0, count=30):
    """Positions of a ball without air that left the release, or beside it, 0.3 s into a film."""
    since = np.arange(3, 3 + count) / 240.0
    points = np.zeros((count, 3))
    points[:, 0] = along_mps * since
    points[:, 2] = RELEASE_M[2] + height_off_m + 6.0 * since - 0.5 * 9.80665 * since**2
    return 0.3 + since, CLOSE.project(points)


@pytest.mark.parametrize(
    ("changes", "starts"),
    [
        ({}, 1),
        ({"height_off_m": 0.37}, 1),
        ({"height_off_m": 0.43}, 0),
        ({"height_off_m": -0.37}, 1),
        ({"height_off_m": -0.43}, 0),
        ({"count": 8}, 1),
        ({"count": 7}, 0),
    ],
)
def test_a_path_is_a_start_where_it_comes_from_the_release(changes, starts):
    times, pixels = a_path(**changes)
    linked = PathStarts(CLOSE_UP, PlaneMap(CLOSE, RELEASE_M))
    for time, pixel in zip(times, pixels, strict=True):
        each = lone(round(240.0 * time), pixel, 20.0)
        linked.push(replace(each, time_s=float(time)))
    linked.finish()
    found = linked.between(0.28, 0.32)
    assert len(found) == starts
    for each in found:
        assert each.release_s == pytest.approx(0.3, abs=0.05)
        if not changes:
            assert each.launch[[3, 5]] == pytest.approx([9.0, 6.0], abs=0.01)
            assert each.release_s == pytest.approx(0.3, abs=1e-3)


def test_no_more_than_two_hundred_starts_are_kept():
    linked = PathStarts(CLOSE_UP, PlaneMap(CLOSE, RELEASE_M))
    linked._guesses = [(0.01 * number, 0.6, 15.0) for number in range(250)]
    linked._take([])
    assert [linked._guesses[0][0], len(linked._guesses)] == [0.5, 200]


def test_a_hop_is_looked_for_just_after_the_bounce_and_not_longer():
    """0.32 s, in which a frame counts whether it has a candidate or not."""
    at = landing()
    times = at.landed_s + np.arange(-0.02, 0.5, 0.001)
    near = replace(
        around([], np.random.default_rng(1)),
        times_s=times,
        owner=np.zeros(0, np.int64),
        pixels=np.zeros((0, 2)),
    )
    hop = np.array([[at.landed_s, 0.9, 0.7, 0.3]])
    found = hop_module._best(at, near, hop, 0.3)
    assert found.in_view in (319, 320) and found.hits == 0
    prior = ((0.9 - 0.6) / 0.2) ** 2 + ((0.7 - 0.62) / 0.22) ** 2 + (0.3 / 0.7) ** 2
    assert found.support == pytest.approx(found.in_view * np.log(0.3) - 0.5 * prior)


def test_no_hop_is_looked_for_where_none_is_in_view():
    at = landing()
    away = looking_at((16.0, -34.0, 1.5), (16.0, -30.0, 40.0), 1450.0, (1920, 1080))
    assert find_hop(replace(at, camera=away), around([], np.random.default_rng(1))) is None


@pytest.mark.parametrize("seed", range(3))
def test_a_hop_moves_as_its_own_launch_does(seed):
    """Level speed kept, upward speed restored, and drag as at the start of the hop."""
    at, rng = landing(), np.random.default_rng(seed)
    hop = np.array([[at.landed_s, *rng.uniform((0.3, 0.3, -0.6), (0.8, 0.9, 0.6))]])
    times = at.landed_s + np.array([0.003, 0.1, 0.2, 0.3])
    states = hop_module.hop_states(at, hop, times)[0]
    start = at.trajectory.at(at.landed_s - at.began_s)[0]
    _, rise, kept, aside = hop[0]
    velocity = np.array([start[3] * kept, start[4] * kept + aside, -start[5] * rise])
    push = -FORCES.reach_per_m * DRAG * np.linalg.norm(velocity) * velocity
    push[2] -= FORCES.gravity_mps2
    flying = np.isfinite(states[:, 0])
    assert flying[:2].all()
    for lapse, state in zip((times - at.landed_s)[flying], states[flying], strict=True):
        place = start[:3] + velocity * lapse + 0.5 * push * lapse**2
        np.testing.assert_allclose(state, [*place, *(velocity + push * lapse)], atol=1e-9)
    down = 2.0 * velocity[2] / -push[2]
    late = hop_module.hop_states(at, hop, at.landed_s + np.array([0.98, 1.1]) * down)[0]
    assert np.isfinite(late[0, 0]) and np.isnan(late[1, 0])


def test_a_flight_through_places_starts_no_later_than_just_before_the_first():
    """A ball is at the release, not past it, 5 ms before the first place that was picked."""
    stage = context()
    throw = straight_flight(stage, 0.0, np.radians(40.0), 17.0)
    times = np.array([0.01, 0.4, 0.9])
    pixels = VIEW.project(throw.trajectory.at(times)[:, :3])
    found = through.flight_through(stage, times, pixels, 0.5)
    assert found.release_s == pytest.approx(0.0, abs=0.006)
    assert times[0] - found.release_s >= 0.005 - 1e-9
    assert VIEW.project(found.trajectory.at(times - found.release_s)[:, :3]) == pytest.approx(
        pixels, abs=1.0
    )


def picked(every=6, noise_px=0.0):
    """A flight, and places of it that a person picked: each has a frame of its own."""
    true, pool = flight_and_pool()
    rows = np.arange(3, len(pool.owner), every)
    noise = np.random.default_rng(2).normal(0.0, 1.0, (len(rows), 2))
    return true, replace(
        pool.part(rows),
        owner=np.arange(len(rows)),
        frames=np.arange(len(rows)),
        frame_times_s=pool.frame_times_s[pool.owner[rows]],
        pixels=pool.pixels[rows] + noise_px * noise,
    )


@pytest.mark.parametrize("u_px", [0.5, 4.0])
def test_a_step_through_places_is_least_squares_with_priors(u_px):
    true, pool = picked(noise_px=u_px)
    launch = true.launch + np.array([0, 0, 0, 0.2, 0.1, -0.1, 0.02, 0.01, 0.02, 0, 0])
    start = replace(true, launch=launch, trajectory=until_ground(context(), launch))
    found, moved = through._step(context(), pool, start, u_px)
    off, slope = refinement.residuals(context(), pool, start, pool.owner)
    speed = np.linalg.norm(launch[3:6])
    places, u = [2, 4, 5, 6], np.array([0.08 * speed, 0.06, 0.05, 0.03])
    prior = np.zeros((4, 7))
    prior[range(4), places] = 1.0 / u
    expected = np.array([0.0, DRAG, 0.0, 0.0]) - launch[[4, 6, 7, 8]]
    step = np.linalg.lstsq(
        np.concatenate([slope.reshape(-1, 7) / u_px, prior]),
        np.concatenate([off.ravel() / u_px, expected / u]),
        rcond=None,
    )[0]
    assert found.release_s - start.release_s == pytest.approx(step[0], rel=1e-4, abs=1e-7)
    np.testing.assert_allclose(found.launch[3:9] - launch[3:9], step[1:], rtol=1e-4, atol=1e-6)
    assert moved == pytest.approx(np.abs(slope @ step).max(), rel=1e-4)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_lift_of_a_flight_through_places_has_a_bound(sign):
    """Places high above what gravity allows ask for more lift than any ball has."""
    true, pool = picked()
    high = pool.pixels + sign * np.outer(np.linspace(0.0, 1.0, len(pool.owner)) ** 2, (0, -4e3))
    start = replace(true, launch=true.launch.copy())
    stage = replace(context(), drag_u=1e-9)
    found, _ = through._step(stage, replace(pool, pixels=high), start, 1e-4)
    assert np.abs(found.launch[7:9]).max() == 1.0


def test_a_flight_faster_than_any_ball_is_given_up():
    launch = Throw(199.0, 10.0).launch()
    assert through._flown(context(), 0.0, launch) is not None
    assert through._flown(context(), 0.0, Throw(201.0, 10.0).launch()) is None


@pytest.mark.parametrize(("speed_off", "most"), [(30.0, 5.0), (-30.0, 5.0)])
def test_a_round_through_places_changes_a_velocity_by_five_metres_per_second_at_most(
    speed_off, most
):
    true, pool = picked()
    launch = true.launch.copy()
    launch[3] += speed_off
    far = replace(true, launch=launch, trajectory=until_ground(context(), launch))
    found, _ = through._step(context(), pool, far, 0.1)
    change = np.abs(found.launch[3:6] - launch[3:6])
    assert change.max() == pytest.approx(most)
    later = replace(pool, frame_times_s=pool.frame_times_s + 3.0)
    shifted, _ = through._step(context(), later, true, 0.1)
    assert abs(shifted.release_s - true.release_s) == pytest.approx(0.3)


def test_a_flight_that_is_never_in_view_has_no_support():
    away = looking_at((16.0, -34.0, 1.5), (16.0, -80.0, 5.0), 1450.0, (1920, 1080))
    true, pool = flight_and_pool()
    found = score(replace(context(), camera=away), pool, true, 45.0)
    assert found.support == -np.inf and len(found.chosen) == 0
    assert (found.hits, found.in_view) == (0, 0)
    # Nor has one that is over before the first frame.
    early = score(context(), pool, replace(true, release_s=-90.0), 45.0)
    assert early.support == -np.inf


@pytest.mark.parametrize("seen_by", [CLOSE_UP, context()])
def test_bins_of_release_time_are_a_sixtieth_of_the_longest_flight_within_bounds(seen_by):
    """A frame at least, and a fiftieth of a second at most."""
    search = FlightSearch(seen_by)
    longest = min(np.nanmax(search._table.cells[:, :, 1]), 7.0)
    assert search._longest == pytest.approx(longest)
    expected = max(seen_by.frame_s, min(1.0 / 50.0, longest / 60.0), 1e-3)
    assert search._ballot.bin_s == pytest.approx(expected)


def test_the_extent_is_that_of_the_highest_and_farthest_place_of_a_grid_over_the_frame():
    width, height = VIEW.size_px
    columns, rows = np.meshgrid(np.linspace(0, width - 1, 40), np.linspace(0, height - 1, 24))
    pixels = np.column_stack([columns.ravel(), rows.ravel()])
    places = VIEW.on_plane(pixels, RELEASE_M, (0.0, 1.0, 0.0))
    shown = places[np.isfinite(places).all(axis=1) & (places[:, 2] > -1.0)]
    expected = 1.02 * shown[:, 0].max(), 1.02 * shown[:, 2].max()
    assert extent_of(context()) == pytest.approx(expected, rel=1e-9)
    upside_down = replace(VIEW, rotation=np.diag([-1.0, -1.0, 1.0]) @ VIEW.rotation)
    turned = extent_of(replace(context(), camera=upside_down))
    places = upside_down.on_plane(pixels, RELEASE_M, (0.0, 1.0, 0.0))
    shown = places[np.isfinite(places).all(axis=1) & (places[:, 2] > -1.0)]
    assert turned == pytest.approx((1.02 * shown[:, 0].max(), 1.02 * shown[:, 2].max()), rel=1e-9)


def test_a_crowd_in_a_frame_votes_as_one_and_raises_the_density_of_clutter():
    """A walker gives a dozen candidates: together they say no more than one."""
    search = FlightSearch(context())
    crowd = np.array([900.0, 400.0]) + np.random.default_rng(1).uniform(-2.0, 2.0, (12, 2))
    search.push(lone(0, np.vstack([crowd, [300.0, 700.0]]), 20.0))
    kept = search._kept[-1]
    assert kept.votes[:12].sum() == pytest.approx(kept.votes[12])
    gate = search._gates_px[0]
    np.testing.assert_allclose(kept.clutter[:12] - kept.clutter[12], 11.0 / gate**2)
    votes = search._waiting[-1][2]
    assert votes.tolist() == kept.votes.tolist()
