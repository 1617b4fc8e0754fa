"""Times the logbook over many sessions: ``python -m tests.bench.logbook [--sessions N]``.

Three setups of five shots each a session, on SQLite and, where its programs are found, on a
PostgreSQL server of its own. Each session is filmed in an air of its own. The sessions are added
once and then multiplied in the tables, since adding them one by one takes minutes. The times stand
with what a logbook of ten sessions takes beside them: the
difference is what the many sessions cost. Last come whole commands, from the start of Python to
its end.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from functools import partial
from pathlib import Path

import numpy as np
import sqlalchemy as sa

from tests.tracker.logged_sessions import many, postgres_programs, postgres_server
from tracker.logbook import Filter
from tracker.logbook import tables as t
from tracker.logbook.logbook import open_logbook, pack_shots
from tracker.workflow.compare import compare_logged
from tracker.workflow.log import list_sessions
from tracker.workflow.logged import gather_logged
from tracker.workflow.outings import Outings
from tracker.workflow.quick import collection_paused

FEW = 10
"""Sessions of the logbook that the large one is compared with."""
BASE = 100
"""Sessions that are added one by one."""
MONTH = Filter(since=date(2026, 5, 1), until=date(2026, 5, 31))
WHEEL = Filter(wheel_mm=140.0)


COMMANDS = {
    "log list": ("log", "list"),
    "compare --from-log --wheel 140": ("compare", "--from-log", "--wheel", "140"),
    "compare --from-log, a month": (
        "compare", "--from-log", "--since", "2026-05-01", "--until", "2026-05-31",
    ),
    "compare --from-log": ("compare", "--from-log"),
}  # fmt: skip
"""What is timed as a whole command."""


def timed(call: Callable[[], object], rounds: int = 3) -> str:
    """Return a call's median time: by the clock, and of the processor with its children, s."""
    spent = []
    for _ in range(rounds):
        began, busy = time.perf_counter(), _busy_s()
        call()
        spent.append((time.perf_counter() - began, _busy_s() - busy))
    clock, busy = (sorted(each)[rounds // 2] for each in zip(*spent, strict=True))
    return f"{clock:.3f} {busy:.3f}"


def _busy_s() -> float:
    own = os.times()
    return own.user + own.system + own.children_user + own.children_system


def fill(url: str, count: int) -> None:
    """Fill a logbook with sessions, of which those after the first `BASE` are copies."""
    draw = np.random.default_rng(5)
    with open_logbook(url) as book:
        for session in many(min(count, BASE)):
            air = {"temperature_c": float(draw.uniform(5, 30)), "wind_along_mps": draw.normal()}
            book.add(replace(session, conditions={**session.conditions, **air}))
        with book._engine.begin() as connection:
            for copy in range(1, count // BASE):
                _multiply(connection, copy)
            connection.execute(sa.delete(t.packed_shots))
            pack_shots(connection, "SELECT id FROM setup")
            if connection.dialect.name == "postgresql":
                connection.exec_driver_sql("ANALYZE")


def _multiply(connection: sa.Connection, copy: int) -> None:
    """Copy the first sessions under new numbers."""
    for table in (t.session, t.setup, t.setup_field, t.clip, t.shot):
        steps = {"session_id": BASE, "setup_id": 3 * BASE, "clip_id": 3 * BASE}
        own = {t.session: BASE, t.setup: 3 * BASE, t.clip: 3 * BASE, t.shot: 15 * BASE}
        step = own.get(table, 0) * copy
        columns = []
        for column in table.c:
            value: sa.ColumnElement[object] = column
            if column.name in steps:
                value = column + steps[column.name] * copy
            elif column.name == "id":
                value = column + step
            elif column.name == "identity_sha256":
                value = sa.literal(f"{copy:06}") + sa.func.substr(column, 7)
            columns.append(value)
        parent = table.c.id if "id" in table.c else table.c.setup_id
        first = parent <= own.get(table, own[t.setup])
        connection.execute(sa.insert(table).from_select(table.c, sa.select(*columns).where(first)))


def bench(url: str, small: str, count: int) -> None:
    """Fill two logbooks and ask both."""
    fill(url, count)
    fill(small, FEW)
    print(f"{url.split(':')[0]}, {count} sessions; in brackets {FEW}: clock, processor, s")
    asked: list[tuple[str, Callable[[str], object]]] = [
        ("list the newest 40", partial(_list, Filter(), 40)),
        ("list all", partial(_list, Filter(), None)),
        ("list one wheel", partial(_list, WHEEL, None)),
        ("list a month", partial(_list, MONTH, None)),
    ]
    for name, wanted in (("a month", MONTH), ("one wheel", WHEEL), ("everything", Filter())):
        asked.append((f"read for a comparison: {name}", partial(_read, wanted)))
        asked.append((f"read and compare: {name}", partial(_compared, wanted)))
    for name, call in asked:
        large, few = (timed(partial(call, where)) for where in (url, small))
        print(f"  {name:<40} {large} ({few})", flush=True)
    for name, words in COMMANDS.items():
        large, few = (timed(partial(_run, words, where), 5) for where in (url, small))
        print(f"  lobmeter {name:<31} {large} ({few})", flush=True)


def _run(words: tuple[str, ...], url: str) -> None:
    command = [sys.executable, "-c", "from tracker.cli import main; main()", *words, "--db", url]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)


def _list(wanted: Filter, most: int | None, url: str) -> object:
    return list_sessions(wanted, most, url)


def _read(wanted: Filter, url: str) -> Outings:
    with collection_paused():
        return gather_logged(url, wanted)


def _compared(wanted: Filter, url: str) -> object:
    with collection_paused():
        return compare_logged(url, wanted)


def main() -> None:
    """Run the bench on every database there is."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, default=10000)
    count = parser.parse_args().sessions
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        bench(f"sqlite:///{place / 'book.sqlite3'}", f"sqlite:///{place / 'few.sqlite3'}", count)
    programs = postgres_programs()
    if programs is not None:
        with postgres_server(programs) as url, postgres_server(programs) as small:
            bench(url, small, count)


if __name__ == "__main__":
    main()
