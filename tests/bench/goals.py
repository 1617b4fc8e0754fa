"""Hold speed and memory against their goals: ``python -m tests.bench.goals``.

Each kind of film is drawn, or taken from ``--keep FOLDER``, and measured in a process of its own,
pictures and results included, between two passes of decoding alone. Ratios are by the clock, with
those of the processor beside them, which other work disturbs less. The last lines time the
commands that are waited for. ``python -m tests.bench`` prints how exact the same films are.
"""

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.bench.scale import AS_THE_PROGRAM, CLIP_S, PEAK, cost_of, film
from tracker.workflow.simulate import SimulateOptions, simulate

ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Film:
    """A kind of film, and the most that its measurement may take over decoding alone."""

    name: str
    goal: float
    options: SimulateOptions


FILMS = (
    Film("nobody fires", 1.15, SimulateOptions("wide", 9790, shots=False)),
    Film(
        "five shots in a minute", 1.6, SimulateOptions("wide", 9791, {"shots": 5, "pause_s": 8.2})
    ),
    Film("4K at 30 a second", 2.0, SimulateOptions("uhd", 9792, shots=False)),
    Film(
        "240 a second, two shots",
        1.6,
        SimulateOptions(
            "wide", 9793, {"fps": 240, "shots": 2, "readout_s": 0.003, "exposure_s": 0.001}
        ),
    ),
)

SHOT_S, SIDE, PEAK_MB = 0.4, 0.6, 600.0
"""Goals: processor time of a shot's fit and picture; eight clips two at a time over one after
another; memory."""

COMMANDS = (("--help", 0.15), ("check", 0.5), ("predict", 0.6))
"""Commands, and the seconds within which they are to end."""

TRIES = 3
"""Runs of a command, of which the quickest counts."""

CHILD = f"""{PEAK}
import json, sys, time
from pathlib import Path
from unittest.mock import patch
from tracker.measurement.starts import release
from tracker.report import shot_frames
from tracker.session import read_session
from tracker.video import decode_only, inspect
from tracker.workflow.measure import MeasureOptions, measure_sessions

place = Path(sys.argv[1])
session = read_session(place)
facts = inspect(session.clips[0].path, session.camera.capture_fps)
spent = []

def timed(call):
    def inner(*given):
        began = time.thread_time()
        found = call(*given)
        spent.append(time.thread_time() - began)
        return found
    return inner

def took(work):
    wall_s, cpu_s = time.perf_counter(), time.process_time()
    done = work()
    return time.perf_counter() - wall_s, time.process_time() - cpu_s, done

decode_only(facts)
before = took(lambda: decode_only(facts))
with (
    patch.object(release, "measure_hypothesis", timed(release.measure_hypothesis)),
    patch.object(shot_frames, "shot_picture", timed(shot_frames.shot_picture)),
):
    whole = took(lambda: list(measure_sessions([place], None, MeasureOptions())))
after = took(lambda: decode_only(facts))
shots = sum(len(one.shots) for one in whole[2])
print(json.dumps({{
    "wall": 2.0 * whole[0] / (before[0] + after[0]),
    "cpu": 2.0 * whole[1] / (before[1] + after[1]),
    "decode_s": 0.5 * (before[0] + after[0]),
    "shots": shots,
    "shot_s": sum(spent) / max(shots, 1),
    "peak_mb": peak_mb(),
}}))
"""


@dataclass
class Table:
    """The lines so far, and how many goals are missed."""

    missed: int = field(default=0)

    def line(self, name: str, figure: float, goal: float, unit: str = "", note: str = "") -> None:
        """Print a figure beside its goal."""
        held = figure <= goal
        self.missed += not held
        print(
            f"{name:44} {figure:8.2f} {unit:3} goal {goal:7.2f}  {'held' if held else 'MISSED'}"
            f"  {note}",
            flush=True,
        )


def main() -> None:
    """Print figures and goals; exit with 1 where one is missed."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench.goals",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--keep", type=Path, help="folder of drawn films, which are kept there")
    parser.add_argument("--only", help="part of the name of the films that are measured")
    options = parser.parse_args()
    table = Table()
    with tempfile.TemporaryDirectory() as name:
        kept = options.keep or Path(name)
        print(f"load {os.getloadavg()[0] if hasattr(os, 'getloadavg') else float('nan'):.1f}")
        for each in FILMS:
            if options.only is None or options.only in each.name:
                _film(table, each, kept)
        if options.only is None:
            _side(table, Path(name))
            _commands(table)
    sys.exit(1 if table.missed else 0)


def _film(table: Table, each: Film, kept: Path) -> None:
    place = kept / each.name.replace(" ", "-").replace(",", "")
    if not (place / "session.toml").exists():
        simulate(place, each.options)
    shutil.rmtree(place / "results", ignore_errors=True)
    found = _child(CHILD, str(place))
    note = f"by the processor {found['cpu']:.2f}; decoding alone {found['decode_s']:.2f} s"
    table.line(f"{each.name}: over decoding alone", found["wall"], each.goal, "", note)
    if found["shots"]:
        note = f"{found['shots']} shots"
        table.line(f"{each.name}: a shot's fit and picture", found["shot_s"], SHOT_S, "s", note)
    table.line(f"{each.name}: peak", found["peak_mb"], PEAK_MB, "MB")


def _side(table: Table, folder: Path) -> None:
    first = film(folder / "clip-0", CLIP_S).parents[1]
    places = [first, *(folder / f"clip-{number}" for number in range(1, 8))]
    for place in places[1:]:
        shutil.copytree(first, place)
    alone, together = (cost_of(places, jobs) for jobs in (1, 2))
    note = f"by the processor {together.cpu_s / alone.cpu_s:.2f}"
    table.line("eight clips two at a time", together.wall_s / alone.wall_s, SIDE, "", note)


def _commands(table: Table) -> None:
    for name, goal in COMMANDS:
        words = [] if name == "--help" else [str(ROOT / "sample_clips" / "wide")]
        runs = [_run([sys.executable, "-m", "tracker.cli", name, *words]) for _ in range(TRIES)]
        table.line(f"lobmeter {name}", min(runs), goal, "s", "by the clock")


def _run(command: Sequence[str]) -> float:
    began = time.perf_counter()
    subprocess.run(command, capture_output=True, check=True, cwd=ROOT)
    return time.perf_counter() - began


def _child(code: str, *words: str) -> dict[str, Any]:
    done = subprocess.run(
        [sys.executable, "-c", code, *words],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
        env=AS_THE_PROGRAM,
    )
    found: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return found


if __name__ == "__main__":
    main()
