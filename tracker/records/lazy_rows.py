"""Very many records as plain rows, from which a record is made only where it is asked for."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, TypeVar, overload

T = TypeVar("T")

Row = Sequence[Any]


def not_read(_: Row) -> None:
    """Raise LookupError: the column was not read."""
    raise LookupError("the column was not read")


class LazyRows(Sequence[T]):
    """A sequence of records that keeps plain rows, for making 50,000 shots takes long.

    Parameters
    ----------
    rows : sequence of rows
    columns : mapping of str to callable
        By name, what takes the cell of that column from a row; `not_read` for a column that the
        rows lack: records are made without it.
    make : callable
        Makes a record from its cells by their names.
    """

    def __init__(
        self,
        rows: Sequence[Row],
        columns: Mapping[str, Callable[[Row], Any]],
        make: Callable[[dict[str, Any]], T],
    ) -> None:
        self._rows, self._columns, self._make = rows, columns, make
        self._cells: dict[str, list[Any]] = {}

    def __len__(self) -> int:
        return len(self._rows)

    @overload
    def __getitem__(self, place: int) -> T: ...
    @overload
    def __getitem__(self, place: slice) -> Sequence[T]: ...
    def __getitem__(self, place: int | slice) -> T | Sequence[T]:
        """Return the record at a place, or the records of a slice, not made yet."""
        if isinstance(place, slice):
            return LazyRows(self._rows[place], self._columns, self._make)
        row = self._rows[place]
        read = {name: take for name, take in self._columns.items() if take is not not_read}
        return self._make({name: take(row) for name, take in read.items()})

    def __eq__(self, other: object) -> bool:
        """Return whether the other sequence makes the same records."""
        return isinstance(other, LazyRows) and list(self) == list(other)

    __hash__ = None  # type: ignore[assignment]

    def cells(self, name: str) -> list[Any]:
        """Return the cells of a column, taken once; None where there is no such column."""
        if name not in self._cells:
            take = self._columns.get(name, _nothing)
            self._cells[name] = list(map(take, self._rows))
        return self._cells[name]


def _nothing(_: Row) -> None:
    return None


def cells_of(records: Sequence[Any], name: str) -> list[Any]:
    """Return an attribute of each record, or an entry of each mapping; None where it has none."""
    if isinstance(records, LazyRows):
        return records.cells(name)
    if records and isinstance(records[0], Mapping):
        return [each.get(name) for each in records]
    return [getattr(each, name, None) for each in records]
