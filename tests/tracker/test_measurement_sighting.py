"""Where a flight is looked for, when the camera reads its rows one after the other."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import calibrated, circumstances, drawn
from tracker.fitting.parameters import READOUT_AT
from tracker.measurement.sighting import course_of
from tracker.records import Candidates, Cutouts

NOTHING = np.zeros((0, 2))


def frame(index: int, time_s: float) -> Candidates:
    empty = Cutouts(np.zeros((0, 1, 1), np.int16), np.zeros((0, 2), np.int64))
    return Candidates(index, time_s, NOTHING, np.zeros(0), empty, None)


@pytest.mark.parametrize("readout_s", [0.0, 0.027])
def test_the_ball_is_expected_where_the_row_that_shows_it_is_read(readout_s: float) -> None:
    """The drawn positions keep the readout; 27 ms are 5 px or more between middle and edge."""
    known = replace(circumstances(calibrated()), readout_s=readout_s, readout_u_s=1e-5)
    case = drawn(np.random.default_rng(5), known, wrong=False)
    fitted = case.fit()
    assert fitted.parameters[READOUT_AT] == pytest.approx(readout_s, abs=1e-4)
    frames = [frame(int(i), t) for i, t in zip(case.track.frames, case.track.times_s, strict=True)]
    shown, course = course_of(clip_context(known), fitted, frames)
    at = np.isin([each.frame for each in frames], [each.frame for each in shown])
    assert at.sum() > 0.9 * len(frames)
    away = np.linalg.norm(course.pixels - case.track.pixels[at], axis=1)
    assert away.max() < 1.0
    np.testing.assert_allclose(course.times_s, case.track.times_s[at], atol=1e-9)
