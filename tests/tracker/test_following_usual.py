"""What clutter alone votes for, at a clip's ends as in its middle, and shots found at any time."""

from copy import copy, deepcopy
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.camera import looking_at
from tests.tracker.thrown_balls import DRAG, FORCES, RADIUS_M, RELEASE_M, Throw, flown, seen
from tracker.following import FlightSearch, SearchContext
from tracker.following.table import build_table
from tracker.following.usual import UsualVotes
from tracker.records import Candidates, Cutouts

FPS = 240.0
# The launcher and the first metres of flight, as a close-up in slow motion shows them.
CLOSE = looking_at((2.4, -5.6, 1.4), (2.4, 0.0, 1.9), 500.0, (640, 360))
CONTEXT = SearchContext(CLOSE, RELEASE_M, FORCES, DRAG, 0.06, RADIUS_M, 1.0 / FPS)
THROW = Throw(24.0, 39.0)


@pytest.fixture(scope="module")
def usual() -> UsualVotes:
    """What has learned nothing yet; a test that lets it learn takes a copy.

    Of every sixth angle and seventh speed: each flight of the table has votes of its own.
    """
    table = build_table(RELEASE_M, DRAG, FORCES, 6.0, 4.5)
    return UsualVotes(CONTEXT, replace(table, states=table.states[:, ::6, ::7]))


def test_coverage_is_the_filmed_share_of_the_time_in_view(usual) -> None:
    everything = usual.coverage(np.array([50.0]), (0.0, 100.0))
    assert np.allclose(everything, 1.0)
    assert usual.whole(np.array([50.0]), (0.0, 100.0))
    assert not usual.whole(np.array([0.0]), (0.3, 100.0))
    # A film that begins and one that ends at the same moment share every flight between them.
    release = np.array([49.8, 49.9, 50.0])
    before, after = (usual.coverage(release, film) for film in ((0.0, 50.1), (50.1, 100.0)))
    assert before + after == pytest.approx(np.ones_like(before))
    assert np.any((before > 0.1) & (before < 0.9))


@settings(max_examples=settings.default.max_examples // 2)
@given(st.floats(0.3, 8.0), st.integers(0, 1000))
def test_even_clutter_is_predicted_at_both_ends_of_a_clip(usual, length_s, seed) -> None:
    votes_of = copy(usual)
    rows = np.arange(-1.0, length_s, 0.02)
    film = (0.0, length_s)
    rate = np.random.default_rng(seed).uniform(2.0, 60.0, votes_of._enter_s.shape)
    votes = rate * votes_of.coverage(rows, film)
    votes_of.learn(votes, rows, film)
    assert votes_of.expected(rows, film) == pytest.approx(votes, abs=1e-6)


def test_a_shot_is_not_taken_for_usual(usual) -> None:
    rows, film = np.arange(-1.0, 0.5, 0.02), (0.0, 0.5)
    quiet, votes_of = copy(usual), copy(usual)
    votes = 10.0 * quiet.coverage(rows, film)
    quiet.learn(votes, rows, film)
    # A flight as fast as this is in view for 0.15 s: it fills five rows of some twenty.
    shot = votes.copy()
    shot[55:60] += 40.0
    votes_of.learn(shot, rows, film)
    assert votes_of.expected(rows, film) == pytest.approx(quiet.expected(rows, film), rel=0.05)


def frames(rng, seconds: float, release_s: float, clutter: float):
    """Yield candidates of a shot that is seen in nine frames of ten, among clutter."""
    path, _, _ = flown(THROW)
    for index in range(int(seconds * FPS)):
        time = index / FPS
        pixels = rng.uniform((3, 3), (637, 357), (rng.poisson(clutter), 2))
        strength = rng.gamma(2.0, 5.0, len(pixels)) + 3.0
        if time > release_s and rng.random() < 0.9:
            ball = seen(CLOSE, path(np.array([time - release_s]))[:, :3])
            if np.all(ball > 4) and np.all(ball < (636, 356)):
                pixels = np.concatenate([pixels, ball + rng.normal(0, 0.7, (1, 2))])
                strength = np.append(strength, rng.uniform(20.0, 40.0))
        empty = Cutouts(np.zeros((len(pixels), 1, 1), np.int16), np.rint(pixels).astype(np.int64))
        yield Candidates(index, time, pixels, strength, empty, None)


@pytest.fixture(scope="module")
def new_search() -> FlightSearch:
    """A search that has seen nothing."""
    return FlightSearch(CONTEXT)


@pytest.mark.parametrize(
    "release_s",
    [
        0.03,
        0.36,
        0.73,
        *(pytest.param(each, marks=pytest.mark.campaign) for each in (0.2, 0.5, 0.9, 1.3)),
    ],
)
def test_a_shot_is_found_whenever_it_is_released(new_search, release_s) -> None:
    rng = np.random.default_rng(int(100 * release_s))
    search = deepcopy(new_search)
    found = []
    for candidates in frames(rng, release_s + 0.45, release_s, 22.0):
        found += search.push(candidates)
    for more in search.finish():
        found += more
    assert [flight.release_s for flight in found] == pytest.approx([release_s], abs=0.03)


def test_every_release_of_a_block_must_lie_in_the_film(usual) -> None:
    film = (0.3, 100.0)
    assert usual.whole(np.array([40.0, 50.0]), film)
    assert not usual.whole(np.array([0.0, 50.0]), film)
    assert not usual.whole(np.array([50.0, 100.0]), film)


def test_of_what_was_not_filmed_yet_nothing_is_expected(usual) -> None:
    votes_of, rows, film = copy(usual), np.array([1.0, 1.02]), (0.0, 0.02)
    coverage = votes_of.coverage(rows, film)
    assert not np.any(coverage)
    votes_of.learn(coverage, rows, film)
    assert np.all(votes_of.expected(np.array([50.0]), (0.0, 100.0)) == 0.0)
