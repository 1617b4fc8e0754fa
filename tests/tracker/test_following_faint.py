"""Flights of a ball that shows in few of its frames, where cells of the ballot are far apart."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from calibration.camera import looking_at
from tests.tracker.thrown_balls import DRAG, FORCES, RADIUS_M, RELEASE_M, Throw, flown, seen
from tracker.following import FlightSearch, SearchContext, faint
from tracker.following.faint import FINER, FineStarts, refine_thoroughly
from tracker.following.hypothesis import Pool, straight_flight
from tracker.following.plane import PlaneMap
from tracker.following.refinement import HELD
from tracker.following.support import MISS, chance_and_miss
from tracker.following.table import ANGLES_DEG, SPEEDS_MPS, build_table
from tracker.following.verdict import shortfall
from tracker.records import Candidates, Cutouts, ReasonCode

FPS = 30.0
VIEW = looking_at((38.0, -60.0, 1.6), (36.0, 0.0, 8.0), 1100.0, (1280, 720))
USUAL = SearchContext(VIEW, RELEASE_M, FORCES, DRAG, 0.06, RADIUS_M, 1.0 / FPS)
FAINT = replace(USUAL, faint=True)
FAR = Throw(36.6, 25.0)
GATES_PX = (20.2, 10.1, 5.1, 5.0)


def places(throw=FAR, release_s=1.03, kept=1.0, seed=1):
    """Return times and pixels of a ball in those frames that keep it."""
    path, landed, _ = flown(throw)
    times = np.arange(np.ceil(release_s * FPS), (release_s + landed) * FPS) / FPS
    pixels = seen(VIEW, path(times - release_s)[:, :3])
    shown = np.all((pixels > 4) & (pixels < (1275, 715)), axis=1)
    shown &= np.random.default_rng(seed).random(len(times)) < kept
    return times[shown], pixels[shown]


def pool_of(times, pixels, clutter=1e-6):
    count = len(times)
    return Pool(
        np.rint(times * FPS).astype(int),
        times,
        np.arange(count),
        pixels,
        np.full(count, clutter),
        np.full(count, 6.0),
    )


@cache
def fine():
    table = build_table(RELEASE_M, DRAG, FORCES, 80.0, 25.0)
    return FineStarts(FAINT, table, PlaneMap(VIEW, RELEASE_M), 1.0 / FPS)


@pytest.mark.parametrize("off", [(0, 0, 0), (3, -1, 3), (-3, 1, -2), (1, -2, 2)])
def test_a_guess_lies_between_the_cells_where_the_candidates_meet(off):
    row = 1.03 * FPS - 0.5
    angle = np.interp(25.0, ANGLES_DEG, np.arange(len(ANGLES_DEG)))
    speed = np.interp(36.6, SPEEDS_MPS, np.arange(len(SPEEDS_MPS)))
    cell = np.rint([row - 20, angle, speed]).astype(int) + off
    (guess,) = fine().around(pool_of(*places()), cell[None], first=20)
    assert guess.release_s == pytest.approx(1.03, abs=1.01 / FINER / FPS)
    elevation = np.degrees(np.arctan2(guess.launch[5], guess.launch[3]))
    assert elevation == pytest.approx(25.0, abs=2.02 / FINER)
    assert np.linalg.norm(guess.launch[3:6]) == pytest.approx(36.6, rel=0.041 / FINER)


def test_peaks_of_one_flight_give_one_guess_and_the_clearest_comes_first():
    one, two = places(), places(Throw(30.0, 45.0), 2.0, kept=0.5)
    times = np.concatenate([one[0], two[0]])
    order = np.argsort(times, kind="stable")
    pool = pool_of(times[order], np.concatenate([one[1], two[1]])[order])
    cells = np.array([[59, 25, 46], [29, 16, 51], [31, 15, 50], [30, 15, 51]])
    guesses = fine().around(pool, cells, first=0)
    assert [round(each.release_s) for each in guesses] == [1, 2]


def frames(pixels_by_frame, seconds, seed, clutter=8):
    rng = np.random.default_rng(seed)
    given = []
    for index in range(int(seconds * FPS)):
        count = rng.poisson(clutter)
        pixels = rng.uniform((5, 5), (1275, 715), (count, 2))
        strength = rng.gamma(2.0, 3.0, count) + 3.0
        if index in pixels_by_frame:
            pixels = np.vstack([pixels, pixels_by_frame[index]])
            strength = np.append(strength, 40.0)
        none = Cutouts(np.zeros((len(pixels), 1, 1), np.int16), np.rint(pixels).astype(np.int64))
        given.append(Candidates(index, index / FPS, pixels, strength, none, None))
    return given


def searched(context, given):
    search = FlightSearch(context)
    found = [flight for each in given for flight in search.push(each)]
    return found + [flight for block in search.finish() for flight in block]


def test_a_ball_left_in_one_frame_of_six_is_found_where_faint_ones_are_looked_for():
    seed = 3
    times, pixels = places(kept=0.17, seed=seed)
    given = frames(dict(zip(np.rint(times * FPS).astype(int), pixels, strict=True)), 5.0, seed)
    (flight,) = searched(FAINT, given)
    assert flight.hits < 0.25 * flight.in_view
    assert flight.release_s == pytest.approx(1.03, abs=0.01)
    assert np.linalg.norm(flight.launch[3:6]) == pytest.approx(36.6, abs=0.5)
    assert searched(USUAL, given) == []


def test_clutter_alone_is_no_faint_ball():
    assert searched(FAINT, frames({}, 3.5, 5, clutter=15)) == []


@pytest.mark.parametrize(
    ("supports", "best", "tried"),
    [
        ({HELD: [5.0], 1.0: [9.0]}, 9.0, 2),
        ({HELD: [5.0], 1.0: [4.0]}, 5.0, 2),
        ({HELD: [12.0, 30.0, 30.4], 1.0: [9.9]}, 30.0, 4),
        ({HELD: [12.0, 12.5, 12.9], 1.0: [10.0, 20.0, 40.0, 80.0]}, 80.0, 7),
    ],
)
def test_a_guess_is_refined_with_both_priors_and_again_while_that_helps(
    monkeypatch, supports, best, tried
):
    calls = []

    def scripted(context, pool, flight, gates_px, held):
        number = sum(each == held for each in calls)
        calls.append(held)
        return replace(flight, support=supports[held][number])

    monkeypatch.setattr(faint, "refine", scripted)
    start = straight_flight(FAINT, 1.0, 0.4, 30.0)
    flight = refine_thoroughly(FAINT, pool_of(*places()), start, GATES_PX)
    assert (flight.support, len(calls)) == (best, tried)


def test_a_frame_without_a_faint_ball_counts_little():
    assert chance_and_miss(USUAL) == (0.7, MISS)
    chance, miss = chance_and_miss(FAINT)
    assert chance == 0.25
    assert miss == pytest.approx(np.log(0.75))


@pytest.mark.parametrize(("hits", "lacks"), [(11, True), (12, False)])
def test_a_faint_ball_shows_in_a_tenth_of_its_frames_at_least(hits, lacks):
    flight = straight_flight(FAINT, 1.0, 0.4, 30.0)
    flight = replace(flight, support=50.0, hits=hits, in_view=120)
    code = ReasonCode.DETECTIONS_SHARE
    assert (shortfall(flight, faint=True) is not None) == lacks
    assert shortfall(flight).code is code
