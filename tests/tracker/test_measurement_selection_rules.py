"""Which of several found flights are one: positions counted one by one, on both sides of a half."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from tests.tracker.invented_shot import invented
from tracker.measurement import selection
from tracker.measurement.selection import (
    is_again,
    is_shadow,
    part_of_another,
    rejected_row,
    selected,
)
from tracker.measurement.starts import merging
from tracker.measurement.starts.merging import together, without_hops
from tracker.records import (
    FlightPath,
    MeasuredShot,
    Quality,
    Reason,
    ReasonCode,
    RejectedCandidate,
)

TIMES = np.arange(11) * 0.1
PIXELS = np.column_stack([100.0 + 400.0 * TIMES, 300.0 - 100.0 * TIMES])


def shot(seen=10, *, name=2, release_s=1.0, off=(), unused=(), quality=Quality.CHECK):
    """A shot of ten positions on a path; some of them off it by so many columns and rows."""
    first = invented()[0]
    points = []
    for frame in range(10):
        column, row = PIXELS[frame] + np.array(dict(off).get(frame, (0.0, 0.0)))
        points.append(
            replace(
                first.points[0], frame=frame, time_s=TIMES[frame], used=frame not in unused,
                column_px=float(column), row_px=float(row),
            )
        )  # fmt: skip
    path = FlightPath(TIMES, np.zeros((11, 3)), PIXELS, PIXELS[0], PIXELS[5], PIXELS[-1])
    row = replace(first.shot, shot=name, frames_seen=seen, release_s=release_s, quality=quality)
    return MeasuredShot(row, tuple(points), path)


def candidate(release_s=30.0, support=300.0, seen=60, off_px=400.0, part=slice(None)):
    return RejectedCandidate(
        clip="140mm.mp4",
        release_s=release_s,
        support=support,
        frames_seen=seen,
        frames_crossed=100,
        reasons=(Reason(ReasonCode.NO_FIT),),
        times_s=TIMES[part],
        pixels=PIXELS[part] + np.array([0.0, off_px]),
    )


FAR = (0.0, 500.0)


@pytest.mark.parametrize(("apart", "again"), [(4, True), (5, False), (6, False)])
def test_a_shot_is_another_again_when_more_than_half_of_its_positions_are(apart, again):
    assert is_again(shot(off=dict.fromkeys(range(apart), FAR)), shot()) is again


def test_positions_that_either_flight_does_not_use_are_neither_shared_nor_counted():
    """Five used ones, three of them shared; and of ten only those that the other uses."""
    mine = shot(unused=range(5), off={5: FAR, 6: FAR})
    assert is_again(mine, shot())
    assert not is_again(shot(unused=range(5), off={5: FAR, 6: FAR, 7: FAR}), shot())
    assert not is_again(shot(), shot(unused=range(5))) and is_again(shot(), shot(unused=range(4)))


@pytest.mark.parametrize("way", [(1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)])
def test_a_position_is_anothers_below_three_pixels_either_way(way):
    def at(column, row):
        points = (replace(each, column_px=column, row_px=row) for each in shot().points)
        return replace(shot(), points=tuple(points))

    for off_px, again in ((2.9, True), (3.0, False), (3.1, False)):
        mine = at(100.0 + off_px * way[0], 200.0 + off_px * way[1])
        assert is_again(mine, at(100.0, 200.0)) is again


@pytest.mark.parametrize(("apart", "shadow"), [(4, True), (5, False)])
def test_a_shadow_has_more_than_half_of_its_used_positions_near_the_other_path(apart, shadow):
    assert is_shadow(shot(5, off=dict.fromkeys(range(apart), FAR)), shot(10)) is shadow
    # Of eight used ones: the far ones that are not used do not count.
    rest = shot(5, off=dict.fromkeys(range(apart), FAR), unused=range(2))
    assert is_shadow(rest, shot(10))


def test_a_position_is_near_a_path_while_that_lasts_and_below_thirty_pixels():
    one = shot()
    at = np.array([-0.01, 0.0, 0.55, 1.0, 1.01])
    pixels = np.column_stack([100.0 + 400.0 * at, 300.0 - 100.0 * at])
    for off_px, share in ((0.0, 0.6), (29.9, 0.6), (30.1, 0.0)):
        near = selection._share_near(one, at, pixels + np.array([0.0, off_px]))
        assert near == pytest.approx(share)
    # Along and down: both are interpolated.
    assert selection._share_near(one, at[2:3], pixels[2:3] + np.array([22.0, -22.0])) == 0.0
    assert selection._share_near(one, at[2:3], pixels[2:3] + np.array([21.0, -21.0])) == 1.0
    exactly = replace(one.path, pixels=np.tile([100.0, 200.0], (11, 1)))
    assert selection._share_near(
        replace(one, path=exactly), at[2:3], np.array([[130.0, 200.0]])
    ) == 0.0  # fmt: skip
    assert selection._share_near(replace(one, path=None), at, pixels) == 0.0
    assert selection._share_near(one, np.zeros(0), np.zeros((0, 2))) == 0.0


def test_a_part_of_another_shot_is_a_rejected_candidate_without_support():
    mine, owner = shot(7, release_s=2.5), shot(release_s=1.25)
    found = part_of_another(mine, mine.path, ReasonCode.HOP, owner)
    assert (found.support, found.frames_seen, found.frames_crossed) == (0.0, 7, 10)
    assert found.release_s == 2.5 and found.clip == mine.shot.clip
    assert found.reasons == (Reason(ReasonCode.HOP, {"release_s": 1.25}),)
    assert found.times_s is mine.path.times_s and found.pixels is mine.path.pixels


def test_of_two_alike_the_one_seen_more_often_stays_else_the_first():
    first, second, fuller = shot(10, name=1), shot(10, name=2), shot(11, name=3)
    for given, stays in (
        ([first, second], 1), ([second, first], 2), ([first, fuller], 3), ([fuller, first], 3),
        ([first, second, fuller], 3),
    ):  # fmt: skip
        kept, shadows = selection._without_shadows(given)
        assert [each.shot.shot for each in kept] == [stays]
        assert [each.reasons[0].code for each in shadows] == [ReasonCode.DUPLICATE] * (
            len(given) - 1
        )


def test_a_shadow_is_named_as_one_before_a_duplicate_and_stays_no_row():
    kept, shadows = selection._without_shadows([shot(5, name=1), shot(10, name=2)])
    assert [each.shot.shot for each in kept] == [2]
    assert shadows[0].reasons[0].code is ReasonCode.BORROWED_POSITIONS
    # A row without a path leaves no candidate.
    bare = replace(shot(10, name=2), path=None)
    kept, shadows = selection._without_shadows([shot(10, name=1), bare])
    assert [each.shot.shot for each in kept] == [1] and shadows == []


def test_rows_and_rejected_candidates_come_in_order_of_time():
    rows, rejected = selected(
        [shot(release_s=50.0), shot(release_s=3.0, off=dict.fromkeys(range(10), FAR))],
        [candidate(40.0), candidate(20.0, support=900.0), candidate(30.0, support=5.0)],
        "140 mm",
    )
    assert [each.shot.release_s for each in rows] == [3.0, 20.0, 40.0, 50.0]
    assert [each.release_s for each in rejected] == [20.0, 30.0, 40.0]


@pytest.mark.parametrize(
    ("part", "along"), [(slice(0, 2), False), (slice(0, 3), True), (slice(8, 11), True)]
)
def test_a_candidate_is_part_of_a_shot_with_more_than_a_quarter_of_its_shown_places(part, along):
    """Of eight places that are shown; those off the frame do not count."""
    one = candidate(off_px=900.0)
    pixels = one.pixels.copy()
    pixels[part] = PIXELS[part]
    hidden = [row for row in range(11) if row not in range(*part.indices(11))][:3]
    pixels[hidden] = np.nan
    _, rejected = selected([shot()], [replace(one, pixels=pixels)], "s")
    codes = [each.code for each in rejected[0].reasons]
    assert (codes == [ReasonCode.NO_FIT, ReasonCode.SAME_DETECTIONS]) is along


def test_a_row_of_figures_does_not_hide_a_flight_released_at_its_time():
    """Two balls are in the air at once; two rejected rows of one release are one."""
    rows, _ = selected([shot(release_s=30.0)], [candidate(30.1), candidate(29.9)], "s")
    assert [each.shot.release_s for each in rows] == [30.0, 30.1]
    rows, _ = selected([], [candidate(30.0, 400.0), candidate(29.75), candidate(30.25)], "s")
    assert [each.shot.release_s for each in rows] == [30.0]
    apart = [candidate(30.0, 400.0), candidate(29.5), candidate(30.5)]
    assert len(selected([], apart, "s")[0]) == 3


def test_a_rejected_row_has_no_number_yet_and_no_figure():
    row = rejected_row(candidate(), "140 mm").shot
    assert row.shot == 0 and row.frames_seen == 60 and row.landing_seen is False
    nothing = [name for name in row.__dataclass_fields__ if getattr(row, name) is None]
    assert {"exit_speed_mps", "exit_speed_u_mps", "carry_m", "carry_u_m", "azimuth_u_deg"} <= set(
        nothing
    )


# --- from the release and from anywhere


def test_a_good_shot_from_the_release_stays_and_one_in_doubt_gives_way():
    elsewhere = shot(name=9)
    for quality, stays in ((Quality.GOOD, [1]), (Quality.CHECK, [9]), (Quality.REJECTED, [9])):
        found = together([shot(name=1, quality=quality)], [elsewhere], 1.0)
        assert [each.shot.shot for each in found] == stays
    apart = shot(name=9, off=dict.fromkeys(range(10), FAR))
    assert [each.shot.shot for each in together([shot(name=1)], [apart], 1.0)] == [1, 9]


def test_two_fits_of_which_either_is_most_of_the_other_are_of_one_ball():
    part = shot(unused=range(2, 10))
    assert not is_again(shot(), part) and is_again(part, shot())
    for doubtful, other in ((shot(name=1), part), (replace(part), shot(name=1))):
        assert merging._is_same(doubtful, other, 1.0)


def test_a_row_that_was_not_measured_is_of_no_flight_that_never_comes_down():
    """Nor does the time of its release count at the bounds themselves."""
    row = replace(shot(release_s=10.0), path=None)
    other = shot(release_s=10.0)
    for began_s, flight_s, same in (
        (0.0, None, False), (-0.1, None, True), (-1.5, 2.0, False), (-1.4, 2.0, True),
        (2.0, 2.0, False), (1.9, 2.0, True),
    ):  # fmt: skip
        at = replace(row, shot=replace(row.shot, release_s=10.0 + began_s))
        landed = replace(other, shot=replace(other.shot, flight_time_s=flight_s))
        assert merging._is_same(at, landed, 1.0) is same, (began_s, flight_s)


def test_hops_are_set_apart_with_the_shot_whose_they_are_and_shots_stay_in_order():
    one, two, hop = (shot(name=n, release_s=at) for n, at in ((1, 5.0), (2, 1.0), (3, 3.0)))
    bare = replace(shot(name=4, release_s=2.0), path=None)

    def whose(each, others):
        assert len(others) == 4
        return two if each.shot.shot in (3, 4) else None

    kept, hops = without_hops([one, two, hop, bare], whose)
    assert [each.shot.shot for each in kept] == [2, 4, 1]
    assert [each.reasons for each in hops] == [(Reason(ReasonCode.HOP, {"release_s": 1.0}),)]


def test_hops_are_by_default_those_on_the_field(monkeypatch):
    monkeypatch.setattr(merging, "hop_of", lambda each, others: others[0])
    kept, hops = without_hops([shot()])
    assert kept == [] and len(hops) == 1


def flight(points, times, quality=Quality.CHECK, flight_s=1.0, pixels=None):
    path = SimpleNamespace(
        points_m=np.array(points, float),
        times_s=np.array(times, float),
        pixels=None if pixels is None else np.array(pixels, float),
    )
    return SimpleNamespace(path=path, shot=SimpleNamespace(quality=quality, flight_time_s=flight_s))


# It comes down at 4 m/s along, 3 across (5 level) and 8 down, at (10, 5) and 2 s.
CAME_DOWN = flight([(0, 0, 0), (3, 1, 1), (6.0, 2.0, 8.0), (10.0, 5.0, 0.0)], [0.0, 0.5, 1.0, 2.0])


def after(*, at_s=2.0, start=(10.0, 5.0, 0.0), velocity=(2.0, 1.5, 4.0), **more):
    """What begins then and there, with a velocity that it does not keep."""
    first = np.array(start)
    return flight([first, first + 0.5 * np.array(velocity), first], [at_s, at_s + 0.5, 4.0], **more)


@pytest.mark.parametrize(
    ("changes", "is_hop"),
    [
        ({}, True),
        ({"at_s": 3.5}, False),
        ({"at_s": 3.25, "start": (18.0, 5.0, 0.0)}, True),
        # 2 m, and 5 m/s over a quarter of a second.
        ({"at_s": 2.25, "start": (10.0, 8.25, 0.0)}, False),
        ({"at_s": 2.25, "start": (10.0, 8.125, 0.0)}, True),
        ({"start": (10.0, 7.0, 0.0)}, False),
        ({"start": (10.0, 6.875, 0.0)}, True),
        # Height is no distance: where it begins is where it was seen first.
        ({"start": (10.0, 5.0, 9.0)}, True),
        ({"velocity": (2.0, 1.5, 8.0)}, False),
        ({"velocity": (2.0, 1.5, 7.9)}, True),
        ({"velocity": (4.0, 3.0, 1.0)}, False),
        ({"velocity": (3.9, 3.0, 1.0)}, True),
        # Across its way, and a sixth and a half of a right angle ahead of that.
        ({"velocity": (-1.5, 2.0, 1.0)}, False),
        ({"velocity": (0.0, 0.0, 1.0)}, False),
        ({"quality": Quality.GOOD}, False),
    ],
)
def test_a_hop_is_slower_near_and_ahead_at_each_bound(changes, is_hop):
    found = merging.hop_of(after(**changes), [CAME_DOWN])
    assert (found is CAME_DOWN) is is_hop


def test_a_landing_without_a_time_or_a_path_has_no_hop():
    hop = after()
    airborne = flight(CAME_DOWN.path.points_m, CAME_DOWN.path.times_s, flight_s=None)
    pathless = SimpleNamespace(path=None, shot=CAME_DOWN.shot)
    assert merging.hop_of(hop, [airborne, pathless, hop]) is None
    assert merging.hop_of(pathless, [CAME_DOWN]) is None
    assert merging.hop_of(hop, [airborne, pathless, hop, CAME_DOWN]) is CAME_DOWN


# The same in the picture: 40 px a metre of 3D speed, down and to the left.
SPEED = float(np.sqrt(16.0 + 9.0 + 64.0))
SEEN_DOWN = flight(
    CAME_DOWN.path.points_m, CAME_DOWN.path.times_s,
    pixels=[(0, 0), (0, 0), (900.0, 100.0),
            (900.0 - 24.0 * SPEED, 100.0 + 32.0 * SPEED)],
)  # fmt: skip
FOOT = SEEN_DOWN.path.pixels[-1]


def seen_after(*, at_s=2.0, off=(0.0, 0.0), speed=(-12.0 * SPEED, -16.0 * SPEED), **more):
    first = FOOT + np.array(off)
    pixels = [first, first + 0.5 * np.array(speed), first]
    return flight(np.zeros((3, 3)), [at_s, at_s + 0.5, 4.0], pixels=pixels, **more)


@pytest.mark.parametrize(
    ("changes", "is_hop"),
    [
        ({}, True),
        ({"at_s": 2.09}, True),
        ({"at_s": 2.11}, False),
        ({"off": (0.0, 79.9)}, True),
        ({"off": (0.0, 80.1)}, False),
        ({"off": (-80.1, 0.0)}, False),
        ({"speed": (-12.0 * SPEED, -0.759 * 32.0 * SPEED)}, True),
        ({"speed": (-12.0 * SPEED, -0.761 * 32.0 * SPEED)}, False),
        ({"speed": (-23.9 * SPEED, -10.0)}, True),
        ({"speed": (-24.1 * SPEED, -10.0)}, False),
        ({"speed": (0.1, -10.0)}, False),
        ({"speed": (-0.1, -10.0)}, True),
        ({"speed": (0.0, -10.0)}, False),
        ({"quality": Quality.GOOD}, False),
    ],
)
def test_a_hop_in_the_picture_is_slower_near_and_ahead_at_each_bound(changes, is_hop):
    found = merging.hop_in_picture(seen_after(**changes), [SEEN_DOWN])
    assert (found is SEEN_DOWN) is is_hop


def test_in_the_picture_no_shot_is_its_own_hop_and_pathless_ones_are_passed_over():
    hop = seen_after()
    pathless = SimpleNamespace(path=None, shot=SEEN_DOWN.shot)
    assert merging.hop_in_picture(hop, [hop, pathless]) is None
    assert merging.hop_in_picture(hop, [hop, pathless, SEEN_DOWN]) is SEEN_DOWN
    assert merging.hop_in_picture(pathless, [SEEN_DOWN]) is None


def test_velocities_are_those_of_a_paths_first_and_last_step():
    places = np.array([[0.0, 0.0], [1.0, 2.0], [4.0, 4.0], [4.0, 10.0]])
    times = np.array([0.0, 0.5, 1.0, 3.0])
    assert merging._rate(places, times, 0).tolist() == [2.0, 4.0]
    assert merging._rate(places, times, -1).tolist() == [0.0, 3.0]
