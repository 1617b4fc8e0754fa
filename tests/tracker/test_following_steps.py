"""Single steps of the search, each against what it must give by its own definition."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import calibrated, circumstances, drawn
from tests.tracker.test_following_search import FPS, clip, context, new_search, thrown
from tests.tracker.test_following_support import flight_and_pool
from tests.tracker.test_following_usual import CONTEXT as CLOSE_UP
from tests.tracker.thrown_balls import DRAG, FORCES, RELEASE_M, Throw
from tracker.flight.integration import fly
from tracker.following import kalman, refinement, through
from tracker.following.hypothesis import Hypothesis, straight_flight
from tracker.following.refinement import refine
from tracker.following.support import in_view
from tracker.following.table import ANGLES_DEG, STEP_S, _interpolated, build_table
from tracker.following.usual import UsualVotes
from tracker.following.votes import Ballot


@pytest.fixture(scope="module")
def table():
    return build_table(RELEASE_M, DRAG, FORCES, 6.0, 4.5)


def test_interpolation_of_many_rows_is_that_of_each_alone():
    rng = np.random.default_rng(4)
    rising = np.sort(rng.uniform(-50.0, 40.0, (30, 9)), axis=1)
    values = rng.normal(size=(2, 30, 9))
    rising[5:20, 0] = -np.inf
    rising[10:20, 1] = -np.inf
    at = np.linspace(-45.0, 38.0, 23)
    found = _interpolated(at, rising, values)
    for row, nodes in enumerate(rising):
        known = np.isfinite(nodes)
        for each in range(2):
            alone = np.interp(at, nodes[known], values[each, row, known], np.nan, np.nan)
            np.testing.assert_allclose(found[each, row], alone, atol=1e-9)


def test_table_counts_the_way_from_the_foot_of_the_release(table):
    moved = build_table(RELEASE_M + np.array([2.0, 0.0, 0.0]), DRAG, FORCES, 6.0, 4.5)
    np.testing.assert_allclose(moved.cells, table.cells, atol=1e-9, equal_nan=True)


def test_table_reaches_down_to_the_ground(table):
    level = int(np.argmin(np.abs(ANGLES_DEG)))
    speed, time = table.look_up(np.array([3.0, 3.0]), np.array([0.03, -0.3]))
    # From 0.8 m a level ball that has fallen to 3 cm has flown for some 0.4 s.
    assert np.isfinite(speed[:, level]).all()
    assert time[0, level] == pytest.approx(np.sqrt(2.0 * 0.77 / 9.80665), rel=0.05)


def test_a_flight_is_in_view_from_half_a_node_before_its_first_to_half_after_its_last(table):
    part = replace(table, states=table.states[:, ::8, ::9])
    votes_of = UsualVotes(CLOSE_UP, part)
    for angle, speed in np.ndindex(part.states.shape[1:3]):
        points = part.states[:, angle, speed, :3].astype(float)
        shows = np.zeros(len(points), bool)
        aloft = points[:, 2] > 0.0
        shows[aloft] = in_view(CLOSE_UP, points[aloft])[1]
        seen = part.times_s[shows] if shows.any() else np.array([0.5, 0.5]) * STEP_S
        assert votes_of._enter_s[angle, speed] == pytest.approx(seen[0] - 0.5 * STEP_S)
        assert votes_of._leave_s[angle, speed] == pytest.approx(seen[-1] + 0.5 * STEP_S)


def test_votes_that_stay_the_same_stay_usual(table):
    votes_of = UsualVotes(CLOSE_UP, replace(table, states=table.states[:, ::8, ::9]))
    rows, film = np.arange(40.0, 41.0, 0.02), (0.0, 100.0)
    rate = np.random.default_rng(2).uniform(2.0, 60.0, votes_of._enter_s.shape)
    votes = np.broadcast_to(rate, (len(rows), *rate.shape))
    for _ in range(3):
        votes_of.learn(votes, rows, film)
        np.testing.assert_allclose(votes_of.expected(rows, film)[0], rate)
    # What changes is taken in by degrees.
    votes_of.learn(2.0 * votes, rows, film)
    after = votes_of.expected(rows, film)[0]
    assert np.all((after > 1.1 * rate) & (after < 1.9 * rate))


def test_a_ballot_is_cleared_up_to_the_last_bin_and_no_further():
    ballot = Ballot(bin_s=0.1, span_s=2.0)
    for row in range(8):
        shape = (1, len(ANGLES_DEG))
        ballot.cast(np.full(shape, 0.1 * (row + 0.5)), np.full(shape, 12.0), np.ones(1))
    ballot.clear(2, 4)
    left = [float(ballot._votes[row].sum()) > 0.5 for row in range(8)]
    assert left == [True, True, False, False, False, True, True, True]


def test_drag_and_lift_are_held_at_the_widest_gate_and_free_at_the_others(monkeypatch):
    flight, pool = flight_and_pool()
    held = []
    step = refinement._step
    monkeypatch.setattr(refinement, "_step", lambda *given: held.append(given[3:]) or step(*given))
    refine(context(), pool, flight, (45.0, 20.0, 8.0))
    by_gate = {gate: {share for at, share in held if at == gate} for gate in (45.0, 20.0, 8.0)}
    assert by_gate[20.0] == by_gate[8.0] == {1.0}
    assert all(0.0 < share < 0.5 for share in by_gate[45.0]) and len(by_gate[45.0]) == 1


@pytest.mark.parametrize("speed", [2.0, 10.0])
def test_a_step_changes_a_velocity_by_no_more_than_the_model_holds(speed):
    """0.3 of the speed and half a metre per second; a release high up makes no ball faster."""
    _, pool = flight_and_pool()
    far = pool.pixels + np.array([400.0, -300.0])
    high = replace(context(), release_m=RELEASE_M + np.array([0.0, 0.0, 6.0]))
    start = straight_flight(high, 0.5, np.radians(40.0), speed)
    start = replace(start, chosen=np.arange(20))
    found = refinement._step(high, replace(pool, pixels=far), start, 1e4, 1.0)
    change = np.abs(found.launch[3:6] - start.launch[3:6]).max()
    assert 0.3 * speed + 0.4 < change < 0.3 * speed + 0.6


def test_a_first_guess_leaves_the_least_sum_of_squares_of_all_times_of_release():
    known = circumstances(calibrated())
    searching = clip_context(known).search_context()
    for seed in range(6):
        case = drawn(np.random.default_rng(seed), known)
        rows = [int(share * (len(case.track.times_s) - 1)) for share in (0.1, 0.4, 0.6, 0.9)]
        times, pixels = case.track.times_s[rows], case.track.pixels[rows].copy()
        pixels[1:3] += np.array([[60.0, 90.0], [-20.0, 40.0]])
        found = through._first_guess(searching, times, pixels)
        release = np.asarray(searching.release_m)
        places = searching.camera.on_plane(pixels, release, (0.0, 1.0, 0.0))
        squares = []
        ago = np.arange(through.SHORTEST_AGO_S, 7.0, through.AGO_STEP_S)
        for first in ago:
            since = first + times - times[0]
            way = places - release
            way[:, 2] += 0.5 * searching.forces.gravity_mps2 * since**2
            velocity, *_ = np.linalg.lstsq(since[:, None], way, rcond=None)
            squares.append(np.sum((way - since[:, None] * velocity) ** 2))
        assert found.release_s == pytest.approx(times[0] - ago[np.argmin(squares)], abs=1e-9)


def test_a_path_is_followed_to_the_end_of_its_trajectory():
    launch = straight_flight(context(), 0.5, np.radians(40.0), 16.0).launch
    flight = Hypothesis(0.5, launch, fly(launch, FORCES, 0.9, 0.1, with_sensitivities=True))
    times = 0.5 + np.arange(0.0, 2.0, 1.0 / FPS)
    found = kalman._path(context(), flight, times)
    end = flight.trajectory.times_s[-1]
    assert found.since_s[-1] == pytest.approx(end, abs=1.01 / FPS)
    assert found.since_s[-1] <= end


def test_a_flight_that_is_taken_withdraws_all_its_votes():
    searching = new_search()
    ball = thrown(Throw(19.0, 45.0), 0.4)
    frames = clip(np.random.default_rng(8), 2.4, [ball], clutter=0, missing=0.0)
    for candidates in frames:
        searching.push(candidates)
    searching._cast_all()
    flight = straight_flight(context(), 0.4, np.radians(45.0), 19.0)
    pool = searching._pool()
    gates = (*searching._gates_px[:-1], searching._gates_px[-1])
    flight = refine(context(), pool, flight, gates)
    before = float(searching._ballot._votes.sum())
    free = np.ones(len(pool.owner), bool)
    searching._take(pool, flight, free)
    assert np.mean(free) < 0.1
    left = float(searching._ballot._votes.sum())
    assert before > 100.0 and abs(left) < 0.1 * before
    # What is kept about the flight begins and ends half a second beyond it.
    about = searching.candidates(flight, margin_s=-0.2)
    moments = [each.time_s for each in about]
    assert moments[0] == pytest.approx(flight.release_s + 0.2, abs=1.01 / FPS)
    assert min(moments) >= flight.release_s + 0.2


def test_releases_lie_in_the_middle_of_their_bins():
    searching = new_search()
    ballot = searching._ballot
    times = searching._release_s(7, 11)
    np.testing.assert_allclose(times, (np.arange(7, 12) + 0.5) * ballot.bin_s)
    assert [ballot.row_of(time) for time in times] == [7, 8, 9, 10, 11]
