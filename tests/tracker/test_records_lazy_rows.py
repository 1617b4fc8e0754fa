"""Records that are made from columns only where they are asked for."""

import numpy as np
import pytest

from tracker.records import Coded, LazyRows, cells_of, coded

NUMBERS = np.array([3.0, np.nan, 5.0])
NAMES = Coded(("b", "a", "a"), np.array([1, 0, 2]))


def test_columns_make_no_record_and_records_are_made_from_their_own_cells():
    made = []

    def make(cells):
        made.append(cells)
        return (cells["number"], cells["name"])

    columns = {"number": NUMBERS, "name": NAMES, "left": None}
    rows = LazyRows(3, columns, make)
    assert cells_of(rows, "number") is NUMBERS
    assert cells_of(rows, "unknown") == [None] * 3
    with pytest.raises(LookupError, match="not read"):
        cells_of(rows, "left")
    assert not made
    assert rows[1] == (None, "b")
    assert made == [{"number": None, "name": "b"}]
    assert list(rows[1:]) == [(None, "b"), (5.0, "a")]
    assert rows[-1] == (5.0, "a")
    assert rows == LazyRows(3, columns, make)
    assert rows != rows[1:]
    assert len(rows[1:]) == 2
    with pytest.raises(LookupError, match="not read"):
        rows[1:].cells("left")
    with pytest.raises(IndexError):
        rows[3]


def test_the_values_of_a_column_come_once_in_the_order_in_which_they_come_first():
    listed = ["a", "b", "a", "c"]
    for cells in (listed, Coded(("c", "x", "a", "b", "a"), np.array([2, 3, 4, 0]))):
        values, places = coded(cells)
        assert values == ("a", "b", "c")
        assert places.tolist() == [0, 1, 0, 2]
    assert coded([])[0] == ()
    assert list(NAMES[1:]) == ["b", "a"]
    assert Coded(("a", "b"), np.array([0, 1, 0])) == NAMES
    assert Coded(("a", "b"), np.array([0, 1, 1])) != NAMES


def test_cells_of_records_are_attributes_and_those_of_mappings_entries():
    assert cells_of([1 + 2j, 3 + 4j], "imag") == [2.0, 4.0]
    assert cells_of([{"carry_m": 0.1}, {}], "carry_m") == [0.1, None]
    assert cells_of([object()], "carry_m") == [None]
    assert cells_of((), "carry_m") == []
