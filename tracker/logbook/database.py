"""Opening a logbook: where it lies, how it is connected, and its version."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

from calibration.errors import InputError

if TYPE_CHECKING:
    import sqlalchemy as sa

HEAD = "0004"
"""The newest step in `migrations/versions`."""

BUSY_S = 30.0
"""How long a program waits for another that is writing, s. Common practice, no source."""

WRITES = "logbook_writes"
"""Execution option of a transaction that writes."""

LOCK_KEY = 0x10B3E7E5
"""Number of the advisory lock under which a PostgreSQL logbook is migrated; any number does."""


def default_place() -> str:
    """Return the path of the SQLite file in the platform's folder for a user's data."""
    from platformdirs import user_data_path

    return str(user_data_path("lobmeter", appauthor=False) / "logbook.sqlite3")


def shown_place(place: "str | sa.URL | None" = None) -> str:
    """Return where a logbook lies, as a person may see it: without a password.

    Parameters
    ----------
    place : str or sqlalchemy.URL, optional
        As for `connected`.
    """
    text = str(place or default_place())
    if "://" not in text:
        return text
    import sqlalchemy as sa

    return sa.make_url(place or text).render_as_string(hide_password=True)


def connected(url: str | None = None) -> "sa.Engine":
    """Connect to a logbook, making or migrating its tables where that is needed.

    Parameters
    ----------
    url : str, optional
        A SQLAlchemy URL, or the path of a SQLite file; `default_place` when left out.

    Raises
    ------
    InputError
        Where the URL names no database that can be opened, or one of a newer version.
    """
    import sqlalchemy as sa

    engine = _engine(url or default_place())
    try:
        with engine.begin() as connection:
            current = _version(connection) == HEAD
        if not current:
            with engine.execution_options(**{WRITES: True}).begin() as connection:
                _migrate(connection)
    except sa.exc.SQLAlchemyError as error:
        engine.dispose()
        raise unusable(engine.url, error) from None
    except BaseException:
        engine.dispose()
        raise
    return engine


def unusable(place: "str | sa.URL", error: Exception) -> InputError:
    """Return the sentence for a database that does not do what it is asked.

    Parameters
    ----------
    place : str or sqlalchemy.URL
        Its URL, of which a password is left out, or the path of a SQLite file.
    error : Exception
        The driver's, or SQLAlchemy's around it.
    """
    lines = str(getattr(error, "orig", None) or error).strip().splitlines()
    said = lines[0] if lines else type(error).__name__
    remedy = "see that the server runs and that you may write there, or name another with --db"
    if "://" not in str(place) or str(place).startswith("sqlite"):
        remedy = "see that you may write there and the disk has room, or name another with --db"
    if "malformed" in said:
        remedy = "put a copy of the file back, or add the sessions to another one with --db"
    what = f"the logbook cannot be used ({said})"
    return InputError(what, where=shown_place(place), remedy=remedy)


def _engine(url: str) -> "sa.Engine":
    """Return an engine for a URL or for the path of a SQLite file."""
    import sqlalchemy as sa

    try:
        made = sa.make_url(url) if "://" in url else sa.URL.create("sqlite", database=url)
        if made.drivername in ("postgresql", "postgres"):
            made = made.set(drivername="postgresql+psycopg")
        sqlite = made.get_backend_name() == "sqlite"
        if sqlite and made.database and made.database != ":memory:":
            Path(made.database).parent.mkdir(parents=True, exist_ok=True)
        options: dict[str, Any] = {"connect_args": {"timeout": BUSY_S}} if sqlite else {}
        engine = sa.create_engine(made, **options)
    except (ModuleNotFoundError, sa.exc.NoSuchModuleError) as error:
        raise InputError(
            f"needs a driver that is not installed ({error})",
            where="--db",
            remedy="write a file's path or postgresql://user@host/club; the latter needs: "
            "pip install 'lobmeter[postgresql]'",
        ) from None
    except (sa.exc.ArgumentError, ValueError):
        raise InputError(
            "is no address of a database",
            where="--db",
            remedy="write a file's path or a URL such as postgresql://user@host/club",
        ) from None
    except OSError as error:
        raise InputError(
            f"the folder of the logbook cannot be made ({error})",
            where=url,
            remedy="name another place with --db",
        ) from None
    if sqlite:
        sa.event.listen(engine, "connect", _on_sqlite_connect)
        sa.event.listen(engine, "begin", _begin)
    return engine


def _on_sqlite_connect(connection: Any, _: Any) -> None:
    # The driver's own transactions begin late and allow two writers to meet; ours begin at once.
    connection.isolation_level = None
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA synchronous = FULL")


def _begin(connection: "sa.Connection") -> None:
    # A writer takes its lock before it reads, so that two writers never wait for each other.
    writes = connection.get_execution_options().get(WRITES, False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _version(connection: "sa.Connection") -> str | None:
    """Return the step that the tables are at, None where there are none."""
    import sqlalchemy as sa

    if not sa.inspect(connection).has_table("alembic_version"):
        return None
    found = connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar()
    return None if found is None else str(found)


def _migrate(connection: "sa.Connection") -> None:
    from alembic import command
    from alembic.config import Config
    from alembic.script import ScriptDirectory

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({LOCK_KEY})")
    at = _version(connection)
    known = {step.revision for step in ScriptDirectory.from_config(config).walk_revisions()}
    if at is not None and at not in known:
        raise InputError(
            f"the logbook was written by a newer Lobmeter (its tables are at step {at})",
            where=connection.engine.url.render_as_string(hide_password=True),
            remedy="install that version: pip install --upgrade lobmeter",
        )
    command.upgrade(config, "head")
