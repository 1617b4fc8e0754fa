"""Measure what a clip costs, by length and among many: ``python -m tests.bench.scale length``.

``length`` makes films of 1, 10 and 60 minutes by looping one drawn minute of 320 by 180 pixels with
one shot, and prints time and memory of each, every one in a process of its own. ``side`` measures
eight such clips of a few seconds one after another and two at a time. ``many`` prints what a clip
costs the computer that asks and a worker, and what the engine adds to a job. Processor time
counts all threads and processes; the load beside it says how far the clock can be trusted.
"""

import argparse
import json
import os
import pickle
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import av
import cv2

from tests.tracker.engine_jobs import squared
from tracker.cli.program import BLAS_THREADS
from tracker.engines import LocalEngine
from tracker.results.digests import sha256_of
from tracker.session import read_session
from tracker.synthetic.recipes import CLOSE
from tracker.synthetic.session import make_session
from tracker.video import ClipWriter
from tracker.workflow.clips import ready_clips
from tracker.workflow.inputs import session_digests
from tracker.workflow.jobs import Task, measure_task
from tracker.workflow.measure import MeasureOptions, measure_session

SIZE_PX, CLIP_S = (320, 180), 5.0
QUIET_S = 4.0
"""Drawn film before the shot, s; it is repeated until the minute is full."""
SEED = 3
CLIP = "clips/140mm.mp4"

PEAK = """
import resource
from pathlib import Path

def peak_mb():
    children_kb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    status = Path("/proc/self/status")
    if status.exists():
        # What the system tells of a process holds its parent's peak too, from before its own start.
        line = next(each for each in status.read_text().splitlines() if each.startswith("VmHWM"))
        return max(int(line.split()[1]), children_kb) / 1024.0
    return max(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, children_kb) / 1024.0
"""
"""Code of a process that is to say how much memory it, or the largest of its own, has taken."""

AS_THE_PROGRAM = {**os.environ, **dict.fromkeys(BLAS_THREADS, "1")}
"""Environment of what is measured: linear algebra in one thread, as the program sets it. With two
a shot's fit took 0.89 s in place of 0.63."""


def film(folder: Path, seconds: float, fps: float = 60.0) -> Path:
    """Draw a session whose clip has one shot, and then nothing until so many seconds."""
    shooting = replace(CLOSE.shooting, first_s=(QUIET_S, QUIET_S))
    small = replace(CLOSE.filming, size_px=SIZE_PX, megabits=0.5, fps=fps)
    small = replace(small, playing_fps=None, tag_rate=False)
    make_session(folder, replace(CLOSE, filming=small, shooting=shooting), SEED)
    frames = [*_pictures(folder / CLIP)]
    still = frames[: round((QUIET_S - 0.5) * fps)]
    while len(frames) < seconds * fps:
        frames += still
    with ClipWriter(folder / "clips" / "minute.mp4", SIZE_PX, fps, crf=12) as writer:
        for picture in frames[: round(seconds * fps)]:
            writer.write_bgr(picture)
    return (folder / "clips" / "minute.mp4").replace(folder / CLIP)


def _pictures(path: Path) -> Iterator[cv2.typing.MatLike]:
    reader = cv2.VideoCapture(str(path))
    while True:
        there, picture = reader.read()
        if not there:
            return
        yield picture


def looped(clip: Path, times: int, target: Path) -> None:
    """Write a clip so many times in a row into one file, its packets as they are."""
    with av.open(str(clip)) as source, av.open(str(target), "w") as sink:
        video = source.streams.video[0]
        copy = sink.add_stream_from_template(video)
        packets = [packet for packet in source.demux(video) if packet.dts is not None]
        step = packets[1].dts - packets[0].dts
        length = max(packet.pts for packet in packets) + step - min(p.pts for p in packets)
        for number in range(times):
            for packet in packets:
                again = av.Packet(bytes(packet))
                again.stream, again.time_base = copy, packet.time_base
                again.pts, again.dts = packet.pts + number * length, packet.dts + number * length
                again.is_keyframe = packet.is_keyframe
                sink.mux(again)


@dataclass(frozen=True)
class Cost:
    """What a measurement took."""

    wall_s: float
    cpu_s: float
    peak_mb: float
    shots: int
    load: float


CHILD = f"""{PEAK}
import json, sys, time
from multiprocessing import forkserver
from pathlib import Path
from tracker.workflow.measure import MeasureOptions, measure_sessions
began = time.monotonic()
places = [Path(name) for name in sys.argv[2:]]
made = list(measure_sessions(places, None, MeasureOptions(jobs=int(sys.argv[1]))))
took_s = time.monotonic() - began
# The process that the others come from is waited for: what they spent counts then.
forkserver._forkserver._stop()
spent = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
print(json.dumps({{
    "wall_s": took_s,
    "cpu_s": sum(one.ru_utime + one.ru_stime for one in spent),
    "peak_mb": peak_mb(),
    "shots": sum(len(one.shots) for one in made),
}}))
"""


def cost_of(sessions: Sequence[Path], jobs: int = 1) -> Cost:
    """Measure sessions in a process of its own, nothing kept. Peak: of the largest process."""
    done = subprocess.run(
        [sys.executable, "-c", CHILD, str(jobs), *map(str, sessions)],
        capture_output=True,
        text=True,
        check=True,
        env=AS_THE_PROGRAM,
    )
    return Cost(**json.loads(done.stdout), load=os.getloadavg()[0])


def length(folder: Path, minutes: Sequence[int], fps: float) -> None:
    """Print time and memory against length."""
    film(folder / "minute", 60.0, fps)
    print(
        "| film, min | processor, s | processor, s a minute | clock, s | peak, MB | shots | load |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for many in minutes:
        place = shutil.copytree(folder / "minute", folder / f"{many}")
        (place / CLIP).unlink()
        looped(folder / "minute" / CLIP, many, place / CLIP)
        cost = cost_of([place])
        print(
            f"| {many} | {cost.cpu_s:.1f} | {cost.cpu_s / many:.2f} | {cost.wall_s:.1f} | "
            f"{cost.peak_mb:.0f} | {cost.shots} | {cost.load:.1f} |",
            flush=True,
        )


def side(folder: Path, clips: int = 8) -> None:
    """Print clips one after another against two at a time."""
    film(folder / "clip", CLIP_S)
    places = [shutil.copytree(folder / "clip", folder / f"{number}") for number in range(clips)]
    print("| 8 clips | processor, s | clock, s | load |\n| --- | --- | --- | --- |")
    costs = [cost_of(places, jobs) for jobs in (1, 2)]
    for words, cost in zip(("one after another", "two at a time"), costs, strict=True):
        print(f"| {words} | {cost.cpu_s:.1f} | {cost.wall_s:.1f} | {cost.load:.1f} |")
    one, two = costs
    print(f"| ratio | {two.cpu_s / one.cpu_s:.2f} | {two.wall_s / one.wall_s:.2f} | |")


@contextmanager
def _timed(words: str, times: int = 1) -> Iterator[None]:
    began, used = time.monotonic(), time.process_time()
    yield
    cpu_ms = 1e3 * (time.process_time() - used) / times
    wall_ms = 1e3 * (time.monotonic() - began) / times
    print(f"| {words} | {cpu_ms:.2f} ms processor, {wall_ms:.2f} ms clock |", flush=True)


def many(folder: Path, jobs: int = 500) -> None:
    """Print what a clip costs where it is asked for, at a worker, and between them."""
    film(folder / "clip", CLIP_S)
    place = folder / "clip"
    measure_session(place)  # what is imported and compiled once is paid here
    print(f"| a clip of {CLIP_S:g} s | |\n| --- | --- |")
    with _timed("its file hashed"):
        sha256_of(place / CLIP)
    with _timed("session read, clip inspected and calibrated", 10):
        for _ in range(10):
            session = read_session(place)
            (ready,) = ready_clips(session)
    task = Task(session, ready, False, False, None, session_digests(session))
    with _timed("measured and drawn"):
        measured = measure_task(task, lambda _: None)
    sent, back = pickle.dumps(task), pickle.dumps(measured)
    print(f"| sent, received | {len(sent) / 1e3:.0f} kB, {len(back) / 1e3:.0f} kB |")
    kept = MeasureOptions(cache=folder / "cache")
    measure_session(place, options=kept)
    with _timed("all but the measuring: read, hashed, inspected, written", 5):
        for _ in range(5):
            pickle.loads(back)
            measure_session(place, options=kept)
    print(f"| its file | {(place / CLIP).stat().st_size / 1e6:.2f} MB |")
    print(f"| results | {_size_of(place / 'results') / 1e6:.2f} MB |")
    with _timed("a job that does nothing, here", jobs):
        list(LocalEngine().run(squared, range(jobs), lambda _: None))
    _through_dask(jobs)


def _through_dask(jobs: int) -> None:
    from distributed import LocalCluster

    from tracker.engines.dask import dask_engine

    with (
        LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=":0") as cluster,
        dask_engine(cluster.scheduler_address) as engine,
    ):
        list(engine.run(squared, range(8), lambda _: None))
        with _timed("a job that does nothing, by Dask and two workers", jobs):
            list(engine.run(squared, range(jobs), lambda _: None))


def _size_of(folder: Path) -> int:
    return sum(path.stat().st_size for path in folder.iterdir())


def main() -> None:
    """Print one of the tables."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench.scale",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("table", choices=["length", "side", "many"])
    parser.add_argument("--minutes", type=int, nargs="+", default=[1, 10, 60])
    parser.add_argument("--fps", type=float, default=60.0, help="of the film of 'length'")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        if options.table == "length":
            length(Path(name), options.minutes, options.fps)
        else:
            {"side": side, "many": many}[options.table](Path(name))


if __name__ == "__main__":
    main()
