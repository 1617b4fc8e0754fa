"""Very many records as columns, from which a record is made only where it is asked for."""

from collections.abc import Callable, Hashable, Mapping, Sequence
from typing import Any, TypeVar, overload

import numpy as np
from numpy.typing import NDArray

T = TypeVar("T")
H = TypeVar("H", bound=Hashable)

Cells = Sequence[Any] | NDArray[Any]
"""The cells of a column; in an array of floats NaN is an empty one."""


class Coded(Sequence[T]):
    """A column in which few values come again and again: the values, and where each stands.

    Parameters
    ----------
    values : sequence
    codes : ndarray of int, shape (N,)
        By cell the place of its value.
    """

    def __init__(self, values: Sequence[T], codes: NDArray[np.intp]) -> None:
        self.values, self.codes = values, codes

    def __len__(self) -> int:
        return len(self.codes)

    @overload
    def __getitem__(self, place: int) -> T: ...
    @overload
    def __getitem__(self, place: slice) -> "Coded[T]": ...
    def __getitem__(self, place: int | slice) -> "T | Coded[T]":
        """Return the cell at a place, or the cells of a slice."""
        if isinstance(place, slice):
            return Coded(self.values, self.codes[place])
        return self.values[int(self.codes[place])]

    def __eq__(self, other: object) -> bool:
        """Return whether the other column has the same cells."""
        return self is other or (isinstance(other, Coded) and list(self) == list(other))

    __hash__ = None  # type: ignore[assignment]


def coded(cells: "Sequence[H] | NDArray[Any]") -> tuple[tuple[H, ...], NDArray[np.intp]]:
    """Return the different cells in the order in which they come, and the place of each cell's."""
    known: dict[H, int] = {}
    if not isinstance(cells, Coded):
        places = [known.setdefault(cell, len(known)) for cell in cells]
        return tuple(known), np.array(places, int)
    count = len(cells.codes)
    firsts = np.full(len(cells.values), count)
    firsts[cells.codes[::-1]] = np.arange(count)[::-1]
    used = np.flatnonzero(firsts < count)
    place_of = np.zeros(len(cells.values), int)
    for code in used[np.argsort(firsts[used])].tolist():
        # Two codes may stand for one value.
        place_of[code] = known.setdefault(cells.values[code], len(known))
    return tuple(known), place_of[cells.codes]


class LazyRows(Sequence[T]):
    """A sequence of records that keeps columns, for making 50,000 shots takes long.

    Parameters
    ----------
    count : int
        Number of records.
    columns : mapping of str to cells
        By name, the cells of a column; None for one that was not read: records are made without
        it, and asking for it is an error.
    make : callable
        Makes a record from its cells by their names.
    """

    def __init__(
        self,
        count: int,
        columns: Mapping[str, Cells | None],
        make: Callable[[dict[str, Any]], T],
    ) -> None:
        self._count, self._columns, self._make = count, columns, make

    def __len__(self) -> int:
        return self._count

    @overload
    def __getitem__(self, place: int) -> T: ...
    @overload
    def __getitem__(self, place: slice) -> Sequence[T]: ...
    def __getitem__(self, place: int | slice) -> T | Sequence[T]:
        """Return the record at a place, or the records of a slice, not made yet."""
        read = {name: cells for name, cells in self._columns.items() if cells is not None}
        if isinstance(place, slice):
            columns: dict[str, Cells | None] = dict.fromkeys(self._columns)
            columns |= {name: cells[place] for name, cells in read.items()}
            return LazyRows(len(range(self._count)[place]), columns, self._make)
        if not -self._count <= place < self._count:
            raise IndexError(place)
        return self._make({name: _cell(cells, place) for name, cells in read.items()})

    def __eq__(self, other: object) -> bool:
        """Return whether the other sequence makes the same records."""
        return isinstance(other, LazyRows) and list(self) == list(other)

    __hash__ = None  # type: ignore[assignment]

    def cells(self, name: str) -> Cells:
        """Return the cells of a column; None in each where there is no such column.

        Raises
        ------
        LookupError
            For a column that was not read.
        """
        if name not in self._columns:
            return [None] * self._count
        found = self._columns[name]
        if found is None:
            raise LookupError("the column was not read")
        return found


def _cell(cells: Cells, place: int) -> Any:
    """Return a cell as a record has it: a plain number, None where it is empty."""
    cell = cells[place]
    if isinstance(cell, np.generic):
        cell = cell.item()
        return None if cell != cell else cell
    return cell


def cells_of(records: Sequence[Any], name: str) -> Cells:
    """Return an attribute of each record, or an entry of each mapping; None where it has none."""
    if isinstance(records, LazyRows):
        return records.cells(name)
    if records and isinstance(records[0], Mapping):
        return [each.get(name) for each in records]
    return [getattr(each, name, None) for each in records]
