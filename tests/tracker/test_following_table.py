"""Flights by the place that they pass, and the votes for them."""

from functools import cache

import numpy as np
import pytest

from tests.tracker.thrown_balls import DRAG, FORCES, RELEASE_M
from tracker.flight.integration import fly
from tracker.following.table import ANGLES_DEG, SPEEDS_MPS, build_table
from tracker.following.votes import Ballot

STILL, BREEZE = (0.0, 0.0), (4.0, 1.0)


@cache
def table(wind):
    return build_table(RELEASE_M, DRAG, FORCES, 30.0, 15.0, wind)


@pytest.mark.parametrize("wind", [STILL, BREEZE])
@pytest.mark.parametrize(("angle_deg", "speed"), [(26.0, 22), (40.0, 25), (60.0, 30)])
def test_flight_is_found_from_each_place_that_it_passes(angle_deg, speed, wind):
    number = int(np.flatnonzero(np.isclose(ANGLES_DEG, angle_deg))[0])
    angle = np.radians(angle_deg)
    launch = np.zeros(11)
    launch[:3], launch[6], launch[9:11] = RELEASE_M, DRAG, wind
    launch[[3, 5]] = SPEEDS_MPS[speed] * np.cos(angle), SPEEDS_MPS[speed] * np.sin(angle)
    # Not near the muzzle, where all speeds lie together and the grid is too wide for them.
    times = np.array([0.5, 0.7, 0.9])
    path = fly(launch, FORCES, 1.0, 0.01).at(times)
    found, passing = table(wind).look_up(path[:, 0] - RELEASE_M[0], path[:, 2])
    np.testing.assert_allclose(found[:, number], speed, atol=0.3)
    np.testing.assert_allclose(passing[:, number], times, atol=0.015)


def test_place_that_no_flight_reaches_has_none():
    # Behind the launcher, and beyond the table.
    found, _ = table(STILL).look_up(np.array([-3.0, 31.0]), np.array([1.0, 1.0]))
    assert np.isnan(found).all()
    # Hardly off the muzzle and straight up: a level shot does not go there.
    found, _ = table(STILL).look_up(np.array([0.5]), np.array([10.0]))
    assert np.isnan(found[0, ANGLES_DEG < 60.0]).all()


def test_votes_withdrawn_from_a_cleared_bin_leave_the_later_one_alone():
    ballot = Ballot(bin_s=0.1, span_s=1.0)
    release = np.full((1, len(ANGLES_DEG)), 0.05)
    speed = np.full((1, len(ANGLES_DEG)), 12.0)
    ballot.cast(release, speed, np.array([3.0]))
    assert ballot.block(0, 0).max() == pytest.approx(9.0)  # of three angles that lie together
    ballot.clear(0, 4)
    ballot.cast(release, speed, np.array([-3.0]), first=5)
    everything = ballot.block(1, 18)
    assert not everything.any()


def test_the_last_table_is_kept_and_cannot_be_changed():
    first = build_table(RELEASE_M, DRAG, FORCES, 6.0, 4.5)
    assert build_table(RELEASE_M.copy(), DRAG, FORCES, 6.0, 4.5) is first
    with pytest.raises(ValueError, match="read-only"):
        first.cells[0, 0] = 0.0
    farther = build_table(RELEASE_M, DRAG, FORCES, 6.1, 4.5)
    assert farther.along_m[1] > first.along_m[1] and farther.up_m == first.up_m
