"""Large frames are shown no finer than a figure needs, in their own pixels."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.report.composite import WIDE_ENOUGH_PX, shrunk


@given(
    st.integers(1, 4 * WIDE_ENOUGH_PX),
    st.integers(1, 40),
    st.tuples(st.integers(0, 99), st.integers(0, 99)),
)
def test_the_extent_holds_the_part_that_is_shown(width: int, height: int, corner) -> None:
    shown, (left, right, bottom, top) = shrunk(np.zeros((height, width, 3), np.uint8), corner)
    side = max(1, min(width // WIDE_ENOUGH_PX, height))
    assert (left, top) == (corner[0] - 0.5, corner[1] - 0.5)
    assert (right - left, bottom - top) == (side * shown.shape[1], side * shown.shape[0])
    assert width - side < right - left <= width
    assert shown.shape[1] < 2 * WIDE_ENOUGH_PX or height < 4


def test_squares_of_pixels_become_their_mean() -> None:
    rng = np.random.default_rng(4)
    frame = rng.integers(0, 256, (6, 2 * WIDE_ENOUGH_PX, 3), dtype=np.uint8)
    shown, _ = shrunk(frame)
    assert shown.shape == (3, WIDE_ENOUGH_PX, 3)
    assert shown[1, 5] == pytest.approx(frame[2:4, 10:12].mean(axis=(0, 1)), abs=1.0)


def test_a_usual_frame_is_shown_as_it_is() -> None:
    frame = np.zeros((4, WIDE_ENOUGH_PX, 3), np.uint8)
    assert shrunk(frame)[0] is frame
