"""What supports a flight, and how long candidates are kept for those that may still come."""

import numpy as np
import pytest

from tests.tracker.test_following_search import FPS, VIEW, clip, context, seen
from tests.tracker.thrown_balls import RADIUS_M
from tracker.following import FlightSearch
from tracker.following.hypothesis import Pool, straight_flight
from tracker.following.support import score


def flight_and_pool(first: int = 0, last: int | None = None):
    """A flight, and a candidate where it is in each frame, or in some from the first in view."""
    flight = straight_flight(context(), 0.5, np.radians(40.0), 16.0)
    times = np.arange(0.0, 4.0, 1.0 / FPS)
    since = times - flight.release_s
    flying = np.flatnonzero((since >= 0.0) & (since <= flight.trajectory.times_s[-1]))
    points = flight.trajectory.at(since[flying])[:, :3]
    pixels = seen(VIEW, points)
    shown = np.all((pixels > 0.0) & (pixels < (1919.0, 1079.0)), axis=1) & (points[:, 2] > RADIUS_M)
    owner, pixels = flying[shown][first:last], pixels[shown][first:last]
    many = np.ones(len(owner))
    return flight, Pool(np.arange(len(times)), times, owner, pixels, 1e-6 * many, many)


def test_a_ball_in_every_frame_of_its_view_hits_in_the_first_and_in_the_last():
    found = score(context(), flight_and_pool()[1], flight_and_pool()[0], 45.0)
    assert found.hits == found.in_view > 40
    assert found.chosen.tolist() == list(range(found.hits))


@pytest.mark.parametrize("part", [(1, None), (0, -1), (5, 30)])
def test_every_frame_without_the_ball_counts_against_it(part):
    flight, pool = flight_and_pool()
    whole = score(context(), pool, flight, 45.0)
    some = score(context(), flight_and_pool(*part)[1], flight, 45.0)
    assert some.in_view == whole.in_view
    assert some.hits == len(flight_and_pool(*part)[1].owner)
    missed = whole.hits - some.hits
    gain = whole.support / whole.hits  # every hit is exact, and counts as much as any other
    assert some.support < whole.support - missed * gain


def test_candidates_are_kept_no_longer_than_a_flight_may_need_them():
    frames = clip(np.random.default_rng(16), 24.0, clutter=2)
    searching, kept = FlightSearch(context()), []
    for candidates in frames:
        searching.push(candidates)
        kept.append(len(searching._kept))
    later = kept[int(12.0 * FPS) :]
    assert max(later) <= max(kept[: int(12.0 * FPS)])
    assert 0 < max(later) < 10.0 * FPS
