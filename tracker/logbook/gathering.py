"""Setups with their shots out of very many sessions, in five queries that read only what counts."""

import json
from itertools import chain
from typing import Any

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
from tracker.records import Quality, Shot

ROW = ("clip", "setup", "shot", *t.FIGURES)
"""The columns of a shot as they are selected, under the names of `Shot`."""

EMPTY = "[]"
"""The reasons of a row that has none, as the database keeps them."""


def setups_from(connection: sa.Connection, wanted: Filter) -> LoggedEvenings:
    """Read the setups and shots that fit a filter.

    Parameters
    ----------
    connection : sqlalchemy.Connection
    wanted : Filter

    Notes
    -----
    Written for 10,000 sessions: rows stay plain tuples, and the tables of setups that are built
    alike are read once.
    """
    numbers = wanted_sessions(wanted).scalar_subquery()
    places, evenings = _evenings(connection, numbers)
    mine = [t.setup.c.session_id.in_(numbers), *setup_conditions(wanted)]
    groups: dict[tuple[str, str], list[tuple[int, int]]] = {}
    rows = connection.execute(
        sa.select(t.setup.c.id, t.setup.c.session_id, t.setup.c.name, t.setup.c.tables_sha256)
        .where(*mine)
        .order_by(t.setup.c.id)
    ).all()
    for number, session, name, digest in sorted(rows, key=lambda row: places[row[1]]):
        groups.setdefault((name, digest), []).append((places[session], number))
    parts = _tables(connection, [members[0][1] for members in groups.values()])
    shots = _shots(connection, mine, places)
    found = [
        _together(LoggedSetup(name, parts.get(members[0][1], {})), members, shots)
        for (name, _), members in groups.items()
    ]
    return LoggedEvenings(evenings, tuple(found))


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


_Row = tuple[Shot, int, bool, dict[str, float]]
"""A shot, the place of its session, whether its camera is its own, and its shared parts."""


def _shots(
    connection: sa.Connection, mine: list[sa.ColumnElement[bool]], places: dict[int, int]
) -> dict[int, list[_Row]]:
    """Return the shots by the number of their setup."""
    shot, clip, setup = t.shot.c, t.clip.c, t.setup.c
    plain = {"reasons": sa.cast(shot.reasons, sa.Text), "landing_seen": shot.landing_seen}
    heads = (shot.setup_id, clip.session_id, clip.own_markers, clip.file, setup.name, shot.number)
    figures = [plain.get(name, shot[name]) for name in t.FIGURES]
    shared = [shot[name] for name in t.SHARED.values()]
    query = (
        sa.select(*heads, *figures, *shared)
        .join(t.clip, clip.id == shot.clip_id)
        .join(t.setup, setup.id == shot.setup_id)
        .where(*mine)
        .order_by(shot.id)
    )
    qualities, end = {str(each): each for each in Quality}, 3 + len(ROW)
    found: dict[int, list[_Row]] = {}
    for row in connection.execute(query).all():
        columns: dict[str, Any] = dict(zip(ROW, row[3:end], strict=True))
        columns["quality"] = qualities[columns["quality"]]
        columns["landing_seen"] = bool(columns["landing_seen"])
        kept = columns["reasons"]
        columns["reasons"] = () if kept == EMPTY else tuple(map(reason_of, json.loads(kept)))
        shared_u = {name: u for name, u in zip(t.SHARED, row[end:], strict=True) if u is not None}
        one = (Shot.of_columns(columns), places[row[1]], bool(row[2]), shared_u)
        found.setdefault(row[0], []).append(one)
    return found


def _together(
    setup: LoggedSetup, members: list[tuple[int, int]], shots: dict[int, list[_Row]]
) -> LoggedShots:
    """Return the shots of setups that are one, in the order of their sessions."""
    rows = list(chain.from_iterable(shots.get(number, ()) for _, number in members))
    columns = [tuple(column) for column in zip(*rows, strict=True)] if rows else [()] * 4
    return LoggedShots(setup, tuple(place for place, _ in members), *columns)
