"""Setups with their shots out of very many sessions, in five queries that read only what counts."""

import json
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from itertools import chain, pairwise
from operator import itemgetter
from typing import Any

import numpy as np
import sqlalchemy as sa

from tracker.logbook import tables as t
from tracker.logbook.entries import (
    CONDITIONS,
    Filter,
    LoggedEvening,
    LoggedEvenings,
    LoggedSetup,
    LoggedShots,
    Part,
)
from tracker.logbook.reading import reason_of, setup_conditions, wanted_sessions
from tracker.records import LazyRows, Quality, Reason, Row, Shot, not_read

HEAD = ("id", "setup_id", "clip_id", "number")
"""The columns of the table ``shot`` that come first in a row, before figures and shared parts."""

_Columns = Mapping[str, Callable[[Row], Any]]
"""By column, what takes its cell from a row."""

_Members = list[tuple[int, int]]
"""Setups that are one: the place of the session, and the number of the setup."""


@dataclass(frozen=True)
class _Known:
    """Name and place of the session by a setup's number; file and own camera by a clip's."""

    setups: dict[int, tuple[str, int]]
    clips: dict[int, tuple[str, bool]]

    def has(self, row: Row) -> bool:
        """Return whether setup and clip of a shot's row were read."""
        return row[1] in self.setups and row[2] in self.clips


def setups_from(
    connection: sa.Connection, wanted: Filter, figures: Collection[str] = t.FIGURES
) -> LoggedEvenings:
    """Read the setups and shots that fit a filter.

    Parameters
    ----------
    connection : sqlalchemy.Connection
    wanted : Filter
    figures : collection of str
        The columns of shots.csv that are read, beside quality and reasons; the shots are made
        without the others, and asking for one of these is an error.

    Notes
    -----
    Written for 10,000 sessions: rows stay plain tuples, of which a shot is made only where one is
    asked for, and the tables of setups that are built alike are read once.
    """
    numbers = wanted_sessions(wanted).scalar_subquery()
    places, evenings = _evenings(connection, numbers)
    mine = [t.setup.c.session_id.in_(numbers), *setup_conditions(wanted)]
    groups: dict[tuple[str, str], _Members] = {}
    setups = connection.execute(
        sa.select(t.setup.c.id, t.setup.c.session_id, t.setup.c.name, t.setup.c.tables_sha256)
        .where(*mine)
        .order_by(t.setup.c.id)
    ).all()
    setup_of: dict[int, tuple[str, int]] = {}
    for number, session, name, digest in sorted(setups, key=lambda row: places[row[1]]):
        groups.setdefault((name, digest), []).append((places[session], number))
        setup_of[number] = (name, places[session])
    parts = _tables(connection, [members[0][1] for members in groups.values()])
    known = _Known(setup_of, _clips(connection, numbers))
    # What another program adds between two queries belongs to the next reading.
    read = [name for name in t.FIGURES if name in {"quality", "reasons", *figures}]
    shares = [name for name in t.SHARED if name in read]
    rows = [row for row in _shots(connection, mine, read, shares) if known.has(row)]
    columns = _columns(known, rows, read), _places(read, shares)
    sorted_rows = _sorted(rows, list(groups.values()))
    return LoggedEvenings(
        evenings,
        tuple(
            _together(
                LoggedSetup(name, parts.get(members[0][1], {})), members, shots, known, columns
            )
            for ((name, _), members), shots in zip(groups.items(), sorted_rows, strict=True)
        ),
    )


def _evenings(
    connection: sa.Connection, numbers: sa.ScalarSelect[Any]
) -> tuple[dict[int, int], tuple[LoggedEvening, ...]]:
    """Return the place of each session by its number, and the sessions, oldest first."""
    columns = [t.session.c[name] for name in ("id", "folder", "filmed_on", *CONDITIONS)]
    rows = connection.execute(
        sa.select(*columns)
        .where(t.session.c.id.in_(numbers))
        .order_by(t.session.c.filmed_on.nulls_first(), t.session.c.id)
    ).all()
    alike: dict[tuple[object, ...], dict[str, Any]] = {}
    evenings = []
    for _, folder, day, *given in rows:
        key = tuple(given)
        if key not in alike:
            alike[key] = dict(zip(CONDITIONS, given, strict=True))
        evenings.append(LoggedEvening(folder, day, alike[key]))
    return {row[0]: place for place, row in enumerate(rows)}, tuple(evenings)


def _tables(connection: sa.Connection, numbers: list[int]) -> dict[int, dict[str, Part]]:
    """Return the tables of some setups by their numbers."""
    found: dict[int, dict[str, dict[str, float | str]]] = {}
    field = t.setup_field
    for row in connection.execute(sa.select(field).where(field.c.setup_id.in_(numbers))):
        table = found.setdefault(row.setup_id, {}).setdefault(row.part, {})
        table[row.field] = row.text if row.number is None else row.number
    return {number: dict(parts) for number, parts in found.items()}


def _clips(connection: sa.Connection, numbers: sa.ScalarSelect[Any]) -> dict[int, tuple[str, bool]]:
    """Return file and own camera of the clips by their numbers."""
    clip = t.clip.c
    query = sa.select(clip.id, clip.file, clip.own_markers).where(clip.session_id.in_(numbers))
    return {number: (file, bool(own)) for number, file, own in connection.execute(query).all()}


def _shots(
    connection: sa.Connection,
    mine: list[sa.ColumnElement[bool]],
    read: list[str],
    shares: list[str],
) -> list[Row]:
    """Return the rows of the shots of some setups, in any order."""
    shot = t.shot.c
    # As text: most rows have the same, which is taken apart once.
    texts = {"reasons": sa.cast(shot.reasons, sa.Text)}
    shared = [t.SHARED[name] for name in shares]
    columns = [texts.get(name, shot[name]) for name in (*HEAD, *read, *shared)]
    query = sa.select(*columns).where(shot.setup_id.in_(sa.select(t.setup.c.id).where(*mine)))
    # Rows of the library's own would take as long again to make, and the collector to look through.
    cursor = connection.execute(query).cursor
    return [] if cursor is None else list(cursor.fetchall())


def _columns(known: _Known, rows: list[Row], read: list[str]) -> _Columns:
    """Return by column of `Shot` what takes its cell from a row.

    Raises
    ------
    InputError
        For a reason that this version does not know.
    """
    place = {name: len(HEAD) + i for i, name in enumerate(read)}
    seen = place.get("landing_seen")
    qualities = {str(each): each for each in Quality}
    texts = set(map(itemgetter(place["reasons"]), rows))
    reasons: dict[str, tuple[Reason, ...]] = {
        text: tuple(map(reason_of, json.loads(text))) for text in texts
    }
    return {
        **dict.fromkeys(t.FIGURES, not_read),
        **{name: itemgetter(i) for name, i in place.items()},
        "clip": lambda row: known.clips[row[2]][0],
        "setup": lambda row: known.setups[row[1]][0],
        "shot": itemgetter(3),
        "quality": lambda row: qualities[row[place["quality"]]],
        "reasons": lambda row: reasons[row[place["reasons"]]],
        **({"landing_seen": lambda row: bool(row[seen])} if seen else {}),
    }


def _places(read: list[str], shares: list[str]) -> _Columns:
    """Return by figure what takes the shared part of its uncertainty from a row."""
    unread = dict.fromkeys(t.SHARED, not_read)
    return unread | {n: itemgetter(len(HEAD) + len(read) + i) for i, n in enumerate(shares)}


def _sorted(rows: list[Row], groups: list[_Members]) -> list[list[Row]]:
    """Return the rows of each group, in the order of its sessions, then as they were added."""
    setups = chain.from_iterable(groups)
    rank = {number: i for i, (_, number) in enumerate(setups)}
    ranks = np.array([rank[row[1]] for row in rows], int)
    order = np.lexsort((np.array([row[0] for row in rows], int), ranks))
    ends = np.cumsum([0, *map(len, groups)])
    bounds = np.searchsorted(ranks[order], ends).tolist()
    ordered = [rows[i] for i in order.tolist()]
    return [ordered[first:end] for first, end in pairwise(bounds)]


def _together(
    setup: LoggedSetup,
    members: _Members,
    rows: list[Row],
    known: _Known,
    columns: tuple[_Columns, _Columns],
) -> LoggedShots:
    """Return the shots of setups that are one."""
    return LoggedShots(
        setup,
        tuple(place for place, _ in members),
        LazyRows(rows, columns[0], Shot.of_columns),
        tuple(known.setups[row[1]][1] for row in rows),
        tuple(known.clips[row[2]][1] for row in rows),
        LazyRows(rows, columns[1], _stated),
    )


def _stated(cells: dict[str, Any]) -> dict[str, float]:
    return {name: u for name, u in cells.items() if u is not None}
