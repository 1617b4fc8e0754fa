"""The times at which a flight was where its pictures show it."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import FRAME_S, calibrated, circumstances, drawn
from tracker.fitting import Observations
from tracker.measurement import tracing
from tracker.measurement.fitted_shot import TracedFlight
from tracker.measurement.lags import lags_of
from tracker.records import Reason, ReasonCode, Rejection

KNOWN = circumstances(calibrated())
CASE = drawn(np.random.default_rng(8), KNOWN)
EVEN = CASE.fit()


def traced(ahead_s):
    """A flight whose pictures are moved along its way by such times."""
    track = CASE.track
    speed = np.gradient(track.pixels, track.times_s, axis=0)
    residuals = speed * np.asarray(ahead_s)[:, None]
    fitted = replace(EVEN, residuals_px=residuals)
    return TracedFlight(Observations(track, CASE.row_share), fitted, len(track.frames), None, None)


def paced(pace=1.0, frame_s=FRAME_S):
    context = clip_context(KNOWN)
    return SimpleNamespace(
        circumstances=context.circumstances, frame_s=frame_s, facts=SimpleNamespace(pace=pace)
    )


def test_what_lies_ahead_on_a_flight_s_way_is_ahead_in_time():
    count = len(CASE.track.frames)
    ahead = 2e-3 * np.sign(np.sin(np.arange(count) + 0.5))
    (found,) = lags_of(paced(), [traced(ahead)])
    np.testing.assert_array_equal(found.frames, CASE.track.frames)
    middle = slice(5, -5)
    np.testing.assert_allclose(found.ahead_s[middle], ahead[middle], rtol=0.2)
    assert np.median(found.ahead_s / ahead) == pytest.approx(1.0, abs=0.01)
    (slow,) = lags_of(paced(8.0), [traced(ahead)])
    np.testing.assert_allclose(slow.ahead_s, 8.0 * found.ahead_s)


def test_what_lies_beside_a_flight_s_way_tells_no_time():
    flight = traced(np.zeros(len(CASE.track.frames)))
    along = np.gradient(CASE.track.pixels, axis=0)
    beside = 2.0 * along[:, ::-1] * (1.0, -1.0) / np.linalg.norm(along, axis=1)[:, None]
    (found,) = lags_of(paced(), [replace(flight, fitted=replace(EVEN, residuals_px=beside))])
    assert np.abs(found.ahead_s).max() < 4e-4
    assert len(found.weight) and np.all(found.weight > 50.0**2)


def test_a_lag_of_a_frame_and_more_is_another_thing_s():
    ahead = np.zeros(len(CASE.track.frames))
    ahead[20:30] = 1.2 * FRAME_S
    (found,) = lags_of(paced(), [traced(ahead)])
    assert not set(found.frames.tolist()) & set(CASE.track.frames[22:28].tolist())
    assert len(found.frames) > len(ahead) - 14


@pytest.mark.parametrize("refused", [False, True])
def test_a_flight_is_kept_whatever_is_made_of_it(monkeypatch, refused):
    flight, kept = traced(np.zeros(len(CASE.track.frames))), []
    row = SimpleNamespace()

    def reported(*_):
        if refused:
            raise Rejection(Reason(ReasonCode.SCATTER_TOO_LARGE))
        return row

    monkeypatch.setattr(tracing, "trace", lambda *_: flight)
    monkeypatch.setattr(tracing, "reported", reported)
    monkeypatch.setattr(tracing, "rejected_hypothesis", lambda *_: row)
    hypothesis = SimpleNamespace(support=50.0)
    assert tracing.measure_hypothesis(None, hypothesis, [], kept) is row
    assert kept == [flight]
    assert tracing.measure_hypothesis(None, hypothesis, []) is row
