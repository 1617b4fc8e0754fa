"""Paths of the first pass become throws: hops and birds are left out, the bounce is timed."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from tests.tracker.test_following_arcs import FRAME_S, PULL, WIDTH, watched
from tracker.following.arcs import fit_arc
from tracker.following.throws import is_throw
from tracker.measurement import scouting
from tracker.measurement.passes import Timing
from tracker.measurement.scouting import Scouted, Scouting
from tracker.measurement.throws import bounce_between, throws_of

RELEASE_S, BOUNCE_S = 0.4, 1.9
FACTS = SimpleNamespace(
    size_px=(WIDTH, 1080), file_fps=60.0, pace=1.0, times_s=None, file_times_s=None
)
LINE = np.column_stack([np.arange(60), np.arange(60) * FRAME_S, np.arange(120).reshape(60, 2)])


def scouted(path, **how):
    arcs = sorted(watched(path, **how), key=lambda arc: float(arc.times_s[0]))
    thrown = tuple(i for i, arc in enumerate(arcs) if is_throw(arc, WIDTH, FRAME_S))
    return Scouted(tuple(arcs), thrown, (), FRAME_S, Timing(np.zeros(0), np.zeros(0)), "", (), ())


def shot(time):
    since = time - RELEASE_S
    return np.array([150.0 + 900.0 * since - 90.0 * since**2, 750.0 - 300.0 * since])


def bouncing(time):
    """A shot that bounces and goes on more slowly."""
    if not RELEASE_S <= time <= 2.9:
        return None
    if time <= BOUNCE_S:
        return shot(time) + np.array([0.0, 0.5 * PULL * (time - RELEASE_S) ** 2])
    after = time - BOUNCE_S
    ground = shot(BOUNCE_S) + np.array([0.0, 0.5 * PULL * (BOUNCE_S - RELEASE_S) ** 2])
    return ground + np.array([380.0 * after, -190.0 * after + 0.5 * PULL * after**2])


@pytest.mark.parametrize("seed", range(3))
def test_a_hop_is_no_shot_and_times_the_bounce(seed):
    found = scouted(bouncing, seed=seed, frames=200)
    (throw,) = throws_of(found, WIDTH)
    assert throw.hop is not None
    assert throw.hop.times_s[0] == pytest.approx(BOUNCE_S, abs=0.1)
    path = np.vectorize(
        lambda time: shot(time) + np.array([0.0, 0.5 * PULL * (time - RELEASE_S) ** 2]),
        signature="()->(n)",
    )
    time, u = bounce_between(throw, path, FRAME_S)
    assert abs(time - BOUNCE_S) < 3.0 * u
    assert u < 1.0 * FRAME_S


def test_a_throw_behind_a_post_is_one_throw():
    def hidden(time):
        place = bouncing(time)
        return None if place is None or 1.0 < time < 1.2 or time > BOUNCE_S else place

    (throw,) = throws_of(scouted(hidden, frames=200), WIDTH)
    assert throw.arc.times_s[0] < 0.5 and throw.arc.times_s[-1] > 1.8


def test_a_bird_that_dips_and_rises_is_no_throw():
    def bird(time):
        return np.array([100.0 + 500.0 * time, 300.0 + 60.0 * np.sin(2.5 * time)])

    assert throws_of(scouted(bird, frames=200), WIDTH) == ()


def test_the_hops_after_the_first_are_no_shots():
    """A second hop, as high as a throw may be, begins where the first ends."""
    first_s = 0.9

    def hops(time):
        if not RELEASE_S <= time <= BOUNCE_S + first_s + 1.1:
            return None
        if time <= BOUNCE_S + first_s:
            return bouncing(time)
        after = time - BOUNCE_S - first_s
        ground = bouncing(BOUNCE_S + first_s)
        return ground + np.array([450.0 * after, -150.0 * after + 0.5 * PULL * after**2])

    found = scouted(hops, frames=250)
    assert len(found.throws) == 3
    # The same hop a second time, as another search may find it.
    last = found.arcs[found.throws[2]]
    rows = np.column_stack([last.frames, last.times_s, last.pixels + 0.5])[1:-1]
    twice = (*found.arcs, fit_arc(rows, FRAME_S))
    found = replace(found, arcs=twice, throws=(*found.throws, len(twice) - 1))
    (throw,) = throws_of(found, WIDTH)
    assert throw.arc.times_s[0] < RELEASE_S + 0.2


def test_corrected_times_reach_the_scout_of_each_pace():
    corrected = []
    scouting = Scouting.__new__(Scouting)
    scouting._scouts = [SimpleNamespace(correct=corrected.append) for _ in range(2)]
    scouting.correct("the times")
    assert corrected == ["the times", "the times"]


def test_of_many_paths_the_longest_are_kept_for_a_cause(monkeypatch):
    """A long clip has ever more of them, and the cause is found from a few."""
    monkeypatch.setattr(scouting, "MOST_FALLS", 4)
    kept = []
    for falls_only in (True, False):
        scout = scouting._Scout(FACTS, None, None, falls_only)
        lengths = iter([8, 21, 9, 30, 8, 8, 8, 40, 10, 11, 12, 13])
        search = SimpleNamespace(push=lambda count: [fit_arc(LINE[:count], FRAME_S)])
        monkeypatch.setattr(scout, "_search", search)
        for count in lengths:
            scout.push(count)
        kept.append([len(arc.frames) for arc in scout._arcs])
    assert kept[0][:4] == [40, 30, 21, 10] and len(kept[0]) <= 8
    assert len(kept[1]) == 12


@pytest.mark.parametrize(
    ("width", "falls_only", "diameter_px"),
    [(1920, True, 4.0), (2560, True, 4.0), (3840, True, 6.0), (3840, False, 4.0)],
)
def test_for_a_cause_a_larger_frame_is_searched_for_a_ball_as_large_in_it(
    width, falls_only, diameter_px
):
    facts = SimpleNamespace(**vars(FACTS) | {"size_px": (width, 1080)})
    scout = scouting._Scout(facts, None, None, falls_only)
    assert scout.loop.settings.diameter_px == diameter_px


@pytest.mark.parametrize(
    ("width", "diameter_px", "fed"),
    [(1920, 2.9, True), (1920, 4.1, True), (1920, 4.2, False), (3840, 6.9, True), (3840, 7, False)],
)
def test_a_scout_is_fed_from_cells_no_coarser_than_its_own(width, diameter_px, fed):
    """Cells are as wide as the ball over 1.4, rounded down: 2 px for 4, and 4 px for 6."""
    facts = SimpleNamespace(**vars(FACTS) | {"size_px": (width, 1080)})
    scout = scouting._Scout(facts, None, None, falls_only=True)
    loop = replace(scout.loop, settings=replace(scout.loop.settings, diameter_px=diameter_px))
    assert scout.is_fed_by(loop) is fed
