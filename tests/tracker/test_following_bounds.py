"""What stands just inside a bound of the search is taken, and what stands just outside is not."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from tests.tracker.test_following_path_starts import CLOSE, CONTEXT
from tests.tracker.test_following_throws import FALL, FRAME_S, NEAR, WIDTH, arc
from tests.tracker.thrown_balls import RELEASE_M
from tracker.following import FlightSearch, hop
from tracker.following.arcs import fit_arc
from tracker.following.hypothesis import straight_flight
from tracker.following.linking import ArcSearch
from tracker.following.path_starts import PathStarts
from tracker.following.plane import PlaneMap
from tracker.following.throws import is_fall, is_near_throw, trimmed_throw
from tracker.records import Candidates, Cutouts


def shortened(found, count):
    """Return the path of the first so many positions."""
    rows = np.column_stack([found.frames, found.times_s, found.pixels])[:count]
    return fit_arc(rows, FRAME_S)


@pytest.mark.parametrize(("seconds", "long_enough"), [(0.2, False), (0.3, True)])
def test_a_fall_of_a_moment_is_none_however_clear(seconds, long_enough):
    found = arc(fall=1.5 * WIDTH, seconds=seconds, speed=1700.0, noise=0.05)
    assert len(found.frames) > 11
    assert found.acceleration_pxps2[1] > 30.0 * found.acceleration_u_pxps2
    assert is_fall(found, FRAME_S) is long_enough


def test_a_near_throw_may_last_exactly_the_shortest_time():
    found = arc(seconds=0.2, noise=0.05, fall=1.5 * FALL)
    exact = replace(found, times_s=np.linspace(0.0, 0.2, len(found.times_s)))
    shorter = replace(found, times_s=np.linspace(0.0, 0.199, len(found.times_s)))
    steep = {"acceleration_pxps2": np.array([0.0, FALL]), "acceleration_u_pxps2": 1.0}
    assert exact.duration_s == 0.2
    assert is_near_throw(replace(exact, **steep), NEAR, FRAME_S)
    assert not is_near_throw(replace(shorter, **steep), NEAR, FRAME_S)


@pytest.mark.parametrize(("count", "long_enough"), [(11, False), (12, True), (13, True)])
def test_the_shortest_path_that_is_trimmed_is_taken_as_it_is(count, long_enough):
    whole = shortened(arc(fall=1.5 * WIDTH, speed=1700.0, noise=0.02, seconds=0.6, step=2), count)
    found = trimmed_throw(whole, WIDTH, 2.0 * FRAME_S)
    assert (found is not None) is long_enough
    if long_enough:
        assert len(found.frames) == count


def joins_third(fall_widths, step_s=0.1):
    """Return whether two places of a path are carried on to the third, that falls so hard."""
    linking = ArcSearch(WIDTH, step_s)
    for frame in range(3):
        time = frame * step_s
        place = [600.0 + 100.0 * time, 300.0 + 0.5 * fall_widths * WIDTH * time**2]
        pixels = np.array([place])
        empty = Cutouts(np.zeros((1, 1, 1), np.int16), np.rint(pixels).astype(np.int64))
        linking.push(Candidates(frame, time, pixels, np.ones(1), empty, None))
    return bool(np.any(linking._count >= 3))


@pytest.mark.parametrize("fall", [-0.65, 0.1, 0.75])
def test_a_path_may_fall_as_gravity_looks_from_most_distances(fall):
    assert joins_third(fall)


@pytest.mark.parametrize("fall", [-0.9, 1.0])
def test_a_path_that_falls_or_rises_harder_is_not_joined(fall):
    assert not joins_third(fall)


@pytest.mark.parametrize("number", range(3))
def test_the_first_grid_of_hops_is_even_and_reaches_what_the_prior_allows(number):
    grid = (hop.RESTITUTIONS, hop.SPEEDS_KEPT, hop.SIDEWAYS_MPS)[number]
    mean = (hop.RESTITUTION, hop.SPEED_KEPT, 0.0)[number]
    u = (hop.RESTITUTION_U, hop.SPEED_KEPT_U, hop.SIDEWAYS_U_MPS)[number]
    spacing = hop.SPACINGS[number]
    np.testing.assert_allclose(np.diff(grid), spacing, rtol=1e-9)
    # The grids that close in reach seven eighths of a spacing further.
    reach = 0.5 * spacing * (1.0 + 0.5 + 0.25)
    assert grid[0] - reach < mean - 1.8 * u and grid[-1] + reach > mean + 1.8 * u
    assert grid[0] > mean - 2.5 * u and grid[-1] < mean + 2.5 * u


@pytest.mark.parametrize(("along_mps", "taken"), [(1.6, False), (2.6, True)])
def test_a_path_hardly_onward_is_no_first_guess(along_mps, taken):
    up = 5.0
    flight = straight_flight(
        CONTEXT, 0.0, float(np.arctan2(up, along_mps)), float(np.hypot(up, along_mps))
    )
    times = np.arange(0.05, 0.25, 1.0 / 240.0)
    pixels = CLOSE.project(flight.trajectory.at(times)[:, :3])
    path = fit_arc(np.column_stack([np.rint(times * 240.0), times, pixels]), 1.0 / 240.0)
    guess = PathStarts(CONTEXT, PlaneMap(CLOSE, RELEASE_M))._guess(path)
    assert (guess is not None) is taken


def test_gates_of_a_close_up_have_an_upper_bound_and_far_away_a_lower_one():
    near = FlightSearch(CONTEXT)
    far_view = replace(CLOSE, focal_px=20.0)
    far = FlightSearch(replace(CONTEXT, camera=far_view))
    assert 139.5 < near._gates_px[0] < 140.5
    assert 4.5 < far._gates_px[-1] < 5.5
    assert all(wide >= narrow for wide, narrow in pairwise(near._gates_px))


@pytest.mark.parametrize("seed", range(4))
def test_a_few_places_far_off_do_not_make_a_fall_uneven(seed):
    """Two at its beginning would have it fall hardest in the middle, as a bird does."""
    found = arc(seconds=1.0, seed=seed)
    pixels = found.pixels.copy()
    pixels[:2, 1] -= 20.0
    bent = fit_arc(np.column_stack([found.frames, found.times_s, pixels]), FRAME_S)
    assert abs(bent.unevenness - found.unevenness) < 0.18
    assert abs(bent.unevenness) < 0.25
