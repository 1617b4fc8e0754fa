"""The search's bookkeeping: blocks of release times, what is tried in each, what is kept."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.test_following_definitions import lone
from tests.tracker.test_following_search import context, new_search
from tracker.following import search as search_module
from tracker.following.hypothesis import straight_flight

FLIGHT = straight_flight(context(), 1.0, np.radians(40.0), 19.0)
GOOD = replace(FLIGHT, hits=40, in_view=50, support=90.0)
WEAK = replace(FLIGHT, hits=3, in_view=50, support=5.0)


def at(time_s, count=1):
    pixels = [[100.0 + 40.0 * k, 300.0] for k in range(count)]
    return replace(lone(round(30.0 * time_s), pixels, 20.0), time_s=time_s)


def test_the_first_block_begins_a_second_before_the_first_frame():
    searching = new_search()
    searching.push(at(7.3))
    ballot = searching._ballot
    assert searching._next_row == ballot.row_of(7.3 - min(1.0, searching._longest + ballot.bin_s))
    assert searching._began == 7.3


def test_votes_of_eight_frames_are_cast_at_once():
    searching, waiting = new_search(), []
    for number in range(17):
        searching.push(at(number / 30.0))
        waiting.append(len(searching._waiting))
    assert waiting == [1, 2, 3, 4, 5, 6, 7, 0, 1, 2, 3, 4, 5, 6, 7, 0, 1]


def test_a_block_is_settled_when_no_frame_can_add_to_it(monkeypatch):
    """A second of release times, once the longest flight is over and two bins more."""
    searching, settled = new_search(), []
    monkeypatch.setattr(searching, "_settle", lambda last: settled.append(last) or [])
    monkeypatch.setattr(searching, "_forget", lambda: None)
    searching.push(at(0.0))
    first, ballot = searching._next_row, searching._ballot
    for number in range(1, 400):
        time = number / 30.0
        searching.push(at(time))
        done = ballot.row_of(time - searching._longest) - 2
        assert bool(settled) is ((done - first) * ballot.bin_s >= 1.0)
        if settled:
            assert settled == [done]
            break
    assert settled


def test_what_is_left_is_settled_second_by_second_to_the_last_frame(monkeypatch):
    searching, settled = new_search(), []

    def settle(last):
        settled.append((searching._next_row, last))
        searching._next_row = last + 1
        return []

    monkeypatch.setattr(searching, "_settle", settle)
    searching.push(at(0.0))
    searching.push(at(2.2))
    first, ballot = searching._next_row, searching._ballot
    list(searching.finish())
    step, last = int(1.0 / ballot.bin_s), ballot.row_of(2.2) + 1
    expected = []
    while first <= last:
        expected.append((first, min(first + step, last)))
        first = expected[-1][1] + 1
    assert settled == expected


@pytest.mark.parametrize(("beyond_s", "settled"), [(-0.01, False), (0.01, True)])
def test_a_gap_longer_than_a_flight_and_a_block_settles_all_that_is_open(
    monkeypatch, beyond_s, settled
):
    searching = new_search()
    searching.push(at(1.0))
    monkeypatch.setattr(searching, "_blocks", lambda: iter([["one"], ["two"]]))
    found = searching._after_gap(1.0 + searching._longest + 1.0 + beyond_s)
    assert found == (["one", "two"] if settled else [])
    assert (searching._next_row is None) is settled


def test_candidates_are_kept_a_second_and_a_half_before_the_next_block():
    searching = new_search()
    for number in range(40):
        searching.push(at(number / 10.0))
    horizon = 2.05
    searching._next_row = round((horizon + 1.5) / searching._ballot.bin_s)
    horizon = searching._next_row * searching._ballot.bin_s - 1.5
    searching._forget()
    times = [kept.candidates.time_s for kept in searching._kept]
    assert times == [number / 10.0 for number in range(40) if number / 10.0 >= horizon]


def tried(monkeypatch, outcomes, starts=20, freed=None):
    """Refine so many starts with given outcomes; return what was found, refused and tried.

    `freed` is what the one found is refined to more thoroughly.
    """
    asked, results = [], iter(outcomes)

    def refined(*given):
        asked.append(given[2])
        return next(results)

    monkeypatch.setattr(search_module, "refine", refined)
    monkeypatch.setattr(search_module, "refine_thoroughly", lambda *given: freed or given[2])
    rejected = []
    found = new_search()._best_of(None, iter([FLIGHT] * starts), rejected)
    return found, rejected, len(asked)


def test_eight_starts_are_refined_at_most(monkeypatch):
    found, rejected, count = tried(monkeypatch, [WEAK] * 20)
    assert found is None and len(rejected) == 8 and count == 8


@pytest.mark.parametrize(("hits", "count"), [(43, 1), (42, 8)])
def test_a_flight_seen_nearly_all_the_way_ends_the_round(monkeypatch, hits, count):
    """In 85 frames of a hundred."""
    flight = replace(GOOD, hits=hits, in_view=50)
    assert tried(monkeypatch, [flight] * 8)[2] == count


def test_of_the_refined_flights_the_best_supported_is_taken(monkeypatch):
    flights = [replace(GOOD, support=support) for support in (50.0, 80.0, 60.0)]
    found, rejected, _ = tried(monkeypatch, [*flights, WEAK], starts=4)
    assert found is flights[1]
    # Of a start and what it was refined to, the better supported one is reported.
    assert [each.support for each, _ in rejected] == [max(FLIGHT.support, WEAK.support)]


@pytest.mark.parametrize(
    ("hits", "support", "freed_hits", "is_taken"),
    [(30, 90.0, 43, True), (43, 90.0, 50, False), (30, 70.0, 50, False), (30, 90.0, 42, False)],
)
def test_a_flight_that_lacks_frames_is_freed(monkeypatch, hits, support, freed_hits, is_taken):
    """One seen nearly all the way is not stuck; what it is freed to is, and has more support."""
    stuck = replace(GOOD, support=80.0, hits=hits, in_view=50)
    freed = replace(GOOD, support=support, hits=freed_hits, in_view=50)
    found = tried(monkeypatch, [stuck] * 8, freed=freed)[0]
    assert found is (freed if is_taken else stuck)


def settling(monkeypatch, flights):
    """Settle a block in which these flights are found one after another."""
    searching = new_search()
    searching.push(at(5.0, 3))
    given = iter(flights)
    monkeypatch.setattr(searching, "_best_of", lambda *_: next(given, None))
    monkeypatch.setattr(searching, "_take", lambda *_: None)
    return searching, searching._settle(searching._next_row + 20)


def test_twelve_flights_are_looked_for_in_each_block(monkeypatch):
    flights = [replace(GOOD, release_s=5.0 - 0.3 * number) for number in range(15)]
    searching, found = settling(monkeypatch, flights)
    assert len(found) == 12
    assert [each.release_s for each in found] == sorted(each.release_s for each in found)
    # The last eight are remembered, since leftovers of theirs may be found again.
    assert searching._recent == flights[4:12]


def test_a_twin_is_no_second_flight(monkeypatch):
    again = replace(GOOD, release_s=GOOD.release_s + 0.01)
    assert settling(monkeypatch, [GOOD, again])[1] == [GOOD]


def test_a_settled_block_is_cleared_and_the_next_begins_after_it():
    searching = new_search()
    searching.push(at(5.0, 3))
    first = searching._next_row
    searching._settle(first + 20)
    assert searching._next_row == first + 21
    assert not searching._ballot.block(first + 1, first + 19).any()


def test_cells_are_tried_by_support_and_by_votes_in_turns(monkeypatch):
    """Those with six hits and more than -0.95 a frame in view, each once."""
    searching = new_search()
    cells = np.array([[k, 20 + k, 30] for k in range(6)])
    monkeypatch.setattr(search_module, "peaks", lambda *_: cells)
    in_view = np.full(6, 100)
    support = np.array([-94.0, -96.0, 10.0, 50.0, 20.0, 90.0])
    hits = np.array([9, 9, 6, 9, 9, 5])
    monkeypatch.setattr(
        searching._table_flights, "support", lambda *_: (support, hits, in_view), raising=False
    )
    searching.push(at(5.0, 3))
    found = list(searching._starts(searching._pool(), 40, np.zeros(1), np.zeros(1)))
    # By support 3, 4, 2, 0; by votes, in the order of the peaks, 0, 2, 3, 4.
    assert [each.support for each in found] == [50.0, -94.0, 20.0, 10.0]
    assert [each.hits for each in found] == [9, 9, 9, 6]
    bin_s = searching._ballot.bin_s
    assert [each.release_s for each in found] == pytest.approx(
        [(40 + row + 0.5) * bin_s for row in (3, 0, 4, 2)]
    )
    angle = np.degrees(np.arctan2(found[0].launch[5], found[0].launch[3]))
    assert angle == pytest.approx(-6.0 + 2.0 * 23)


def test_what_belongs_to_a_flight_lies_within_twice_the_last_gate(monkeypatch):
    searching = new_search()
    asked = []
    own = search_module.score

    def scored(*given):
        asked.append(given[3])
        return own(*given)

    monkeypatch.setattr(search_module, "score", scored)
    searching.push(at(5.0, 3))
    pool = searching._pool()
    searching._take(pool, FLIGHT, np.ones(3, bool))
    assert asked == [pytest.approx(2.0 * searching._gates_px[-1])]


def test_frames_about_a_flight_reach_half_a_second_beyond_it():
    searching = new_search()
    for number in range(60):
        searching.push(at(number / 10.0))
    flight = replace(FLIGHT, release_s=1.02)
    end = 1.02 + float(flight.trajectory.times_s[-1])
    times = [each.time_s for each in searching.candidates(flight)]
    expected = [n / 10.0 for n in range(60) if 0.52 <= n / 10.0 <= end + 0.5]
    assert times == [each for each in expected if each >= searching._kept[0].candidates.time_s]
