"""Adding sessions to a logbook and asking it."""

from collections.abc import Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa

from calibration.errors import InputError
from tracker.logbook import tables as t
from tracker.logbook.columns import FIGURES, SHARED
from tracker.logbook.database import WRITES, connected, unusable
from tracker.logbook.entries import (
    EVERYTHING,
    Added,
    Filter,
    LoggedEvenings,
    LoggedSession,
    Summary,
)
from tracker.logbook.gathering import setups_from
from tracker.logbook.packing import SHOTS, packed
from tracker.logbook.questions import Ask, chosen_by
from tracker.logbook.reading import session_from, sessions_from, summaries_from


class Logbook:
    """An open logbook; use it as a context manager, or call `close`.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        From `tracker.logbook.logbook.open_logbook`.
    """

    def __init__(self, engine: sa.Engine) -> None:
        self._engine = engine

    def __enter__(self) -> "Logbook":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Give the connections back."""
        self._engine.dispose()

    def add(self, session: LoggedSession) -> Added:
        """Add a session, or replace what is kept of the same films, in one transaction.

        Raises
        ------
        InputError
            Where it has no clip, or the database does not take it.
        """
        if not session.clips:
            raise InputError(
                "has no clip that was measured", where=session.folder, remedy="measure it first"
            )
        with self._transaction(writes=True) as connection:
            return _add(connection, session)

    def summaries(
        self, wanted: Filter = EVERYTHING, most: int | None = None
    ) -> tuple[Summary, ...]:
        """Return the sessions that fit a filter, newest first."""
        with self.asked() as ask:
            return summaries_from(ask, wanted, most)

    def sessions(self, wanted: Filter = EVERYTHING) -> tuple[LoggedSession, ...]:
        """Return sessions whole, oldest first, with the setups and shots that fit a filter."""
        with self.asked() as ask:
            return sessions_from(ask, chosen_by(wanted))

    def setups(
        self, wanted: Filter = EVERYTHING, figures: Collection[str] = FIGURES
    ) -> LoggedEvenings:
        """Return the setups and shots that fit a filter, those that are built alike together.

        Of the shots, quality, reasons and the columns `figures` of shots.csv are read.
        """
        with self.asked() as ask:
            return setups_from(ask, wanted, figures)

    def session(self, number: int) -> LoggedSession:
        """Return one session by the number that `summaries` gives it.

        Raises
        ------
        InputError
            Where there is none of that number.
        """
        with self.asked() as ask:
            return session_from(ask, number)

    @contextmanager
    def asked(self) -> Iterator[Ask]:
        """Give what asks it, in one transaction."""
        with self._transaction() as connection:

            def ask(query: str, values: Mapping[str, object]) -> list[tuple[Any, ...]]:
                return [tuple(row) for row in connection.execute(sa.text(query), values)]

            yield ask

    @contextmanager
    def _transaction(self, writes: bool = False) -> Iterator[sa.Connection]:
        try:
            with self._engine.execution_options(**{WRITES: writes}).begin() as connection:
                yield connection
        except sa.exc.SQLAlchemyError as error:
            self._engine.dispose()
            raise unusable(self._engine.url, error) from None


def open_logbook(url: str | None = None) -> Logbook:
    """Open a logbook; its tables are made or brought up to date where that is needed.

    Parameters
    ----------
    url : str, optional
        A SQLAlchemy URL, or the path of a SQLite file; a file in the platform's folder for a
        user's data when left out.

    Raises
    ------
    InputError
        Where the URL names no database that can be opened, or one of a newer version.
    """
    return Logbook(connected(url))


def _add(connection: sa.Connection, session: LoggedSession) -> Added:
    identity, content = session.identity, session.content
    if connection.dialect.name == "postgresql":
        # Two programs that add the same films wait for each other; SQLite has one writer anyway.
        key = int(identity[:15], 16)
        connection.execute(sa.select(sa.func.pg_advisory_xact_lock(key)))
    earlier = connection.execute(
        sa.select(t.session.c.id, t.session.c.content_sha256).where(
            t.session.c.identity_sha256 == identity
        )
    ).one_or_none()
    if earlier is not None and earlier.content_sha256 == content:
        return Added.UNCHANGED
    values = {
        "identity_sha256": identity,
        "content_sha256": content,
        "name": session.name,
        "folder": session.folder,
        "notes": session.notes,
        "filmed_on": session.filmed_on,
        "added_utc": datetime.now(UTC).replace(tzinfo=None),
        "lobmeter_version": session.lobmeter_version,
        **session.conditions,
    }
    if earlier is None:
        number = _inserted(connection, t.session, values)
    else:
        # The number stays, so that what a person noted of it keeps its meaning.
        number = earlier.id
        connection.execute(sa.update(t.session).where(t.session.c.id == number).values(values))
        for child in (t.clip, t.setup):
            connection.execute(sa.delete(child).where(child.c.session_id == number))
    _add_children(connection, number, session)
    return Added.NEW if earlier is None else Added.UPDATED


def _add_children(connection: sa.Connection, number: int, session: LoggedSession) -> None:
    setups: dict[str, int] = {}
    for setup in session.setups:
        wheel = setup.parts.get("wheel", {}).get("diameter_mm")
        setups[setup.name] = _inserted(
            connection,
            t.setup,
            {
                "session_id": number,
                "name": setup.name,
                "wheel_diameter_mm": wheel,
                "tables_sha256": setup.digest,
            },
        )
        entries = [
            {
                "setup_id": setups[setup.name],
                "part": part,
                "field": field,
                "number": None if isinstance(value, str) else float(value),
                "text": value if isinstance(value, str) else None,
            }
            for part, values in setup.parts.items()
            for field, value in values.items()
        ]
        _insert_all(connection, t.setup_field, entries)
    clips = {
        clip.file: _inserted(
            connection,
            t.clip,
            {
                "session_id": number,
                "file": clip.file,
                "sha256": clip.sha256,
                "own_markers": clip.own_markers,
            },
        )
        for clip in session.clips
    }
    rows = []
    for shot in session.shots:
        row = {name: getattr(shot, name) for name in FIGURES} | {
            "clip_id": clips[shot.clip],
            "setup_id": setups[shot.setup],
            "number": shot.shot,
            "quality": str(shot.quality),
            "reasons": [
                {"code": str(each.code), "numbers": dict(each.numbers)}
                | ({"words": each.words} if each.words else {})
                for each in shot.reasons
            ],
        }
        shared = session.shared_u.get((shot.clip, shot.shot), {})
        row |= {SHARED[figure]: u for figure, u in shared.items() if figure in SHARED}
        rows.append(row)
    _insert_all(connection, t.shot, rows)
    pack_shots(connection, f"SELECT id FROM setup WHERE session_id = {int(number)}")


def pack_shots(connection: sa.Connection, setups: str) -> None:
    """Pack the shots of the setups whose numbers a query gives; none of them is packed yet."""
    query = f"{SHOTS} WHERE shot.setup_id IN ({setups}) ORDER BY shot.setup_id, shot.id"
    rows = connection.execute(sa.text(query))
    _insert_all(
        connection,
        t.packed_shots,
        [{"setup_id": setup, "cells": cells} for setup, cells in packed(rows)],
    )


def _inserted(connection: sa.Connection, table: sa.Table, values: Mapping[str, object]) -> int:
    found = connection.execute(sa.insert(table).values(values)).inserted_primary_key
    if found is None:
        raise InputError("the database gave no number to a new row", where=table.name)
    return int(found[0])


def _insert_all(
    connection: sa.Connection, table: sa.Table, rows: Iterable[Mapping[str, object]]
) -> None:
    listed = list(rows)
    if listed:
        connection.execute(sa.insert(table), listed)
