"""Where candidates are common, and where they crowd, each says less of a ball."""

import numpy as np
import pytest

from tracker.following.clutter import CELL_PX, ClutterMap, crowding
from tracker.following.votes import votes_of
from tracker.records import Candidates, Cutouts

SIZE_PX = (640, 320)


def frame(index, pixels, strength=20.0):
    pixels = np.asarray(pixels, float).reshape(-1, 2)
    none = Cutouts(np.zeros((len(pixels), 1, 1), np.int16), np.zeros((len(pixels), 2), np.int64))
    strengths = np.broadcast_to(np.asarray(strength, float), len(pixels)).copy()
    return Candidates(index, index / 30.0, pixels, strengths, none, None)


def test_crowd_is_counted_within_reach_and_with_itself():
    pixels = np.array([[10.0, 10.0], [14.0, 12.0], [10.0, 30.0], [300.0, 10.0]])
    assert crowding(pixels, 5.0).tolist() == [2.0, 2.0, 1.0, 1.0]
    assert crowding(pixels, 25.0).tolist() == [3.0, 3.0, 3.0, 1.0]
    assert crowding(np.zeros((0, 2)), 5.0).tolist() == []


def test_density_learns_the_rate_of_a_place_and_its_neighbours():
    clutter = ClutterMap(SIZE_PX)
    busy, next_door, far = [100.0, 100.0], [100.0 + CELL_PX, 100.0], [500.0, 100.0]
    for index in range(600):
        found = clutter.density(frame(index, [busy, busy, next_door, far]))
    # One candidate a frame in a cell, smoothed over nine: per pixel, times four classes. Of the
    # three near ones the two cells share their smoothed rate.
    near = 3.0 / 9.0 * 4.0 / CELL_PX**2
    assert found[0] == found[1] == pytest.approx(near, rel=0.02)
    assert found[3] == pytest.approx(1.0 / 9.0 * 4.0 / CELL_PX**2, rel=0.03)


def test_a_place_where_nothing_was_seen_is_never_free_of_clutter_and_less_so_at_first():
    clutter = ClutterMap(SIZE_PX)
    first = clutter.density(frame(0, [[300.0, 200.0]], 5.0))[0]
    for index in range(1, 400):
        clutter.density(frame(index, np.zeros((0, 2))))
    later = clutter.density(frame(400, [[300.0, 200.0]], 5.0))[0]
    assert 0.0 < later < first / 10.0


def test_strong_candidates_are_rarer_than_weak_ones():
    clutter = ClutterMap(SIZE_PX)
    for index in range(400):
        clutter.density(frame(index, np.zeros((0, 2))))
    weak, middle, strong = clutter.density(frame(400, [[50.0, 50.0]] * 3, [5.0, 20.0, 80.0]))
    assert weak > middle > strong > 0.0


@pytest.mark.parametrize("outside", [(-300.0, 50.0), (50.0, -1.0), (5000.0, 50.0), (639.9, 9e9)])
def test_candidate_moved_off_the_frame_counts_in_the_nearest_cell(outside):
    clutter, nearest = ClutterMap(SIZE_PX), ClutterMap(SIZE_PX)
    inside = np.clip(outside, 0.0, np.array(SIZE_PX) - 0.5)
    for index in range(20):
        moved = clutter.density(frame(index, [outside]))
        kept = nearest.density(frame(index, [inside]))
    assert moved == pytest.approx(kept)


def test_a_crowd_casts_the_votes_of_one():
    pixels = np.array([[10.0, 10.0]] * 12 + [[300.0, 10.0]])
    votes = votes_of(np.full(13, 1e-4), crowding(pixels, 20.0))
    assert votes[:12].sum() == pytest.approx(votes[12])


def test_votes_are_the_logarithm_of_what_a_ball_is_beside_clutter():
    # 0.7 of a ball's frames give a candidate; within 6 px clutter gives its density's worth.
    clutter = np.array([1e-4, 1e-3, 1e-12, 0.5])
    votes = votes_of(clutter, np.ones(4))
    assert votes[:2] == pytest.approx(np.log(0.7 / (np.pi * 36.0 * clutter[:2])))
    assert votes[2:].tolist() == [6.0, 0.2]
