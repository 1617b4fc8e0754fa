"""A bare clip that may play slower than life."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from tests.tracker.clip_context import clip_context, facts_of
from tests.tracker.fitting_case import calibrated, circumstances, drawn
from tests.tracker.test_measurement_thrown import FRAME_S, PLACES, scouted_with
from tracker.following.arcs import fit_arc
from tracker.measurement.fitted_shot import TracedFlight
from tracker.measurement.passes import NO_OBSERVERS
from tracker.measurement.row import describe
from tracker.measurement.starts import slow_files
from tracker.measurement.starts.protocol import Findings
from tracker.measurement.starts.thrown import measure_throws, rejected_throw
from tracker.measurement.throws import Throw
from tracker.records import Quality, Reason, ReasonCode, Rejection

CONTEXT = clip_context(circumstances(calibrated()))
ARC = fit_arc(PLACES, FRAME_S)


def clocks(file_fps: float, times: float, capture_fps: float | None = None) -> list[float]:
    facts = facts_of(file_fps=file_fps, capture_fps=capture_fps)
    scouted = replace(scouted_with(()), others=((ARC, times),))
    return [each.pace for each in slow_files.other_clocks(facts, scouted)]


def test_the_usual_rates_of_slow_motion_are_tried_where_a_ball_seems_a_giants() -> None:
    assert clocks(30.0, 16.0) == [4.0, 8.0]
    assert clocks(60.0, 16.0) == [4.0]
    assert clocks(25.0, 16.0) == pytest.approx([4.8, 9.6])
    assert clocks(30.0, 5.9) == clocks(120.0, 16.0) == clocks(30.0, 16.0, 30.0) == []


def test_of_several_clocks_none_is_taken() -> None:
    def found(flies: bool) -> SimpleNamespace:
        return SimpleNamespace(any_shot=flies)

    one, two, none = ("one", found(True)), ("two", found(True)), ("none", found(False))
    assert slow_files.only_one([none, one]) == one
    assert slow_files.only_one([one, two]) is None
    assert slow_files.only_one([none]) is None and slow_files.only_one([]) is None


def test_only_the_width_of_a_ball_speaks_for_a_presumed_clock() -> None:
    class Measured:
        sees_size = True

        def __init__(self, ball: bool) -> None:
            self.ball = ball

        def first_fit(self, throw: Throw, frame_s: float) -> SimpleNamespace:
            return SimpleNamespace(throw=throw)

        def settings(self, flights: list) -> object:
            raise Rejection(Reason(ReasonCode.NO_FIT))

    class Blind(Measured):
        sees_size = False

        def first_fit(self, throw: Throw, frame_s: float) -> SimpleNamespace:
            raise AssertionError("nothing may be fitted to it")

    throws, scouted = [Throw(ARC, None)], scouted_with(())
    presumed = replace(CONTEXT, clock_presumed=True)
    (found,) = measure_throws(throws, Blind(True), presumed, scouted, NO_OBSERVERS)
    assert [each.code for each in found.reasons] == [ReasonCode.CLOCK_UNSURE]
    with pytest.raises(Rejection):
        measure_throws(throws, Measured(True), presumed, scouted, NO_OBSERVERS)


def test_what_is_found_at_a_presumed_clock_counts_the_files_seconds() -> None:
    case = drawn(np.random.default_rng(1), CONTEXT.circumstances)
    row = describe(CONTEXT, TracedFlight(case.observed, case.fit(), len(case.track.frames)))
    presumed = facts_of(pace=8.0, capture_fps=240.0)
    found = Findings(None, shots=[row], rejected=[rejected_throw(Throw(ARC, None), CONTEXT, 0.1)])
    again = slow_files.on_clock_of(facts_of(), found, presumed)
    (only,) = again.shots
    assert only.shot.release_s == row.shot.release_s and only.shot.quality is Quality.CHECK
    assert only.basis is None and row.basis is not None and row.path is not None
    assert only.shot.reasons[-1].numbers == {"rate_fps": 240.0, "times": 8.0}
    np.testing.assert_allclose(only.path.times_s, 8.0 * row.path.times_s)
    assert [each.time_s for each in only.points] == [8.0 * each.time_s for each in row.points]
    np.testing.assert_allclose(again.rejected[0].times_s, 8.0 * ARC.times_s)
