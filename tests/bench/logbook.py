"""Times the logbook over many sessions: ``python -m tests.bench.logbook [--sessions N]``.

Three setups of five shots each a session, on SQLite and, where its programs are found, on a
PostgreSQL server of its own. Only the answers are timed against the goal of a second.
"""

import argparse
import tempfile
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path

from tests.tracker.logged_sessions import many, postgres_programs, postgres_server
from tracker.logbook import Filter, open_logbook


def timed(name: str, call: Callable[[], object]) -> None:
    """Print how long a call takes, the median of three, s."""
    spent = []
    for _ in range(3):
        began = time.perf_counter()
        call()
        spent.append(time.perf_counter() - began)
    print(f"  {name:<40} {sorted(spent)[1]:7.3f} s", flush=True)


def bench(url: str, count: int) -> None:
    """Fill one logbook and ask it."""
    month = Filter(since=date(2027, 5, 1), until=date(2027, 5, 31))
    with open_logbook(url) as book:
        began = time.perf_counter()
        for session in many(count):
            book.add(session)
        print(f"{url.split(':')[0]}: {count} sessions added, each in {_each(began, count)} ms")
        timed("list the newest 40", lambda: book.summaries(most=40))
        timed("list all", book.summaries)
        timed("list one wheel", lambda: book.summaries(Filter(wheel_mm=140.0)))
        timed("shots of a month, for a comparison", lambda: book.sessions(month))
        timed("shots of one wheel, for a comparison", lambda: book.sessions(Filter(wheel_mm=140.0)))
        timed("every shot", book.sessions)


def _each(began: float, count: int) -> str:
    return f"{1000.0 * (time.perf_counter() - began) / count:.1f}"


def main() -> None:
    """Run the bench on every database there is."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, default=10000)
    count = parser.parse_args().sessions
    with tempfile.TemporaryDirectory() as folder:
        bench(f"sqlite:///{Path(folder) / 'book.sqlite3'}", count)
    programs = postgres_programs()
    if programs is not None:
        with postgres_server(programs) as url:
            bench(url, count)


if __name__ == "__main__":
    main()
