"""A fit that goes astray costs its throw, never the clip."""

from types import SimpleNamespace

import numpy as np
import pytest

from calibration.adjustment import NotDetermined
from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import FRAME_S, SIZE_PX, calibrated, circumstances
from tracker.following.arcs import fit_arc
from tracker.measurement.passes import NO_OBSERVERS
from tracker.measurement.starts.thrown import measure_throws
from tracker.measurement.throws import Throw
from tracker.records import ReasonCode

CAMERA = calibrated()
TIMES_S = np.arange(12) * FRAME_S
PLACES = np.column_stack(
    [np.arange(12), TIMES_S, 100.0 + 900.0 * TIMES_S, 300.0 + 500.0 * TIMES_S**2]
)


@pytest.mark.parametrize(
    "fault",
    [NotDetermined("x"), np.linalg.LinAlgError("x"), ValueError("x"), OverflowError("x")],
)
def test_a_fit_that_fails_rejects_one_candidate(fault):
    class Astray:
        def first_fit(self, throw, frame_s):
            raise fault

    scouted = SimpleNamespace(frame_s=FRAME_S)
    throws = [Throw(fit_arc(PLACES, FRAME_S), None)] * 2
    context = clip_context(circumstances(CAMERA))
    found = measure_throws(throws, Astray(), context, scouted, NO_OBSERVERS)
    assert [[reason.code for reason in each.reasons] for each in found] == [
        [ReasonCode.NO_FIT],
        [ReasonCode.NO_FIT],
    ]


def test_a_pixel_far_off_the_frame_is_read_with_the_nearest_row():
    context = clip_context(circumstances(CAMERA))
    bottom = SIZE_PX[1] - 1.0
    pixels = np.array([[10.0, 0.0], [10.0, bottom], [10.0, 1e12], [10.0, -1e12], [10.0, np.nan]])
    times = context.rows_s(np.full(5, 2.0), pixels, 0.02)
    assert times[:2] == pytest.approx([1.99, 2.01], abs=1e-4)
    assert times[2:] == pytest.approx([2.01, 1.99, 2.0], abs=1e-9)
