"""Invented logbook entries, and a PostgreSQL server of the tests' own."""

import os
import shutil
import socket
import sqlite3
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path

import numpy as np

from tests.tracker.invented_outings import shots_of, tables
from tracker.logbook import LoggedClip, LoggedSession, LoggedSetup
from tracker.logbook.logbook import open_logbook

NAME = "140 mm wheels"


def conditions(**changed) -> dict:
    """Ball, air and release of an invented session."""
    usual = {
        "ball_type": "tennis", "ball_mass_g": 57.7, "ball_diameter_mm": None,
        "ball_drag_coefficient": None, "temperature_c": 18.0, "pressure_hpa": None,
        "altitude_m": None, "humidity_percent": None, "wind_along_mps": 0.5,
        "wind_across_mps": None, "wind_u_mps": 0.5, "release_height_m": 0.8,
        "release_angle_deg": 42.0, "ground_rise_along_percent": 0.0,
        "ground_rise_across_percent": 0.0,
    }  # fmt: skip
    return usual | changed


def logged(number: int = 1, setup: str = NAME, count: int = 5, **changed) -> LoggedSession:
    """One session of one setup; another number is another film of another day."""
    shots = tuple(shots_of(setup, count, seed=number))
    clip = LoggedClip(shots[0].clip, f"{number:064x}") if shots else LoggedClip("a.mp4", "0" * 64)
    given = {
        "name": f"Fen Lane {number}",
        "folder": f"/evenings/{number}",
        "notes": 'overcast; "light" breeze',
        "lobmeter_version": "0.1.0",
        "filmed_on": date.fromordinal(date(2026, 5, 1).toordinal() + number),
        "conditions": conditions(),
        "setups": (LoggedSetup(setup, tables(setup)),),
        "clips": (clip,),
        "shots": shots,
        "shared_u": {(each.clip, each.shot): {"carry_m": 0.03 + 0.01 * i, "apex_m": 0.02}
                     for i, each in enumerate(shots)},
    }  # fmt: skip
    return LoggedSession(**(given | changed))


def add_some(url: str, numbers: list[int], results) -> None:
    """Add sessions to a logbook and report what came of each; a program of its own."""
    with open_logbook(url) as book:
        results.put([str(book.add(logged(number))) for number in numbers])


def many(count: int) -> Iterator[LoggedSession]:
    """Sessions of three setups with five shots each, quickly made."""
    base = [logged(1, setup=f"{size} mm wheels") for size in (100, 140, 180)]
    draw = np.random.default_rng(7)
    for number in range(count):
        factor = 1.0 + 0.02 * draw.normal()
        shots, clips, setups, shared = [], [], [], {}
        for one in base:
            clip = LoggedClip(one.clips[0].file, f"{number:060x}{len(clips):04x}")
            clips.append(clip)
            setups.extend(one.setups)
            shared |= one.shared_u
            for shot in one.shots:
                shots.append(type(shot)(**{**vars(shot), "carry_m": shot.carry_m * factor}))
        yield logged(
            number, setups=tuple(setups), clips=tuple(clips), shots=tuple(shots), shared_u=shared
        )


def as_first_made(raw: sqlite3.Connection) -> None:
    """Take a logbook back to the tables of the first version."""
    raw.execute("DROP TABLE packed_shots")
    raw.execute("ALTER TABLE setup DROP COLUMN tables_sha256")
    for way in ("along", "across"):
        raw.execute(f"ALTER TABLE session DROP COLUMN ground_rise_{way}_percent")
    raw.execute("UPDATE alembic_version SET version_num = '0001'")


def postgres_programs() -> Path | None:
    """Where initdb and pg_ctl lie: on the path, or where Debian puts them."""
    found = shutil.which("initdb")
    if found:
        return Path(found).parent
    places = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return places[-1].parent if places else None


@contextmanager
def postgres_server(programs: Path) -> Iterator[str]:
    """Start a server of its own on the loopback address, and give the URL of a database."""
    with tempfile.TemporaryDirectory(prefix="lobmeter-pg-") as folder:
        place = Path(folder)
        as_user: list[str] = []
        if hasattr(os, "geteuid") and os.geteuid() == 0:  # a server refuses to run as root
            shutil.chown(place, "postgres")
            as_user = ["runuser", "-u", "postgres", "--"]
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        data = place / "data"

        def run(*words: str) -> None:
            done = subprocess.run(
                [*as_user, *words], cwd=place, stdin=subprocess.DEVNULL, check=False,
                stdout=subprocess.PIPE, stderr=subprocess.STDOUT, encoding="utf-8",
            )  # fmt: skip
            assert done.returncode == 0, done.stdout

        run(str(programs / "initdb"), "-D", str(data), "-U", "club", "-A", "trust", "-E", "UTF8",
            "--no-sync")  # fmt: skip
        options = f"-p {port} -c listen_addresses=127.0.0.1 -k {place} -c fsync=off"
        run(str(programs / "pg_ctl"), "-D", str(data), "-w", "-l", str(place / "log"),
            "-o", options, "start")  # fmt: skip
        try:
            yield f"postgresql://club@127.0.0.1:{port}/postgres"
        finally:
            run(str(programs / "pg_ctl"), "-D", str(data), "-m", "immediate", "stop")
