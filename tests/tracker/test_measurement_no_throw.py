"""A bare clip without a shot: the cause, and the paths that it shows."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import FRAME_S, calibrated, circumstances
from tracker.following.arcs import Arc, fit_arc
from tracker.measurement.passes import Timing
from tracker.measurement.scouting import Scouted
from tracker.measurement.starts import slow_files
from tracker.measurement.starts.no_throw import (
    FARTHEST_M,
    MOST_PATHS,
    NEAREST_M,
    other_paths,
    why_no_throw,
)
from tracker.measurement.starts.not_believed import NOT_BELIEVED, not_believed
from tracker.measurement.starts.thrown import rejected_throw
from tracker.measurement.throws import Throw
from tracker.records import Reason, ReasonCode

CONTEXT = clip_context(circumstances(calibrated()))
CLOCK = np.arange(60) * FRAME_S
TIMING = Timing(CLOCK, CLOCK)
NUMBERS = (
    "away_m", "speed_mps", "count", "crossed", "beyond_s", "frames", "expected", "diameter_px",
    "most_px", "support", "needed",
)  # fmt: skip


def arc(count: int, fall: float = 0.0, row: float = 100.0) -> Arc:
    times = np.arange(count) * FRAME_S
    places = np.column_stack([100.0 + 300.0 * times, row + 0.5 * fall * times**2])
    return fit_arc(np.column_stack([np.arange(count), times, places]), FRAME_S)


def scouted(*arcs: Arc, throws: tuple[int, ...] = (), slow: tuple[int, ...] = ()) -> Scouted:
    return Scouted(arcs, throws, slow, FRAME_S, TIMING, "", (), ())


def test_nothing_that_falls_is_said_with_how_much_moves() -> None:
    (cause,) = why_no_throw([], CONTEXT, scouted(arc(9), arc(12), arc(30)))
    assert cause == Reason(ReasonCode.NO_PATH_FALLS, {"paths": 3})
    for few in ((), (arc(9),)):
        assert why_no_throw([], CONTEXT, scouted(*few)) == (Reason(ReasonCode.NOTHING_FALLS),)


@pytest.mark.parametrize(("sound", "said"), [(0.67, False), (0.66, True), (0.0, True)])
def test_a_file_that_can_hardly_be_read_is_no_wrong_clip(sound: float, said: bool) -> None:
    """A third of its frames is damaged: that comes before whatever falls in the others."""
    fall = rejected_throw(Throw(arc(25, 400.0), None), CONTEXT, FRAME_S, Reason(ReasonCode.RUNS_ON))
    found = replace(scouted(arc(9), arc(12)), sound_share=sound)
    for causes in (
        why_no_throw([], CONTEXT, found),
        why_no_throw([fall], CONTEXT, found),
    ):
        assert (causes[0].code is ReasonCode.FRAMES_UNREAD) is said
    if said:
        assert causes[0].numbers == {"percent": pytest.approx(100.0 * (1.0 - sound))}


def test_of_rejected_throws_the_longest_is_named_with_its_reasons() -> None:
    chance = Reason(ReasonCode.POSITIONS_BY_CHANCE, {"support": 3.0, "needed": 28.0})
    rejected = [
        rejected_throw(Throw(arc(count, 400.0), None), CONTEXT, FRAME_S, reason)
        for count, reason in ((10, Reason(ReasonCode.RUNS_ON)), (25, chance))
    ]
    (cause,) = why_no_throw(rejected, CONTEXT, scouted())
    assert cause == not_believed(rejected[1], 1.0)
    assert cause.code is ReasonCode.NO_THROW_MEASURED
    end_s = rejected[1].release_s + 24 * FRAME_S
    assert cause.numbers == {"release_s": rejected[1].release_s, "end_s": pytest.approx(end_s)}
    assert not_believed(rejected[1], 4.0).numbers["end_s"] == pytest.approx(4.0 * 24 * FRAME_S)
    assert "chance explains it as well, so film where" in cause.clause


@pytest.mark.parametrize(
    ("reason", "advised"),
    [
        (Reason(ReasonCode.NO_FIT), True),
        (Reason(ReasonCode.IMPLAUSIBLE), True),
        (Reason(ReasonCode.DISTANCE_IMPLAUSIBLE, {"away_m": 300.0}), True),
        (Reason(ReasonCode.SPEED_IMPLAUSIBLE, {"speed_mps": 90.0}), True),
        (Reason(ReasonCode.RUNS_ON), False),
    ],
)
def test_a_wrong_distance_asks_for_the_cameras_place(reason: Reason, advised: bool) -> None:
    rejected = [rejected_throw(Throw(arc(25, 400.0), None), CONTEXT, FRAME_S, reason)]
    said = why_no_throw(rejected, CONTEXT, scouted(), position_known=False)
    assert said[0] == not_believed(rejected[0], 1.0)
    assert said[1:] == ((Reason(ReasonCode.CAMERA_PRESUMED),) if advised else ())
    assert why_no_throw(rejected, CONTEXT, scouted()) == said[:1]


def test_every_test_that_a_fall_may_fail_is_said_with_what_to_do() -> None:
    """In words that every number of the reason fits; of any other the reason's own."""
    for code, plainly in NOT_BELIEVED.items():
        reason = Reason(code, dict.fromkeys(NUMBERS, 12.0))
        said = not_believed(rejected_throw(Throw(arc(9), None), CONTEXT, FRAME_S, reason), 1.0)
        assert "{" not in said.clause and ", so " in plainly
        assert said.clause.endswith(plainly.format(**reason.numbers))
    other = Reason(ReasonCode.WRONG_WAY)
    said = not_believed(rejected_throw(Throw(arc(9), None), CONTEXT, FRAME_S, other), 1.0)
    assert said.words == other.clause


def test_what_falls_too_slowly_is_named_with_how_slow_the_file_may_be() -> None:
    """Gravity f g / d in the picture; played k times slower it is smaller by k squared."""
    fall = CONTEXT.camera.focal_px * CONTEXT.circumstances.forces.gravity_mps2 / 900.0
    slow = scouted(arc(1200, fall), slow=(0,))
    (cause,) = why_no_throw([], CONTEXT, slow)
    assert cause.code is ReasonCode.FALLS_SLOWLY
    assert cause.numbers["away"] == pytest.approx(900.0, rel=1e-3)
    assert cause.numbers["least"] == pytest.approx(np.sqrt(900.0 / FARTHEST_M), rel=1e-3)
    assert cause.numbers["most"] == pytest.approx(np.sqrt(900.0 / NEAREST_M), rel=1e-3)
    assert cause.numbers["rate_fps"] == 960.0


@pytest.mark.parametrize(("times", "rate"), [(4.2**2, 480.0), (0.9**2, 240.0), (6.1**2, 960.0)])
def test_a_ball_that_is_seen_near_says_how_slow_the_file_is(
    monkeypatch: pytest.MonkeyPatch, times: float, rate: float
) -> None:
    """At 120 frames a second, in its own diameters."""
    monkeypatch.setattr(slow_files, "LEAST_TIMES", 0.0)
    path = arc(1200, CONTEXT.camera.focal_px * 9.81 / 900.0)
    near = replace(scouted(path, slow=(0,)), others=((path, times),))
    (cause,) = why_no_throw([], CONTEXT, near)
    assert cause.numbers["rate_fps"] == rate
    # A hand that carries a ball slowly is no slow motion.
    cause, *_ = why_no_throw([], CONTEXT, replace(near, slow=()))
    assert cause.code is not ReasonCode.FALLS_SLOWLY


def test_what_goes_nearly_straight_is_no_slow_motion() -> None:
    """A path that gains less than a quarter of its speed downward rolls, or walks past."""
    for count, bends in ((310, True), (240, False)):
        path = arc(count, 300.0 * 0.25 / (270.0 * FRAME_S))
        (cause,) = why_no_throw([], CONTEXT, scouted(path, path, slow=(0,)))
        assert (cause.code is ReasonCode.FALLS_SLOWLY) is bends


@pytest.mark.parametrize(("speed", "let_go"), [(0.1, True), (1.99, True), (2.01, False)])
def test_what_is_dropped_is_said_to_be(speed: float, let_go: bool) -> None:
    reason = Reason(ReasonCode.SPEED_IMPLAUSIBLE, {"speed_mps": speed})
    dropped = rejected_throw(Throw(arc(20, 400.0), None), CONTEXT, FRAME_S, reason)
    (cause,) = why_no_throw([dropped], CONTEXT, scouted())
    assert (cause.code is ReasonCode.LET_GO) is let_go
    if let_go:
        assert f"{speed:.1f} m/s" in cause.clause and "from 2 m/s on" in cause.clause


def test_the_longest_other_paths_are_listed_and_no_part_of_a_throw() -> None:
    throw = arc(40, 400.0, row=50.0)
    part = fit_arc(np.column_stack([throw.frames, throw.times_s, throw.pixels])[5:20], FRAME_S)
    others = [arc(8 + number, row=100.0 + 9.0 * number) for number in range(MOST_PATHS + 5)]
    found = other_paths([Throw(throw, None)], CONTEXT, scouted(throw, part, *others))
    assert [each.frames_seen for each in found] == [
        len(each.frames) for each in reversed(others[5:])
    ]
    assert {each.reasons[0].code for each in found} == {ReasonCode.DOES_NOT_FALL}


def brief(begin: int, count: int = 16) -> Arc:
    """A fall of an eighth of a second, from a frame on."""
    times = (begin + np.arange(count)) * FRAME_S
    places = np.column_stack([100.0 + 900.0 * times, 100.0 + 1200.0 * (times - times[0]) ** 2])
    return fit_arc(np.column_stack([begin + np.arange(count), times, places]), FRAME_S)


@pytest.mark.parametrize(
    ("begin", "code"),
    [
        (0, ReasonCode.FALLS_AT_CUT),
        (2, ReasonCode.FALLS_AT_CUT),
        (3, ReasonCode.FALLS_BRIEFLY),
        (41, ReasonCode.FALLS_BRIEFLY),
        (42, ReasonCode.FALLS_AT_CUT),
    ],
)
@pytest.mark.parametrize("near", [False, True])
def test_what_falls_too_briefly_is_named_and_whether_the_clip_cut_it(begin, code, near) -> None:
    times = np.arange(60) * FRAME_S
    path = brief(begin)
    found = replace(
        scouted(*(() if near else (path,))), timing=Timing(times, times), brief=(path,) * near
    )
    (cause,) = why_no_throw([], CONTEXT, found)
    assert cause.code is code
    assert cause.numbers["lasts_s"] == pytest.approx(15 * FRAME_S)
    assert cause.numbers["release_s"] == pytest.approx(begin * FRAME_S)


@pytest.mark.parametrize(("lost", "unsteady"), [(30, False), (31, True)])
def test_a_camera_that_was_not_followed_is_named_before_what_moves(lost, unsteady) -> None:
    times = np.arange(60) * FRAME_S
    found = replace(
        scouted(arc(9), arc(12)), timing=Timing(times, times), lost_s=tuple(times[:lost])
    )
    (cause,) = why_no_throw([], CONTEXT, found)
    assert (cause.code is ReasonCode.CAMERA_UNSTEADY) is unsteady
    if unsteady:
        assert cause.numbers["percent"] == pytest.approx(100.0 * lost / 60.0)


@pytest.mark.parametrize(
    ("number", "away", "pace", "slow"),
    [
        ({"speed_mps": 71.0}, 200.0, 1.0, True),
        ({"speed_mps": 69.0}, 200.0, 1.0, False),
        ({"away_m": 251.0}, 101.0, 1.0, True),
        ({"away_m": 249.0}, 200.0, 1.0, False),
        ({"speed_mps": 71.0}, 99.0, 1.0, False),
        ({"speed_mps": 71.0}, 200.0, 8.0, False),
    ],
)
def test_a_throw_too_fast_or_too_far_asks_for_the_true_rate(number, away, pace, slow) -> None:
    """At 200 m it falls as at 50 m in a file that plays twice slower than life."""
    context = clip_context(circumstances(calibrated()))
    object.__setattr__(context.facts, "pace", pace)
    fall = context.camera.focal_px * context.circumstances.forces.gravity_mps2 / away
    code = ReasonCode["SPEED_IMPLAUSIBLE" if "speed_mps" in number else "DISTANCE_IMPLAUSIBLE"]
    reason = Reason(code, number)
    path = rejected_throw(Throw(arc(300, fall), None), context, FRAME_S, reason)
    cause, *_ = why_no_throw([path], context, scouted())
    assert (cause.code is ReasonCode.FALLS_SLOWLY) is slow
    if slow:
        assert cause.numbers["away"] == pytest.approx(away, rel=0.001)
        assert cause.numbers["most"] == pytest.approx(np.sqrt(away / NEAREST_M), rel=0.01)


@pytest.mark.parametrize(("count", "aslant"), [(30, False), (32, True)])
def test_a_near_fall_that_lasts_and_is_no_throw_flies_aslant(count, aslant) -> None:
    """A quarter of a second is 30 steps of 1/120 s."""
    times = np.arange(60) * FRAME_S
    found = replace(scouted(), timing=Timing(times, times), brief=(brief(10, count),))
    (cause,) = why_no_throw([], CONTEXT, found)
    assert (cause.code is ReasonCode.FALLS_ASLANT) is aslant
    assert cause.numbers["release_s"] == pytest.approx(10 * FRAME_S)


@pytest.mark.parametrize(("apart_s", "said"), [(0.4, True), (0.251, True), (0.25, False)])
def test_frames_too_far_apart_for_any_throw_are_named_first(apart_s, said) -> None:
    """Eight frames 0.25 s apart are the two seconds of a flight."""
    chance = Reason(ReasonCode.POSITIONS_BY_CHANCE, {"support": 3.0, "needed": 28.0})
    path = rejected_throw(Throw(arc(25, 400.0), None), CONTEXT, FRAME_S, chance)
    cause, *_ = why_no_throw([path], CONTEXT, replace(scouted(), frame_s=apart_s))
    assert (cause.code is ReasonCode.FRAMES_FAR_APART) is said
    if said:
        assert f"{apart_s:.2g} s apart" in cause.clause and "than the 8 frames" in cause.clause


@pytest.mark.parametrize(
    ("times", "rejected", "lost", "named"),
    [
        (3.0, 19, 0, True),
        (3.0, 20, 0, False),
        (4.4, 19, 0, True),
        (4.6, 19, 0, False),
        (0.46, 0, 0, True),
        (0.44, 0, 0, False),
        (3.0, 0, 31, False),
    ],
)
def test_what_falls_as_another_ball_asks_which_it_was(times, rejected, lost, named) -> None:
    """A tennis ball is 6.7 cm across; balls of 3 to 30 cm are thrown."""
    path = arc(20, 100.0)
    found = replace(
        scouted(),
        lost_s=tuple(CLOCK[:lost]),
        others=((arc(15), 1.0 / 9.0), (arc(16), 1.5), (path, times)),
    )
    refused = [
        rejected_throw(Throw(arc(count, 400.0), None), CONTEXT, FRAME_S, Reason(ReasonCode.RUNS_ON))
        for count in (rejected,)
        if count
    ]
    cause, *_ = why_no_throw(refused, CONTEXT, replace(found, others=found.others[2:]))
    assert (cause.code is ReasonCode.ANOTHER_BALL) is named
    if named:
        assert cause.numbers["stated_cm"] == pytest.approx(6.7)
        assert cause.numbers["least_cm"] == pytest.approx(6.7 * times / 1.6)
        assert cause.numbers["most_cm"] == pytest.approx(6.7 * times * 1.6)
        longest, *otherwise = why_no_throw([], CONTEXT, found)
        assert longest == cause and otherwise


@pytest.mark.parametrize(("frames", "short"), [(23, True), (25, False)])
def test_a_clip_shorter_than_a_throw_says_so(frames, short) -> None:
    """A fifth of a second is 24 frames of 1/120 s."""
    clock = np.arange(frames) * FRAME_S
    (cause,) = why_no_throw([], CONTEXT, replace(scouted(), timing=Timing(clock, clock)))
    assert (cause.code is ReasonCode.CLIP_TOO_SHORT) is short
    if short:
        assert "in a clip of 0.19 s" in cause.clause and "from 0.2 s on" in cause.clause
