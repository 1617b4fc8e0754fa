"""Where labels go, and how text is folded before it is drawn."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.tracker.invented_shot import invented
from tracker.records import Quality
from tracker.report.labels import Box, box_about, place_label
from tracker.report.lettering import folded, line_inches, width_inches
from tracker.report.panels import TEXT_INCHES, heading_inches, heading_of

BOUNDS = Box(0.0, 0.0, 12.0, 5.0)
NOTHING = np.zeros((0, 2))
SIZE = (1.6, 0.25)


def within(box: Box, bounds: Box) -> bool:
    inside = bounds.left <= box.left + 1e-9 and box.right <= bounds.right + 1e-9
    return inside and bounds.top <= box.top + 1e-9 and box.bottom <= bounds.bottom + 1e-9


def covered(box: Box, points: np.ndarray) -> np.ndarray:
    low, high = (box.left, box.top), (box.right, box.bottom)
    return np.all((points >= low) & (points <= high), axis=1)


@given(st.floats(0.0, 12.0), st.floats(0.0, 5.0))
def test_a_label_stays_in_the_frame_and_off_its_own_point(across: float, down: float) -> None:
    box = place_label((across, down), SIZE, [], NOTHING, BOUNDS)
    assert within(box, BOUNDS)
    assert not np.any(covered(box, np.array([[across, down]])))
    assert box.right - box.left == pytest.approx(SIZE[0])


def test_a_label_goes_where_neither_a_name_nor_a_line_is() -> None:
    point = (6.0, 2.5)
    free = place_label(point, SIZE, [], NOTHING, BOUNDS)
    line = np.column_stack([np.linspace(0.0, 12.0, 400), np.full(400, 2.5)])
    off_line = place_label(point, SIZE, [], line, BOUNDS)
    assert not np.any(covered(off_line, line))
    moved = place_label(point, SIZE, [free], line, BOUNDS)
    assert moved.overlap(free) == 0.0
    assert not np.any(covered(moved, line))


def test_labels_of_points_side_by_side_do_not_cover_each_other() -> None:
    taken: list[Box] = []
    for across in (5.9, 6.0, 6.1):
        box = place_label((across, 2.5), SIZE, taken, NOTHING, BOUNDS)
        assert all(box.overlap(other) == 0.0 for other in taken)
        taken.append(box)


def test_an_overlap_is_the_area_that_both_cover() -> None:
    one = box_about((1.0, 1.0), (2.0, 1.0))
    assert one.overlap(box_about((2.0, 1.5), (2.0, 1.0))) == pytest.approx(1.0 * 0.5)
    assert one.overlap(box_about((4.0, 1.0), (2.0, 1.0))) == 0.0


WORDS = st.lists(st.text("abcdefgWMil", min_size=1, max_size=60), max_size=30)


@given(WORDS, st.floats(0.6, 6.0))
def test_folding_loses_nothing_and_no_line_is_too_wide(words: list[str], inches: float) -> None:
    lines = folded(" ".join(words), inches, 9.5)
    assert "".join(lines).replace(" ", "") == "".join(words)
    assert all(width_inches(line, 9.5) <= inches for line in lines)


def test_a_line_takes_as_many_words_as_fit() -> None:
    lines = folded("one two three four five six seven", 1.0, 9.5)
    for line, following in pairwise(lines):
        assert width_inches(f"{line} {following.split()[0]}", 9.5) > 1.0


def test_a_long_reason_is_written_whole_and_makes_the_heading_higher() -> None:
    shot = invented(Quality.CHECK)[0].shot
    doubtful = replace(shot, reasons=shot.reasons * 20)
    long = heading_of(doubtful)
    short = heading_of(shot)
    written = " ".join(line.text for line in long)
    assert doubtful.reason in written
    assert heading_inches(long) > heading_inches(short) + 4 * line_inches(9.5)
    assert all(width_inches(line.text, line.size, line.weight) <= TEXT_INCHES for line in long)
