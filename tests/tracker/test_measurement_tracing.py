"""A found flight becomes a fitted one; what its pictures and its bounce may do to it."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import Drawn, calibrated, circumstances, drawn
from tracker.fitting.model import flight_of
from tracker.fitting.parameters import LAUNCH_AT
from tracker.following import Hypothesis
from tracker.following.hop import Hop
from tracker.measurement import tracing
from tracker.measurement.bounce import Bounce
from tracker.measurement.fitted_shot import FittedShot
from tracker.measurement.selection import SURE_SUPPORT
from tracker.records import Candidates, Cutouts, Quality, ReasonCode, RejectedCandidate, Rejection

KNOWN = circumstances(calibrated())
CONTEXT = clip_context(KNOWN)


@pytest.fixture(scope="module")
def case() -> Drawn:
    return drawn(np.random.default_rng(2), KNOWN)


def frames_of(case: Drawn) -> list[Candidates]:
    """One candidate a frame, at the ball."""
    empty = Cutouts(np.zeros((1, 1, 1), np.int16), np.zeros((1, 2), np.int64))
    return [
        Candidates(int(frame), time, pixel[None], np.ones(1), empty, None)
        for frame, time, pixel in zip(
            case.track.frames, case.track.times_s, case.track.pixels, strict=True
        )
    ]


def hypothesis(case: Drawn, support: float = 500.0) -> Hypothesis:
    flight = flight_of(KNOWN, case.truth, 3.0, 0.04)
    return Hypothesis(case.truth[0], case.truth[LAUNCH_AT], flight, support=support, hits=200)


def pictures(monkeypatch: pytest.MonkeyPatch, case: Drawn, share: float = 1.0) -> None:
    """Let the ball's pictures be measured where they were drawn, in a share of the frames."""
    kept = np.arange(len(case.track.frames)) < share * len(case.track.frames)
    track = case.observed.part(kept).track

    def sighted(context, camera, course, frames, exposure, light=None):
        return track, 0.5

    monkeypatch.setattr(tracing, "sighted", sighted)


def bounces(monkeypatch: pytest.MonkeyPatch, case: Drawn, off_u: float, at_s: float) -> None:
    found = Bounce(at_s, 0.002, Hop(at_s, 0.6, 0.6, 0.0), 20, off_u)
    monkeypatch.setattr(tracing, "find_bounce", lambda *_: found)


def test_a_bounce_that_agrees_is_used_and_one_that_does_not_is_not(
    monkeypatch: pytest.MonkeyPatch, case: Drawn
) -> None:
    pictures(monkeypatch, case, share=0.8)
    at_s = float(case.track.times_s[-1]) + 0.01
    bounces(monkeypatch, case, 0.5, at_s)
    agreeing = tracing.trace(CONTEXT, hypothesis(case), frames_of(case))
    assert agreeing.observed.landed_s == (at_s, 0.002)
    # Another ball's bounce a quarter of a second early, many standard uncertainties off.
    bounces(monkeypatch, case, -25.0, at_s - 0.25)
    other = tracing.trace(CONTEXT, hypothesis(case), frames_of(case))
    assert other.observed.landed_s is None and other.bounce is not None
    monkeypatch.setattr(tracing, "find_bounce", lambda *_: None)
    without = tracing.trace(CONTEXT, hypothesis(case), frames_of(case))
    np.testing.assert_allclose(other.fitted.parameters, without.fitted.parameters, rtol=1e-9)
    assert agreeing.fitted.covariance[0, 0] <= without.fitted.covariance[0, 0] * 1.000001


@pytest.mark.parametrize(
    ("share", "code"), [(0.008, ReasonCode.PICTURES_FEW), (0.1, ReasonCode.POSITIONS_DISAGREE)]
)
def test_a_flight_whose_pictures_are_missing_is_rejected_with_the_numbers(
    monkeypatch: pytest.MonkeyPatch, case: Drawn, share: float, code: ReasonCode
) -> None:
    pictures(monkeypatch, case, share)
    weak = hypothesis(case, SURE_SUPPORT - 0.1)
    with pytest.raises(Rejection) as caught:
        tracing.trace(CONTEXT, weak, frames_of(case))
    (reason,) = caught.value.reasons
    assert reason.code is code
    assert reason.numbers["count"] == pytest.approx(share * len(case.track.frames), abs=1.0)
    assert reason.numbers["crossed"] == pytest.approx(len(case.track.frames), rel=0.07)
    found = tracing.measure_hypothesis(CONTEXT, weak, frames_of(case))
    assert isinstance(found, RejectedCandidate)
    assert found.reasons == (reason,) and found.support == weak.support
    assert np.isfinite(found.pixels).any()


@pytest.mark.parametrize(("share", "shown"), [(0.07, False), (0.1, True)])
def test_what_is_strongly_supported_and_measured_in_few_frames_makes_a_rejected_row(
    monkeypatch: pytest.MonkeyPatch, case: Drawn, share: float, shown: bool
) -> None:
    pictures(monkeypatch, case, share)
    monkeypatch.setattr(tracing, "find_bounce", lambda *_: None)
    # Something that stopped on the way would have crossed fewer frames.
    monkeypatch.setattr(tracing, "until_stopped", None)
    found = tracing.measure_hypothesis(CONTEXT, hypothesis(case, SURE_SUPPORT), frames_of(case))
    assert isinstance(found, FittedShot) is shown
    if isinstance(found, FittedShot):
        assert found.shot.quality is Quality.REJECTED
    else:
        assert ReasonCode.POSITIONS_DISAGREE in [each.code for each in found.reasons]


def test_every_frame_is_asked_where_the_first_ones_show_no_ball(
    monkeypatch: pytest.MonkeyPatch, case: Drawn
) -> None:
    asked: list[int] = []
    pictures(monkeypatch, case)
    measured = tracing.sighted

    def sighted(context, camera, course, frames, exposure, light=None):
        asked.append(len(frames))
        track, found = measured(context, camera, course, frames, exposure, light)
        if len(asked) == 1:
            return track.part(np.arange(len(track.frames)) < tracing.LEAST_MEASURED - 1), found
        return track, found

    monkeypatch.setattr(tracing, "sighted", sighted)
    monkeypatch.setattr(tracing, "find_bounce", lambda *_: None)
    monkeypatch.setattr(tracing, "FIRST_FRAMES", 10)
    tracing.trace(CONTEXT, hypothesis(case), frames_of(case))
    assert len(asked) == 3 and 10 <= asked[0] < 20
    assert asked[1] == pytest.approx(len(case.track.frames), rel=0.02)


@pytest.mark.parametrize(("share", "enough"), [(0.07, False), (0.09, True)])
def test_a_faint_ball_may_be_measured_in_fewer_of_its_frames(
    monkeypatch: pytest.MonkeyPatch, case: Drawn, share: float, enough: bool
) -> None:
    pictures(monkeypatch, case, share)
    monkeypatch.setattr(tracing, "find_bounce", lambda *_: None)
    monkeypatch.setattr(tracing, "until_stopped", None)
    found = tracing.measure_hypothesis(
        replace(CONTEXT, faint=True), hypothesis(case), frames_of(case)
    )
    lacking = isinstance(found, RejectedCandidate) and ReasonCode.POSITIONS_DISAGREE in [
        each.code for each in found.reasons
    ]
    assert lacking != enough


@pytest.mark.parametrize(("scale", "kept"), [(2.5, True), (2.51, False)])
@pytest.mark.parametrize("faint", [True, False])
def test_positions_of_a_faint_ball_that_scatter_are_not_all_its_own(
    monkeypatch: pytest.MonkeyPatch, case: Drawn, faint: bool, scale: float, kept: bool
) -> None:
    pictures(monkeypatch, case)
    monkeypatch.setattr(tracing, "find_bounce", lambda *_: None)
    refit = tracing.refit_gusts
    monkeypatch.setattr(tracing, "refit_gusts", lambda *given: replace(refit(*given), scale=scale))
    context = replace(CONTEXT, faint=faint)
    found = tracing.measure_hypothesis(context, hypothesis(case), frames_of(case))
    codes = [each.code for each in found.reasons] if isinstance(found, RejectedCandidate) else []
    assert (ReasonCode.SCATTER_TOO_LARGE not in codes) == (kept or not faint)


def test_a_flight_outside_the_frame_is_rejected(case: Drawn) -> None:
    with pytest.raises(Rejection) as caught:
        tracing.trace(CONTEXT, hypothesis(case), frames_of(case)[:2])
    assert [reason.code for reason in caught.value.reasons] == [ReasonCode.OUT_OF_FRAME]


@pytest.mark.parametrize(("support", "row"), [(SURE_SUPPORT + 1.0, True), (20.0, False)])
def test_a_flight_that_is_no_balls_makes_a_row_only_with_much_support(
    monkeypatch: pytest.MonkeyPatch, case: Drawn, support: float, row: bool
) -> None:
    beat = 2.5 * np.sin(case.track.times_s * 57.0)
    bird = replace(case.track, pixels=case.track.pixels + np.column_stack([beat, 1.5 * beat]))
    pictures(monkeypatch, replace(case, track=bird))
    monkeypatch.setattr(tracing, "find_bounce", lambda *_: None)
    found = tracing.measure_hypothesis(CONTEXT, hypothesis(case, support), frames_of(case))
    assert isinstance(found, FittedShot) is row
    if isinstance(found, FittedShot):
        assert found.shot.quality is Quality.REJECTED
        assert found.fit is not None and found.fit[0] is KNOWN
    else:
        assert [reason.code for reason in found.reasons] == [ReasonCode.NOT_A_BALL]
