"""Places that a person picked in a film whose camera moved."""

import numpy as np
import pytest

from tracker.fitting.ends import GivenPlace
from tracker.measurement.by_hand import steadied
from tracker.records import Track

TIMES_S = np.arange(10) / 50.0
PIXELS = np.column_stack([100.0 + 20.0 * np.arange(10), 50.0 - 3.0 * np.arange(10)])


def track(drift_px: float | None) -> Track:
    """A track whose picture had moved to the right by so much more in each frame."""
    filmed = None
    if drift_px is not None:
        filmed = PIXELS + np.column_stack([drift_px * np.arange(10), np.zeros(10)])
    covariances = np.broadcast_to(np.eye(2), (10, 2, 2))
    frames = np.arange(10)
    return Track(frames, TIMES_S, PIXELS, covariances, np.zeros(10), filmed_pixels=filmed)


def test_a_camera_that_stands_leaves_a_place_as_it_is() -> None:
    place = GivenPlace((300.0, 20.0), 2.0)
    assert steadied(place, 0.1, track(None)) is place
    assert steadied(None, 0.1, track(2.0)) is None


@pytest.mark.parametrize(("at_s", "shift", "further"), [(0.1, 10.0, 0.0), (0.22, 18.0, 4.0)])
def test_a_place_is_moved_with_the_picture_of_its_frame(
    at_s: float, shift: float, further: float
) -> None:
    """Two pixels a frame of 1/50 s: 2 further frames may bring 4 px more."""
    found = steadied(GivenPlace((300.0, 20.0), 3.0), at_s, track(2.0))
    assert found is not None
    assert found.at == pytest.approx((300.0 - shift, 20.0))
    assert found.u == pytest.approx(np.hypot(3.0, further))
