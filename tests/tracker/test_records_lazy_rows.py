"""Records that are made from rows only where they are asked for."""

from operator import itemgetter

from tracker.records import LazyRows, cells_of

ROWS = [(3, "a"), (None, "b"), (5, "c")]


def test_columns_make_no_record_and_records_are_made_from_their_own_row():
    made = []

    def make(cells):
        made.append(cells)
        return (cells["number"], cells["name"])

    rows = LazyRows(ROWS, {"number": itemgetter(0), "name": itemgetter(1)}, make)
    assert cells_of(rows, "number") == [3, None, 5]
    assert cells_of(rows, "unknown") == [None] * 3
    assert not made
    assert rows[1] == (None, "b")
    assert made == [{"number": None, "name": "b"}]
    assert list(rows[1:]) == ROWS[1:]
    assert rows == LazyRows(ROWS, {"number": itemgetter(0), "name": itemgetter(1)}, make)
    assert rows != rows[1:]
    assert len(rows[1:]) == 2


def test_cells_of_records_are_attributes_and_those_of_mappings_entries():
    assert cells_of([1 + 2j, 3 + 4j], "imag") == [2.0, 4.0]
    assert cells_of([{"carry_m": 0.1}, {}], "carry_m") == [0.1, None]
    assert cells_of([object()], "carry_m") == [None]
    assert cells_of((), "carry_m") == []
