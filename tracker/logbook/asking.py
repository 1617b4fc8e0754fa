"""Asking a logbook without the library of databases, which takes a third of a second to load."""

import re
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from tracker.logbook.database import BUSY_S, HEAD, default_place, unusable
from tracker.logbook.questions import Ask

VERSION = "SELECT version_num FROM alembic_version"

POSTGRESQL = re.compile(r"postgres(?:ql)?(?:\+psycopg)?://")
"""How the URL of a PostgreSQL database begins."""


@contextmanager
def asking(url: str | None = None) -> Iterator[Ask]:
    """Open a logbook for reading, and give what asks it.

    A SQLite file and a PostgreSQL database whose tables are up to date are asked by their own
    drivers; any other database, and one that must be made or brought up to date first, by
    SQLAlchemy.

    Parameters
    ----------
    url : str, optional
        As for `tracker.logbook.logbook.open_logbook`.

    Raises
    ------
    InputError
        Where the URL names no database that can be opened, or one of a newer version.
    """
    place = url or default_place()
    with _opened(place) as ask:
        if ask is not None:
            yield ask
            return
    with _through_library(place) as ask:
        yield ask


@contextmanager
def _opened(place: str) -> Iterator[Ask | None]:
    """Give what asks a database by its own driver, None where that cannot be."""
    file = _file_of(place)
    if file is not None and file.is_file():
        with _opened_sqlite(file, place) as ask:
            yield ask
    elif POSTGRESQL.match(place):
        with _opened_postgresql(place) as ask:
            yield ask
    else:
        yield None


def _file_of(place: str) -> Path | None:
    """Return the file of a SQLite logbook by its URL or path, None for any other database."""
    if "://" not in place:
        return Path(place)
    plain = re.fullmatch(r"sqlite:///([^?%:]+|[A-Za-z]:[^?%:]+)", place)
    return None if plain is None else Path(plain[1])


@contextmanager
def _opened_sqlite(file: Path, place: str) -> Iterator[Ask | None]:
    try:
        # Opened by its URI, a file that is missing is not made.
        uri = f"{file.absolute().as_uri()}?mode=rw"
        opened = sqlite3.connect(uri, timeout=BUSY_S, isolation_level=None, uri=True)
    except sqlite3.Error:
        yield None
        return
    with closing(opened) as connection:

        def ask(query: str, values: Mapping[str, object]) -> list[tuple[Any, ...]]:
            return connection.execute(query, values).fetchall()

        try:
            connection.execute("BEGIN")
            current = ask(VERSION, {}) == [(HEAD,)]
        except sqlite3.Error:
            current = False
        try:
            yield ask if current else None
        except sqlite3.Error as error:
            raise unusable(place, error) from None


@contextmanager
def _opened_postgresql(place: str) -> Iterator[Ask | None]:
    try:
        import psycopg

        opened = psycopg.connect(POSTGRESQL.sub("postgresql://", place))
    except Exception:  # whatever is wrong, the library says it in a sentence
        yield None
        return
    with opened as connection, connection.cursor(binary=True) as cursor:

        def ask(query: str, values: Mapping[str, object]) -> list[tuple[Any, ...]]:
            # The text of a query is ours, its values are bound.
            bound = re.sub(r":(\w+)", r"%(\1)s", query)
            return cursor.execute(bound, values).fetchall()

        try:
            current = ask(VERSION, {}) == [(HEAD,)]
        except psycopg.Error:
            connection.rollback()
            current = False
        try:
            yield ask if current else None
        except psycopg.Error as error:
            raise unusable(place, error) from None


@contextmanager
def _through_library(place: str) -> Iterator[Ask]:
    from tracker.logbook.logbook import open_logbook

    with open_logbook(place) as book, book.asked() as ask:
        yield ask
