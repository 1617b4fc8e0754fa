"""A board in a few characters."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.errors import InputError
from calibration.lens import Board, board_from, board_text


@pytest.mark.parametrize(
    ("text", "board"),
    [
        ("checkerboard", Board(9, 6, 25.0)),
        ("charuco", Board(9, 6, 25.0, 18.75)),
        ("checkerboard:8x5", Board(8, 5, 25.0)),
        ("charuco:8x5:40", Board(8, 5, 40.0, 30.0)),
        (" charuco:9x6:24.8:18 ", Board(9, 6, 24.8, 18.0)),
    ],
)
def test_parts_at_the_end_may_be_left_out(text, board):
    assert board_from(text) == board


@given(
    st.integers(3, 50),
    st.integers(3, 50),
    st.integers(10, 10_000),
    st.one_of(st.none(), st.floats(0.1, 0.9)),
)
def test_a_printed_board_is_read_back(columns, rows, tenths_mm, tag_share):
    if tag_share is None and columns % 2 == rows % 2:
        rows = rows + 1 if rows < 50 else rows - 1
    square_mm = tenths_mm / 10.0
    tag_mm = None if tag_share is None else float(f"{tag_share * square_mm:.3g}")
    board = Board(columns, rows, square_mm, tag_mm)
    assert board_from(board_text(board)) == board


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("circles:9x6", 'no board "circles"'),
        ("", 'no board ""'),
        ("charuco:9", "describes no board"),
        ("charuco:9x6:25:18:1", "describes no board"),
        ("checkerboard:9x6:25:18", "has no tags"),
        ("checkerboard:9x6:0.5", "0.5 is no side"),
        ("checkerboard:9x6:1001", "1001 is no side"),
        ("checkerboard:9x6:inf", '"inf" is no length'),
        ("checkerboard:51x6", "51 x 6 squares is too large"),
        ("checkerboard:9x" + "9" * 4300, "describes no board"),
    ],
)
def test_what_is_no_board_is_refused_in_a_short_sentence(text, what):
    with pytest.raises(InputError) as caught:
        board_from(text)
    assert what in caught.value.what
    assert len(str(caught.value)) < 200
