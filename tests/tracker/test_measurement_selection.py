"""What becomes of flights that were found and could not be measured."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.invented_shot import invented
from tracker.comparison.setups import SetupShots, summarise
from tracker.measurement.selection import (
    MOST_REJECTED,
    SURE_SUPPORT,
    is_again,
    is_shadow,
    rejected_row,
    selected,
)
from tracker.records import MeasuredShot, Quality, Reason, ReasonCode, RejectedCandidate


def refused(release_s: float, support: float, seen: int = 60, offset_px: float = 400.0):
    """A flight beside the invented shot's path, by so many px."""
    shot = invented()[0]
    assert shot.path is not None
    times = shot.path.times_s - shot.path.times_s[0] + release_s
    return RejectedCandidate(
        clip=shot.shot.clip,
        release_s=release_s,
        support=support,
        frames_seen=seen,
        frames_crossed=100,
        reasons=(Reason(ReasonCode.NO_FIT),),
        times_s=times,
        pixels=shot.path.pixels + np.array([0.0, offset_px]),
    )


def the_shot() -> MeasuredShot:
    return invented()[0]


def began_s() -> float:
    path = the_shot().path
    assert path is not None
    return float(path.times_s[0])


def test_a_clear_flight_that_failed_is_a_rejected_row_without_figures():
    rows, reported = selected([the_shot()], [refused(30.0, 2 * SURE_SUPPORT)], "100 mm wheels")
    assert [row.shot.quality for row in rows] == [the_shot().shot.quality, Quality.REJECTED]
    row = rows[1].shot
    assert (row.setup, row.release_s, row.frames_seen) == ("100 mm wheels", 30.0, 60)
    assert row.exit_speed_mps is None
    assert row.carry_m is None
    assert not row.landing_seen
    assert [each.code for each in row.reasons] == [ReasonCode.NOT_MEASURED, ReasonCode.NO_FIT]
    assert len(reported) == 1


def test_two_tries_at_one_flight_make_one_row():
    tries = [refused(30.0, 300.0), refused(30.1, 200.0)]
    rows, reported = selected([], tries, "s")
    assert [row.shot.release_s for row in rows] == [30.0]
    assert len(reported) == 2


def test_what_is_weak_or_moves_on_its_own_is_reported_and_makes_no_row():
    weak = [refused(30.0, 0.9 * SURE_SUPPORT), refused(40.0, 400.0, seen=40)]
    rows, reported = selected([], weak, "s")
    assert rows == []
    assert [each.release_s for each in reported] == [30.0, 40.0]


def test_what_is_left_of_a_measured_shot_makes_no_row():
    again = refused(began_s(), 400.0, offset_px=8.0)
    rows, reported = selected([the_shot()], [again], "s")
    assert len(rows) == 1
    assert [each.code for each in reported[0].reasons] == [
        ReasonCode.NO_FIT,
        ReasonCode.SAME_DETECTIONS,
    ]
    assert reported[0].reasons[1].numbers == {"release_s": the_shot().shot.release_s}


def test_a_shot_that_borrows_another_ones_pictures_is_dropped_and_reported():
    good = the_shot()
    few = good.points[::3]
    poor = MeasuredShot(replace(good.shot, frames_seen=len(few)), few, good.path)
    rows, reported = selected([good, poor], [], "s")
    assert rows == [good]
    assert [each.code for each in reported[0].reasons] == [ReasonCode.BORROWED_POSITIONS]
    assert np.all(np.isfinite(reported[0].times_s))


def test_a_shot_that_was_found_twice_is_one_shot():
    good = the_shot()
    less = MeasuredShot(
        replace(good.shot, frames_seen=good.shot.frames_seen - 1), good.points, good.path
    )
    again = MeasuredShot(replace(good.shot, release_s=good.shot.release_s), good.points, good.path)
    for found in ([good, less, again], [less, good, again]):
        rows, reported = selected(found, [], "s")
        assert len(rows) == 1
        assert rows[0].shot.frames_seen == good.shot.frames_seen
        assert all(each.reasons[0].code is ReasonCode.DUPLICATE for each in reported)
        assert len(reported) == 2


def test_two_balls_that_cross_are_two_shots():
    one = the_shot()
    assert one.path is not None
    lower = tuple(replace(point, row_px=point.row_px + 5.0) for point in one.points)
    other = MeasuredShot(one.shot, lower, one.path)
    rows, _ = selected([one, other], [], "s")
    assert len(rows) == 2


def test_rejected_rows_are_counted_by_no_comparison():
    setup = the_shot().shot.setup
    shots = [the_shot().shot, rejected_row(refused(30.0, 400.0), setup).shot]
    summary = summarise(SetupShots(setup, tuple(shots), ("a", "a")), "carry_m")
    assert summary.used == 1


def sharing(good: MeasuredShot, share: float) -> MeasuredShot:
    """The same shot with that share of its positions on the other's, the rest far away."""
    count = len(good.points)
    points = tuple(
        point if index < share * count else replace(point, column_px=point.column_px + 40.0)
        for index, point in enumerate(good.points)
    )
    return MeasuredShot(good.shot, points, good.path)


@pytest.mark.parametrize(("share", "again"), [(0.4, False), (0.6, True), (0.9, True)])
def test_a_shot_is_another_again_from_half_of_its_positions_on(share: float, again: bool):
    good = the_shot()
    assert is_again(sharing(good, share), good) is again


@pytest.mark.parametrize(("share", "shadow"), [(0.4, False), (0.6, True)])
def test_a_shadow_has_half_its_positions_near_a_far_better_shot(share: float, shadow: bool):
    good = the_shot()
    few = sharing(good, share)
    rare = replace(few, shot=replace(few.shot, frames_seen=good.shot.frames_seen // 2 - 1))
    assert is_shadow(rare, good) is shadow
    often = replace(few, shot=replace(few.shot, frames_seen=good.shot.frames_seen // 2 + 1))
    assert not is_shadow(often, good)


def test_no_more_candidates_are_kept_than_the_strongest():
    many = [refused(10.0 + at, 10.0 + at, seen=9) for at in range(MOST_REJECTED + 5)]
    _, kept = selected([], many, "s")
    assert len(kept) == MOST_REJECTED
    assert min(each.support for each in kept) == 15.0
