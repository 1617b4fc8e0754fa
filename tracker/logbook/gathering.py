"""Setups with their shots out of very many sessions, in few queries that read only what counts."""

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tracker.logbook.columns import FIGURES, SHARED
from tracker.logbook.entries import (
    CONDITIONS,
    Filter,
    LoggedEvening,
    LoggedEvenings,
    LoggedSetup,
    LoggedShots,
    Part,
)
from tracker.logbook.packing import NO_REASONS, PACK_BYTES, QUALITIES, unpacked
from tracker.logbook.questions import OLDEST_FIRST, Ask, Chosen, chosen_by
from tracker.logbook.reading import day_of, reason_of
from tracker.records import Cells, Coded, LazyRows, Reason, Shot, coded

HEAD = ("id", "setup_id", "clip_id", "number")
"""The columns of the table ``shot`` that are always read."""

_Array = NDArray[np.float64]


@dataclass(frozen=True)
class _Table:
    """All shots that were read: an array of a row a shot, and the column of each name."""

    cells: _Array
    places: Mapping[str, int]

    def __getitem__(self, name: str) -> _Array:
        return self.cells[:, self.places[name]]

    def whole(self, name: str) -> NDArray[np.intp]:
        """Return a column of whole numbers."""
        return self[name].astype(int)

    def having(self, chosen: "NDArray[Any] | slice") -> "_Table":
        """Return some of the rows."""
        return _Table(self.cells[chosen], self.places)


@dataclass(frozen=True)
class _Codes:
    """Numbers of rows in another table, and where each stands in a list; sorted."""

    numbers: NDArray[np.intp]
    places: NDArray[np.intp]

    @classmethod
    def of(cls, numbers: ArrayLike) -> "_Codes":
        """Return the places of numbers in their sequence."""
        array = np.asarray(numbers, int)
        order = np.argsort(array, kind="stable")
        return cls(array[order], order)

    def among(self, wanted: NDArray[np.intp]) -> NDArray[np.bool_]:
        """Return which numbers are known."""
        if not self.numbers.size:
            return np.zeros(wanted.size, bool)
        found = np.searchsorted(self.numbers, wanted)
        return np.asarray(self.numbers[np.minimum(found, self.numbers.size - 1)] == wanted)

    def of_each(self, wanted: NDArray[np.intp]) -> NDArray[np.intp]:
        """Return the place of each number, all of which are known."""
        return self.places[np.searchsorted(self.numbers, wanted)]


def setups_from(ask: Ask, wanted: Filter, figures: Collection[str] = FIGURES) -> LoggedEvenings:
    """Read the setups and shots that fit a filter.

    Parameters
    ----------
    ask : callable
    wanted : Filter
    figures : collection of str
        The columns of shots.csv that are read, beside quality and reasons, and with the
        uncertainty of a figure the part of it that the session shares. The shots are made without
        the others, and asking for one of these is an error.

    Notes
    -----
    Written for 10,000 sessions: the shots of a setup come packed (`tracker.logbook.packing`), a
    shot is made only where one is asked for, and the tables of setups that are built alike are
    read once.
    """
    chosen = chosen_by(wanted)
    places, evenings = _evenings(ask, chosen)
    setups, clips = _Setups.read(ask, chosen, places), _Clips.read(ask, chosen)
    table, setup_of = _shots(ask, chosen, {"quality", "reasons", *figures}, setups.numbers)
    known = clips.codes.among(table.whole("clip_id"))
    if not known.all():
        # What another program adds between two queries belongs to the next reading.
        table, setup_of = table.having(known), setup_of[known]
    shots = _Shots(table, _reasons(ask, chosen, table), clips, setups.evenings[setup_of])
    bounds = np.searchsorted(setups.group_of[setup_of], np.arange(len(setups.groups) + 1)).tolist()
    parts = _tables(ask, setups.first_of_each)
    return LoggedEvenings(
        evenings,
        tuple(
            shots.between(
                LoggedSetup(name, parts.get(setups.first_of_each[i], {})),
                tuple(setups.evenings[setups.group_of == i].tolist()),
                slice(*bounds[i : i + 2]),
            )
            for i, (name, _) in enumerate(setups.groups)
        ),
    )


@dataclass(frozen=True)
class _Setups:
    """The setups, those that are one together, of these the ones of older evenings first.

    Attributes
    ----------
    numbers, evenings, group_of : ndarray of int
        Of each its number, the place of its session and that of its group.
    groups : tuple of (str, str)
        Name and digest of the setups that are one.
    """

    numbers: NDArray[np.intp]
    evenings: NDArray[np.intp]
    group_of: NDArray[np.intp]
    groups: tuple[tuple[str, str], ...]

    @classmethod
    def read(cls, ask: Ask, chosen: Chosen, places: Mapping[int, int]) -> "_Setups":
        """Read the setups of the sessions whose places are given."""
        rows = ask(
            "SELECT id, session_id, name, tables_sha256 FROM setup "
            f"WHERE {chosen.mine} ORDER BY setup.id",
            chosen.values,
        )
        evenings = np.array([places.get(row[1], -1) for row in rows], int)
        order = np.argsort(evenings, kind="stable")
        order = order[evenings[order] >= 0]
        groups, group_of = coded([rows[i][2:4] for i in order.tolist()])
        together = np.argsort(group_of, kind="stable")
        numbers = np.array([row[0] for row in rows], int)[order[together]]
        return cls(numbers, evenings[order[together]], group_of[together], groups)

    @cached_property
    def first_of_each(self) -> list[int]:
        """The number of the first setup of each group."""
        found: list[int] = self.numbers[np.unique(self.group_of, return_index=True)[1]].tolist()
        return found


@dataclass(frozen=True)
class _Clips:
    """The clips of the sessions: file and own camera of each, and its place by its number."""

    codes: _Codes
    files: tuple[str, ...]
    own: NDArray[np.bool_]

    @classmethod
    def read(cls, ask: Ask, chosen: Chosen) -> "_Clips":
        """Read the clips of some sessions."""
        query = f"SELECT id, file, own_markers FROM clip WHERE session_id IN ({chosen.sessions})"
        rows = ask(query, chosen.values)
        numbers, files, own = zip(*rows, strict=True) if rows else ((), (), ())
        return cls(_Codes.of(numbers), files, np.array(own, bool))


@dataclass(frozen=True)
class _Shots:
    """All shots, in order: their table, reasons, clips, and the place of the session of each."""

    table: _Table
    reasons: Coded[tuple[Reason, ...]]
    clips: _Clips
    evenings: NDArray[np.intp]

    def between(self, setup: LoggedSetup, evenings: tuple[int, ...], rows: slice) -> LoggedShots:
        """Return the shots of the setups that are one, which stand together."""
        table, reasons = self.table.having(rows), self.reasons[rows]
        clip_of, count = self.clips.codes.of_each(table.whole("clip_id")), len(table.cells)
        columns = {
            "clip": Coded(self.clips.files, clip_of),
            "setup": Coded((setup.name,), np.zeros(count, int)),
            **_columns(table, reasons),
        }
        return LoggedShots(
            setup,
            evenings,
            LazyRows(count, columns, Shot.of_columns),
            self.evenings[rows],
            self.clips.own[clip_of],
            LazyRows(count, _shared(table), _stated),
        )


def _evenings(ask: Ask, chosen: Chosen) -> tuple[dict[int, int], tuple[LoggedEvening, ...]]:
    """Return the place of each session by its number, and the sessions, oldest first."""
    rows = ask(
        f"SELECT id, name, folder, filmed_on, {', '.join(CONDITIONS)} FROM session "
        f"WHERE session.id IN ({chosen.sessions}) ORDER BY {OLDEST_FIRST}",
        chosen.values,
    )
    alike: dict[tuple[object, ...], dict[str, Any]] = {}
    days: dict[object, date | None] = {}
    evenings = []
    for row in rows:
        name, folder, day, given = row[1], row[2], row[3], row[4:]
        if given not in alike:
            alike[given] = dict(zip(CONDITIONS, given, strict=True))
        if day not in days:
            days[day] = day_of(day)
        evenings.append(LoggedEvening(name, folder, days[day], alike[given]))
    return {row[0]: place for place, row in enumerate(rows)}, tuple(evenings)


def _tables(ask: Ask, numbers: list[int]) -> dict[int, dict[str, Part]]:
    """Return the tables of some setups by their numbers."""
    found: dict[int, dict[str, dict[str, float | str]]] = {}
    for begin in range(0, len(numbers), AT_ONCE):
        listed = ", ".join(map(str, numbers[begin : begin + AT_ONCE]))
        query = (
            "SELECT setup_id, part, field, number, text FROM setup_field "
            f"WHERE setup_id IN ({listed})"
        )
        for setup, part, name, number, text in ask(query, {}):
            table = found.setdefault(setup, {}).setdefault(part, {})
            table[name] = text if number is None else number
    return {number: dict(parts) for number, parts in found.items()}


AT_ONCE = 1000
"""Setups that are listed in one query: a text of some 10,000 characters."""


def _shots(
    ask: Ask, chosen: Chosen, figures: Collection[str], setups: NDArray[np.intp]
) -> tuple[_Table, NDArray[np.intp]]:
    """Return the shots of setups, in their order, and the place of each shot's setup."""
    read = [name for name in FIGURES if name in figures]
    shared = [name for name in SHARED.values() if name.replace("_shared_u_", "_u_") in read]
    names = (*HEAD, *read, *shared)
    rows = ask(
        "SELECT setup_id, cells FROM packed_shots "
        f"WHERE setup_id IN (SELECT setup.id FROM setup WHERE {chosen.mine})",
        chosen.values,
    )
    pack_of: dict[int, bytes] = dict(rows)
    packs = [pack_of.get(number, b"") for number in setups.tolist()]
    counts = [len(pack) // PACK_BYTES for pack in packs]
    table = _Table(unpacked(packs, names), {name: i for i, name in enumerate(names)})
    return table, np.repeat(np.arange(len(packs)), counts)


def _reasons(ask: Ask, chosen: Chosen, table: _Table) -> Coded[tuple[Reason, ...]]:
    """Return the reasons of each row.

    Raises
    ------
    InputError
        For a reason that this version does not know.
    """
    codes = np.zeros(len(table.cells), int)
    values: dict[str, tuple[int, tuple[Reason, ...]]] = {NO_REASONS: (0, ())}
    some = np.flatnonzero(table["reasons"])
    if some.size:
        rows = ask(
            "SELECT shot.id, CAST(shot.reasons AS TEXT) FROM shot "
            f"WHERE CAST(shot.reasons AS TEXT) <> '{NO_REASONS}' AND shot.setup_id IN "
            f"(SELECT setup.id FROM setup WHERE {chosen.mine})",
            chosen.values,
        )
        code_of = {}
        for number, text in rows:
            if text not in values:
                values[text] = (len(values), tuple(map(reason_of, json.loads(text))))
            code_of[number] = values[text][0]
        codes[some] = [code_of.get(number, 0) for number in table.whole("id")[some].tolist()]
    return Coded(tuple(reasons for _, reasons in values.values()), codes)


def _columns(rows: _Table, reasons: Coded[tuple[Reason, ...]]) -> dict[str, Cells | None]:
    """Return the columns of `Shot` beside clip and setup; None for one that was not read."""
    columns: dict[str, Cells | None] = dict.fromkeys(FIGURES)
    columns |= {name: rows[name] for name in FIGURES if name in rows.places}
    columns |= {
        "shot": rows.whole("number"),
        "quality": Coded(QUALITIES, rows.whole("quality")),
        "reasons": reasons,
    }
    if "landing_seen" in rows.places:
        columns["landing_seen"] = rows["landing_seen"].astype(bool)
    if "frames_seen" in rows.places:
        columns["frames_seen"] = rows.whole("frames_seen")
    return columns


def _shared(rows: _Table) -> dict[str, Cells | None]:
    """Return by figure the shared part of its uncertainty; None for one that was not read."""
    return {
        figure: rows[column] if column in rows.places else None for figure, column in SHARED.items()
    }


def _stated(cells: dict[str, Any]) -> dict[str, float]:
    return {name: u for name, u in cells.items() if u is not None}
