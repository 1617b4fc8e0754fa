"""A fit that goes astray costs its throw, never the clip."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.adjustment import NotDetermined
from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import FRAME_S, SIZE_PX, calibrated, circumstances
from tracker.following.arcs import Arc, fit_arc
from tracker.measurement.passes import NO_OBSERVERS, Timing
from tracker.measurement.scouting import Scouted
from tracker.measurement.starts.thrown import _prejudged, measure_throws, rejected_throw
from tracker.measurement.throws import Throw
from tracker.records import Reason, ReasonCode

CAMERA = calibrated()
TIMES_S = np.arange(12) * FRAME_S
CLIP_S = np.arange(40) * FRAME_S
PLACES = np.column_stack(
    [np.arange(12), TIMES_S, 100.0 + 900.0 * TIMES_S, 300.0 + 500.0 * TIMES_S**2]
)


def scouted_with(lost_s: tuple[float, ...], arcs: tuple[Arc, ...] = ()) -> Scouted:
    timing = Timing(CLIP_S, CLIP_S)
    return Scouted(arcs, (), (), FRAME_S, timing, "", (), (), lost_s)


@pytest.mark.parametrize(
    "fault",
    [NotDetermined("x"), np.linalg.LinAlgError("x"), ValueError("x"), OverflowError("x")],
)
def test_a_fit_that_fails_rejects_one_candidate(fault):
    class Astray:
        def first_fit(self, throw, frame_s):
            raise fault

    scouted = scouted_with(lost_s=())
    throws = [Throw(fit_arc(PLACES, FRAME_S), None)] * 2
    context = clip_context(circumstances(CAMERA))
    found = measure_throws(throws, Astray(), context, scouted, NO_OBSERVERS)
    assert [[reason.code for reason in each.reasons] for each in found] == [
        [ReasonCode.NO_FIT],
        [ReasonCode.NO_FIT],
    ]


class Unasked:
    sees_size = False

    def first_fit(self, throw, frame_s):
        raise AssertionError("nothing may be fitted to it")


def test_a_path_during_which_the_camera_could_not_be_followed_is_refused():
    throws = [Throw(fit_arc(PLACES, FRAME_S), None)]
    context = clip_context(circumstances(CAMERA))
    lost = scouted_with(lost_s=tuple(TIMES_S[:7]))
    (found,) = measure_throws(throws, Unasked(), context, lost, NO_OBSERVERS)
    assert [reason.code for reason in found.reasons] == [ReasonCode.CAMERA_NOT_FOLLOWED]


def test_what_moved_on_smoothly_before_it_fell_is_refused():
    before = PLACES.copy()
    before[:, 0] -= 12
    before[:, 1] -= 12 * FRAME_S
    before[:, 2] -= 900.0 * 12 * FRAME_S
    before[:, 3] = 300.0
    level = fit_arc(before, FRAME_S)
    throws = [Throw(fit_arc(PLACES, FRAME_S), None)]
    context = clip_context(circumstances(CAMERA))
    (found,) = measure_throws(throws, Unasked(), context, scouted_with((), (level,)), NO_OBSERVERS)
    assert [reason.code for reason in found.reasons] == [ReasonCode.RUNS_ON]


@pytest.mark.parametrize(("frames", "follows"), [(0, True), (6, True), (7, False), (12, False)])
def test_a_camera_that_is_lost_for_half_of_a_path_at_most_was_followed(frames, follows):
    scouted = scouted_with(lost_s=tuple(TIMES_S[:frames]))
    assert scouted.follows_camera(TIMES_S[0], TIMES_S[-1]) == follows
    # What was lost at another time does not count.
    assert scouted.follows_camera(TIMES_S[-1] + 1.0, TIMES_S[-1] + 2.0)


@pytest.mark.parametrize(("lost", "follows"), [(20, True), (26, True), (27, False), (40, False)])
def test_a_camera_that_is_lost_most_of_the_time_around_a_path_was_not_followed(lost, follows):
    """A pan begins before it is first noticed."""
    scouted = scouted_with(lost_s=tuple(CLIP_S[40 - lost :]))
    assert scouted.follows_camera(CLIP_S[0], CLIP_S[4]) == follows


@pytest.mark.parametrize("ahead", [False, True])
def test_what_is_lost_long_before_or_after_a_path_does_not_matter(ahead):
    clip_s = FRAME_S * np.arange(1000)
    lost_s = tuple(clip_s[240:]) if ahead else tuple(clip_s[:760])
    scouted = replace(scouted_with(lost_s), timing=Timing(clip_s, clip_s))
    assert scouted.lost_share > 0.7
    assert scouted.follows_camera(*clip_s[[195, 205] if ahead else [794, 804]])
    assert not scouted.follows_camera(*clip_s[[265, 275] if ahead else [725, 735]])


def test_a_path_lies_in_one_view():
    scouted = replace(scouted_with(()), renewed_s=(float(CLIP_S[10]),))
    assert not scouted.follows_camera(CLIP_S[5], CLIP_S[12])
    assert not scouted.follows_camera(CLIP_S[5], CLIP_S[10])
    assert scouted.follows_camera(CLIP_S[10], CLIP_S[20])
    assert scouted.follows_camera(CLIP_S[0], CLIP_S[9])


def test_a_pixel_far_off_the_frame_is_read_with_the_nearest_row():
    context = clip_context(circumstances(CAMERA))
    bottom = SIZE_PX[1] - 1.0
    pixels = np.array([[10.0, 0.0], [10.0, bottom], [10.0, 1e12], [10.0, -1e12], [10.0, np.nan]])
    times = context.rows_s(np.full(5, 2.0), pixels, 0.02)
    assert times[:2] == pytest.approx([1.99, 2.01], abs=1e-4)
    assert times[2:] == pytest.approx([2.01, 1.99, 2.0], abs=1e-9)


def test_the_camera_must_be_followed_from_a_paths_first_position_to_its_last():
    asked = []

    class Noted:
        arcs = ()

        def follows_camera(self, first_s, last_s):
            asked.append((first_s, last_s))
            return True

    context = clip_context(circumstances(CAMERA))
    assert _prejudged(Throw(fit_arc(PLACES, FRAME_S), None), context, Noted()) is None
    assert asked == [(TIMES_S[0], TIMES_S[-1])]


def test_a_rejected_throw_states_its_path_and_claims_no_support():
    context = clip_context(circumstances(CAMERA))
    arc = fit_arc(np.delete(PLACES, [3, 7], axis=0), FRAME_S)
    reason = Reason(ReasonCode.NO_FIT)
    found = rejected_throw(Throw(arc, None), context, FRAME_S, reason)
    assert (found.support, found.frames_seen, found.frames_crossed) == (0.0, 10, 12)
    assert found.release_s == pytest.approx(TIMES_S[0] * context.facts.pace)
    assert found.reasons == (reason,) and found.clip == context.request.clip
    assert found.pixels is arc.pixels and found.times_s is arc.times_s
