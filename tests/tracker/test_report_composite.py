"""Large frames are shown no finer than a figure needs, in their own pixels."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.report.composite import WIDE_ENOUGH_PX, cut, shrunk, squared


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


@given(st.integers(-3, 63), st.integers(-3, 43))
def test_a_square_keeps_every_pixel_where_it_was(column: int, row: int) -> None:
    half = 5
    picture = np.random.default_rng(1).integers(1, 255, (40, 60, 3)).astype(np.uint8)
    patch = cut(0, picture, (column, row), half)
    assert patch is not None
    square = squared(patch, (column, row), half)
    padded = np.zeros((40 + 4 * half, 60 + 4 * half, 3), np.uint8)
    padded[2 * half : -2 * half, 2 * half : -2 * half] = picture
    whole = padded[row + half : row + 3 * half + 1, column + half : column + 3 * half + 1]
    assert np.array_equal(square, whole)
