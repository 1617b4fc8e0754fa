"""Flights found among clutter, and nothing found where there is none."""

from copy import deepcopy
from dataclasses import replace
from functools import cache
from itertools import chain

import numpy as np
import pytest

from tests.tracker.thrown_balls import DRAG, FORCES, RADIUS_M, RELEASE_M, Throw, camera, flown, seen
from tracker.following import FlightSearch, SearchContext
from tracker.following.hypothesis import Pool, straight_flight
from tracker.following.refinement import refine
from tracker.following.search import BLOCK_S
from tracker.following.starts import TableFlights, _in_reach
from tracker.following.support import score
from tracker.following.table import ANGLES_DEG, SPEEDS_MPS, build_table
from tracker.following.votes import Ballot
from tracker.records import Candidates, Cutouts, ReasonCode

FPS = 30.0
VIEW = camera()


def context():
    return SearchContext(VIEW, RELEASE_M, FORCES, DRAG, 0.06, RADIUS_M, 1.0 / FPS)


def clip(rng, seconds, moving=(), clutter=25, missing=0.3, noise=0.7):
    """Return frames of candidates: things that move, seen now and then, among clutter.

    Each thing is a function from the clip's time to a pixel, or None while it is not there.
    """
    frames = []
    for index in range(int(seconds * FPS)):
        time = index / FPS
        count = rng.poisson(clutter)
        pixels = [rng.uniform((10, 10), (1910, 1070), (count, 2))]
        strength = [rng.gamma(2.0, 5.0, count) + 3.0]
        for thing in moving:
            at = thing(time)
            if at is None or rng.random() < missing:
                continue
            if np.all(at > 4) and np.all(at < (1915, 1075)):
                pixels.append(at[None] + rng.normal(0, noise, (1, 2)))
                strength.append(rng.uniform(8.0, 40.0, 1))
        joined = np.concatenate(pixels)
        order = rng.permutation(len(joined))
        empty = Cutouts(
            np.zeros((len(joined), 1, 1), np.int16), np.rint(joined[order]).astype(np.int64)
        )
        frames.append(
            Candidates(index, time, joined[order], np.concatenate(strength)[order], empty, None)
        )
    return frames


def thrown(throw, release_s):
    path, landed, _ = flown(throw)

    def at(time):
        if not release_s <= time <= release_s + landed:
            return None
        return seen(VIEW, path(np.array([time - release_s]))[:, :3])[0]

    return at


@cache
def built():
    """A search that has seen nothing: its tables are those of all tests with this context."""
    return FlightSearch(context())


def new_search():
    return deepcopy(built())


def search(frames):
    searching = new_search()
    found = []
    for candidates in frames:
        found += searching.push(candidates)
    for more in searching.finish():
        found += more
    return sorted(found, key=lambda flight: flight.release_s)


def apart_px(flight, throw, release_s):
    """Return how far, on average, a found flight lies from the true one in the frame."""
    path, landed, _ = flown(throw)
    times = np.linspace(0.2, landed - 0.1, 25)
    true = seen(VIEW, path(times)[:, :3])
    own = flight.trajectory.at(times + release_s - flight.release_s)[:, :3]
    inside = np.all((true > 4) & (true < (1915, 1075)), axis=1)
    return float(np.mean(np.linalg.norm(seen(VIEW, own) - true, axis=1)[inside]))


THROWS = {
    "lob": Throw(19.0, 45.0),
    "flat": Throw(22.0, 12.0),
    "steep": Throw(15.0, 65.0),
    "to the side, with back-spin": Throw(18.0, 35.0, 4.0, lift=(0.06, 0.0)),
}


@pytest.mark.parametrize(
    "throw",
    [
        pytest.param(each, id=name, marks=[] if name in ("lob", "flat") else pytest.mark.campaign)
        for name, each in THROWS.items()
    ],
)
def test_flight_in_clutter_is_found_and_no_other(throw):
    rng = np.random.default_rng(1)
    found = search(clip(rng, 5.2, [thrown(throw, 2.13)]))
    assert len(found) == 1
    assert found[0].release_s == pytest.approx(2.13, abs=0.06)
    assert apart_px(found[0], throw, 2.13) < 4.0


@pytest.mark.long
def test_flights_in_a_row_are_each_found_once():
    rng = np.random.default_rng(2)
    throws = [Throw(18.0 + 0.3 * shot, 42.0 - shot) for shot in range(4)]
    starts = [1.4, 5.0, 8.45, 12.1]
    moving = [thrown(*each) for each in zip(throws, starts, strict=True)]
    found = search(clip(rng, 16.5, moving))
    assert [flight.release_s for flight in found] == pytest.approx(starts, abs=0.06)


@pytest.mark.parametrize("gap", [0.5, pytest.param(1.1, marks=pytest.mark.campaign)])
def test_two_balls_in_the_air_at_once_are_kept_apart(gap):
    rng = np.random.default_rng(3)
    first, second = Throw(20.0, 50.0), Throw(18.5, 38.0)
    moving = [thrown(first, 1.6), thrown(second, 1.6 + gap)]
    found = search(clip(rng, 5.6, moving))
    assert len(found) == 2
    assert apart_px(found[0], first, 1.6) < 4.0
    assert apart_px(found[1], second, 1.6 + gap) < 4.0


def test_repeat_of_the_same_shot_is_a_flight_of_its_own():
    rng = np.random.default_rng(4)
    same = Throw(19.0, 42.0)
    found = search(clip(rng, 5.4, [thrown(same, 1.5), thrown(same, 2.3)]))
    assert [flight.release_s for flight in found] == pytest.approx([1.5, 2.3], abs=0.06)


@pytest.mark.parametrize(
    ("seed", "clutter"), [(5, 15), pytest.param(6, 60, marks=pytest.mark.campaign)]
)
def test_clutter_alone_makes_no_flight(seed, clutter):
    assert search(clip(np.random.default_rng(seed), 8.0, clutter=clutter)) == []


@pytest.mark.parametrize(
    ("start", "velocity"),
    [
        ((40.0, 300.0), (280.0, 15.0)),
        ((1880.0, 500.0), (-420.0, -40.0)),
        ((60.0, 700.0), (350, -90)),
    ],
)
def test_bird_at_constant_velocity_is_no_flight(start, velocity):
    def bird(time):
        return np.array(start) + time * np.array(velocity)

    assert search(clip(np.random.default_rng(7), 5.0, [bird], missing=0.1)) == []


@pytest.mark.parametrize(
    ("seconds", "seed", "start", "velocity"),
    [
        (0.8, 4, (567.0, 425.0), (250.0, 41.0)),
        (1.2, 4, (632.0, 248.0), (519.0, -65.0)),
        (2.3, 1, (68.0, 643.0), (405.0, 103.0)),
    ],
)
def test_bird_in_a_clip_that_is_cut_short_is_no_flight(seconds, seed, start, velocity):
    """Each gives a flight that a dozen of its frames support, where only those are asked."""

    def bird(time):
        return np.array(start) + time * np.array(velocity)

    searching = new_search()
    for candidates in clip(np.random.default_rng(seed), seconds, [bird], missing=0.1):
        assert searching.push(candidates) == []
    assert [flight for found in searching.finish() for flight in found] == []
    reasons = {reason.code for _, reason in searching.rejected_candidates}
    assert ReasonCode.RUNS_ON in reasons


@pytest.mark.parametrize("seconds", [0.6, 0.9])
def test_flight_in_a_clip_that_is_cut_short_is_found(seconds):
    found = search(clip(np.random.default_rng(2), seconds, [thrown(Throw(22.0, 12.0), 0.13)]))
    assert [flight.release_s for flight in found] == [pytest.approx(0.13, abs=0.06)]


@pytest.mark.parametrize("speed", [pytest.param(4.0, marks=pytest.mark.campaign), 9.0])
def test_ball_rolling_along_the_ground_is_no_flight(speed):
    def rolling(time):
        gone = time - 1.5
        if not 0.0 <= gone <= speed / 1.2:
            return None
        along = speed * gone - 0.6 * gone**2
        return seen(VIEW, [along, 0.0, RADIUS_M])[0]

    assert search(clip(np.random.default_rng(8), 5.5, [rolling], missing=0.1)) == []


def test_person_walking_and_swinging_arms_is_no_flight():
    def hand(phase):
        def at(time):
            swing = 0.5 * np.sin(6.0 * time + phase)
            return seen(VIEW, [2.0 + 1.4 * time + swing, 3.0, 1.0 + 0.2 * np.cos(12.0 * time)])[0]

        return at

    moving = [hand(phase) for phase in (0.0, 1.0, 2.0, 3.0)]
    assert search(clip(np.random.default_rng(9), 4.5, moving, missing=0.2)) == []


def with_people(frames, rng, people, each=12, size_px=9.0):
    """Add people who walk beside the line, each many candidates at once: (start, pace)."""
    found = []
    for candidates in frames:
        bodies = [
            seen(VIEW, [start + pace * candidates.time_s, 2.0, 1.0])[0]
            + rng.normal(0, size_px, (each, 2))
            for start, pace in people
        ]
        joined = np.concatenate([candidates.pixels, *bodies])
        strength = np.concatenate(
            [candidates.strength, rng.uniform(20.0, 90.0, each * len(people))]
        )
        empty = Cutouts(np.zeros((len(joined), 1, 1), np.int16), np.rint(joined).astype(np.int64))
        found.append(replace(candidates, pixels=joined, strength=strength, luma=empty))
    return found


@pytest.mark.parametrize(
    ("each", "size_px"), [(12, 9.0), pytest.param(25, 30.0, marks=pytest.mark.campaign)]
)
def test_people_who_each_give_many_candidates_support_no_flight(each, size_px):
    rng = np.random.default_rng(13)
    people = [(2.0, 1.4), (3.0, 1.5), (16.0, -1.3), (9.0, 2.2)]
    searching = new_search()
    for candidates in with_people(clip(rng, 6.0), rng, people, each, size_px):
        assert searching.push(candidates) == []
    assert not any(searching.finish())
    # Of so many candidates one is near any path: they say less of a ball than chance does.
    supports = [flight.support for flight, _ in searching.rejected_candidates]
    # A long clip rejects one each second: only their paths are kept.
    kept = [flight for flight, _ in searching.rejected_candidates]
    assert all(flight.trajectory.sensitivities is None for flight in kept)
    assert all(flight.chosen is None for flight in kept)
    assert supports and max(supports) < 0.0


def test_flight_past_people_is_found():
    rng = np.random.default_rng(14)
    throw = Throw(19.0, 30.0)
    frames = with_people(clip(rng, 6.0, [thrown(throw, 1.9)]), rng, [(2.0, 0.0), (20.0, 0.0)])
    assert [flight.release_s for flight in search(frames)] == pytest.approx([1.9], abs=0.06)


@pytest.mark.parametrize(
    "gap_s", [9.0, *(pytest.param(each, marks=pytest.mark.long) for each in (3600.0, 40000.0))]
)
def test_search_starts_anew_after_a_gap_longer_than_a_flight(gap_s):
    rng = np.random.default_rng(15)
    throw = Throw(18.0, 42.0)
    # The first flight is still in the air when the file jumps; the second comes right after.
    frames = clip(rng, 3.9, [thrown(throw, 1.6)])
    later = [
        replace(each, frame=each.frame + len(frames), time_s=each.time_s + 3.9 + gap_s)
        for each in clip(rng, 5.0, [thrown(throw, 0.8)])
    ]
    searching, found, kept = new_search(), [], []
    for candidates in [*frames, *later]:
        for flight in searching.push(candidates):
            found.append(flight.release_s)
            kept.append(len(searching.candidates(flight)))
    for more in searching.finish():
        found += [flight.release_s for flight in more]
        kept += [len(searching.candidates(flight)) for flight in more]
    assert found == pytest.approx([1.6, 4.7 + gap_s], abs=0.06)
    assert min(kept) > 60


def test_flight_near_the_end_of_the_clip_is_given_by_finish():
    rng = np.random.default_rng(10)
    throw = Throw(17.0, 40.0)
    found = search(clip(rng, 4.0, [thrown(throw, 1.8)]))
    assert [flight.release_s for flight in found] == pytest.approx([1.8], abs=0.06)


def test_kept_candidates_cover_the_flight():
    rng = np.random.default_rng(11)
    throw = Throw(19.0, 45.0)
    frames = clip(rng, 5.2, [thrown(throw, 2.0)])
    searching = new_search()
    found = []
    for candidates in frames:
        for flight in searching.push(candidates):
            found.append((flight, searching.candidates(flight)))
    for more in searching.finish():
        found += [(flight, searching.candidates(flight)) for flight in more]
    ((flight, kept),) = found
    landed = flown(throw)[1]
    wanted = [each.frame for each in frames if 2.0 <= each.time_s <= 2.0 + landed]
    assert set(wanted) <= {each.frame for each in kept}
    assert [each.frame for each in kept] == sorted(each.frame for each in kept)


def pooled(frames):
    owner = np.repeat(np.arange(len(frames)), [len(each.pixels) for each in frames])
    return Pool(
        np.arange(len(frames)),
        np.array([each.time_s for each in frames]),
        owner,
        np.concatenate([each.pixels for each in frames]),
        np.full(len(owner), 1e-5),
        np.ones(len(owner)),
    )


def test_many_starts_are_weighed_as_single_ones():
    throw = Throw(19.0, 45.0)
    pool = pooled(clip(np.random.default_rng(15), 5.0, [thrown(throw, 1.5)]))
    flights = TableFlights(context(), build_table(RELEASE_M, DRAG, FORCES, 40.0, 20.0))
    angles, speeds = np.array([3, 24, 25, 26, 40]), np.array([50, 33, 34, 35, 10])
    release_s = np.array([1.4, 1.5, 1.5, 1.53, 0.2])
    support, hits, in_view = flights.support(pool, angles, speeds, release_s, 45.0)
    assert support.max() > 0.0 > support.min()
    for number in range(len(angles)):
        start = straight_flight(
            context(),
            release_s[number],
            np.radians(ANGLES_DEG[angles[number]]),
            SPEEDS_MPS[speeds[number]],
        )
        single = score(context(), pool, start, 45.0)
        assert support[number] == pytest.approx(single.support, abs=0.2)
        assert (hits[number], in_view[number]) == (single.hits, single.in_view)


@pytest.mark.parametrize("count", [0, 1, 90])
def test_no_candidate_in_reach_of_a_place_is_left_out(count):
    """Nor is one of another frame taken, where columns lie beyond the frame's edges."""
    rng = np.random.default_rng(count)
    owner = np.sort(rng.integers(0, 6, count))
    pixels = rng.uniform((-30.0, 0.0), (330.0, 200.0), (count, 2))
    pool = Pool(np.arange(6), np.arange(6) / 60.0, owner, pixels, np.ones(count), np.ones(count))
    frame, column = np.arange(40) % 6, rng.uniform(-200.0, 600.0, 40)
    column[:count] = pixels[:40, 0] + 20.0 * rng.choice([-1.0, 1.0], len(pixels[:40]))
    row, pair = _in_reach(pool, frame, column, 20.0)
    apart = np.abs(pixels[:, 0] - column[:, None])
    wanted = (apart <= 20.0) & (owner == frame[:, None])
    found = np.zeros_like(wanted)
    found[pair, row] = True
    assert len(pair) == found.sum() and np.all(np.diff(pair) >= 0)
    assert np.all(found[wanted]) and np.all(apart[found] < 20.1)
    assert np.all(owner[row] == frame[pair])


@pytest.mark.parametrize("early_s", [0.07, 0.14])
def test_fit_comes_home_from_a_start_some_frames_off(early_s):
    """A start from which few of the candidates are near must not bend the flight to those."""
    throw = Throw(22.6, 35.8, 1.1, drag=0.45)
    frames = clip(np.random.default_rng(13), 5.0, [thrown(throw, 1.5)], clutter=10, missing=0.02)
    pool = pooled(frames)
    start = straight_flight(context(), 1.5 - early_s, np.radians(37.0), 22.9)
    flight = refine(context(), pool, start, (47.0, 23.0, 12.0, 7.0))
    assert flight.release_s == pytest.approx(1.5, abs=0.02)
    assert apart_px(flight, throw, 1.5) < 1.5


def test_what_nearly_was_a_flight_is_reported_with_its_reason():
    throw = Throw(19.0, 45.0)
    whole = thrown(throw, 1.6)

    def glimpse(time):
        return whole(time) if time < 1.6 + 0.4 else None

    searching = new_search()
    for candidates in clip(np.random.default_rng(14), 6.0, [glimpse], missing=0.0):
        assert searching.push(candidates) == []
    assert [found for found in searching.finish() if found] == []
    reported = [
        why for flight, why in searching.rejected_candidates if abs(flight.release_s - 1.6) < 0.3
    ]
    assert reported
    codes = {ReasonCode.DETECTIONS_FEW, ReasonCode.DETECTIONS_SHARE, ReasonCode.CHANCE}
    assert {why.code for why in reported} <= codes


def test_hops_and_balls_thrown_back_are_no_shots():
    """One shot, its two hops, and the same ball thrown and then rolled back to the launcher."""
    legs, start_s, throw = [], 1.4, Throw(17.0, 42.0)
    for _ in range(3):
        legs.append(thrown(throw, start_s))
        _, lasts_s, end = flown(throw)
        start_s += lasts_s
        speed = np.linalg.norm(end[3:] * (0.62, 0.62, 0.65))
        up = np.degrees(np.arcsin(-0.65 * end[5] / speed))
        throw = Throw(float(speed), float(up), start_m=(*end[:2], RADIUS_M + 1e-6))
    # Azimuth 180: from where the ball lay, towards the launcher.
    back = thrown(Throw(14.0, 35.0, 180.0, start_m=(end[0], 0.3, 1.6)), start_s + 0.4)

    def rolled(time):
        gone = time - start_s - 2.5
        return seen(VIEW, [14.0 - 5.0 * gone, 0.2, RADIUS_M])[0] if 0.0 < gone < 2.6 else None

    frames = clip(np.random.default_rng(15), 12.0, [*legs, back, rolled], missing=0.1)
    assert [flight.release_s for flight in search(frames)] == pytest.approx([1.4], abs=0.06)


def test_empty_clip_has_no_flight():
    assert list(new_search().finish()) == []
    assert search(clip(np.random.default_rng(12), 3.0, clutter=0)) == []


def test_what_a_flight_takes_has_no_votes_left(monkeypatch):
    cast = []
    own = FlightSearch._cast

    def counted(self, times_s, pixels, votes):
        cast.append(votes)
        own(self, times_s, pixels, votes)

    monkeypatch.setattr(FlightSearch, "_cast", counted)
    frames = clip(np.random.default_rng(3), 6.0, [thrown(THROWS["lob"], 2.1)], clutter=0)
    assert len(search(frames)) == 1
    votes = np.concatenate(cast)
    given = votes[votes > 0.0].sum()
    assert given > 0.0
    assert votes.sum() == pytest.approx(0.0, abs=0.1 * given)


def test_the_frames_of_a_flight_are_those_about_it():
    frames = clip(np.random.default_rng(3), 6.0, [thrown(THROWS["lob"], 2.1)], clutter=0)
    searching, asked = new_search(), []
    found = map(searching.push, frames)
    for flight in (each for flights in chain(found, searching.finish()) for each in flights):
        asked.append((flight, [each.time_s for each in searching.candidates(flight, 0.3)]))
    ((flight, times_s),) = asked
    end_s = flight.release_s + float(flight.trajectory.times_s[-1])
    assert 0.0 <= times_s[0] - (flight.release_s - 0.3) < 1.0 / FPS
    assert 0.0 <= end_s + 0.3 - times_s[-1] < 1.0 / FPS


def test_only_the_flights_used_last_are_kept(monkeypatch):
    monkeypatch.setattr("tracker.following.search.MOST_FLOWN", 3)
    keeps = new_search()
    first, second = keeps._flight(20, 30), keeps._flight(20, 31)
    for speed in (32, 33, 34):
        keeps._flight(20, speed)
        assert keeps._flight(20, 31) is second
    assert len(keeps._flown) == 3
    again = keeps._flight(20, 30)
    assert again is not first
    assert np.array_equal(again.trajectory.states, first.trajectory.states)


def test_rows_of_the_ballot_are_cleared_one_by_one():
    ballot = Ballot(0.1, 2.0)
    release_s = (np.arange(3, 9) + 0.5) * ballot.bin_s
    ballot.cast(
        np.repeat(release_s[:, None], len(ANGLES_DEG), 1),
        np.full((6, len(ANGLES_DEG)), 5.0),
        np.ones(6),
    )
    middle = (slice(None), 4, 5)
    assert ballot.block(5, 6)[middle] == pytest.approx([9.0, 9.0])
    ballot.clear(5, 6)
    # Each cell has its neighbours' votes beside its own: of two rows, one or none is left.
    assert ballot.block(4, 7)[middle] == pytest.approx([6.0, 3.0, 3.0, 6.0])


def test_release_times_are_the_middles_of_their_rows():
    searching = new_search()
    rows = searching._release_s(7, 9)
    assert rows == pytest.approx(np.array([7.5, 8.5, 9.5]) * searching._ballot.bin_s)
    assert [searching._ballot.row_of(float(each)) for each in rows] == [7, 8, 9]


def test_many_candidates_in_one_place_have_the_votes_of_one():
    searching = new_search()
    pixels = np.array([[400.0, 500.0]] * 8 + [[1500.0, 300.0]])
    empty = Cutouts(np.zeros((9, 1, 1), np.int16), pixels.astype(np.int64))
    searching.push(Candidates(0, 0.0, pixels, np.full(9, 20.0), empty, None))
    (kept,) = searching._kept
    assert kept.votes[:8] == pytest.approx(kept.votes[8] / 8.0)
    assert np.all(kept.clutter[:8] > kept.clutter[8])


@pytest.mark.parametrize("short_of_s", [0.05, 0.9])
def test_votes_do_not_wrap_across_a_gap_that_a_flight_can_span(short_of_s, monkeypatch):
    """In the ring each open release time has a row of its own, whatever time passes unseen."""
    searching = new_search()
    rows = searching._ballot._rows
    gap_s = searching._longest + BLOCK_S - short_of_s
    reached = []
    cast = Ballot.cast

    def noted(ballot, release_s, speed_index, weight, first=None):
        at = np.floor(release_s / ballot.bin_s - 0.5)
        reached.append(np.nanmax(at + 1.0, initial=first) - first)
        cast(ballot, release_s, speed_index, weight, first)

    monkeypatch.setattr(Ballot, "cast", noted)
    frames = clip(np.random.default_rng(8), 6.0, clutter=5)
    late = [each for each in frames if each.time_s < 1.0]
    after = frames[-1].time_s + gap_s
    for each in [*frames, *(replace(one, time_s=one.time_s + after) for one in late)]:
        searching.push(each)
    assert len(reached) > 10 and max(reached) < rows
