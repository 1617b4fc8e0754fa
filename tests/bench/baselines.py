"""What general-purpose means find, beside ours: ``python -m tests.bench.baselines``.

Two baselines link their detections by optimal assignment with a constant-acceleration gate
(`tests.bench.linking`):

- ``MOG2 blobs``: OpenCV's mixture-of-Gaussians background model, connected components, gates on
  area and shape;
- ``star finder``: photutils' DAOStarFinder on pictures of what has changed.

They are given what is given to ours except the calibration: luma and blue difference, the ball's
size in the picture, how far it moves in a frame and, since its size is a scale, gravity's pull.
All are judged on frames, not on figures: a shot counts as found when tracks lie within three
pixels of it in half the frames in which it shows; a track that is no shot's counts as false; time
is the processor's. The clips are balls laid over real plates (`tests.footage.composite`), or the
sessions with truth beside them whose folders are given. ``--tune`` tries other settings on another
seed, which is never reported.
"""

import argparse
import importlib.util
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any
from zlib import crc32

import cv2
import numpy as np

from tests.bench.detectors import (
    BlobSettings,
    Detections,
    StarSettings,
    mog2_blobs,
    star_finder,
)
from tests.bench.footage import FPS, whole_view
from tests.bench.linking import Gates, Linker
from tests.footage.composite import Shown, composited, drawn_throw, thrown
from tests.footage.plates import FIELD_AND_SKY, FOOTAGE, OWN
from tests.tracker.thrown_balls import seen
from tests.truths import read_truth
from tracker.detection import SearchSettings, settings_for
from tracker.fitting import circumstances_of
from tracker.measurement import measure
from tracker.measurement.request import ClipRequest
from tracker.measurement.starts import ReleaseStart
from tracker.records import Quality
from tracker.session import read_session
from tracker.video import ClipFacts, decode_only, inspect
from tracker.workflow.stand import calibrate, request_of

NEAR_PX = 3.0
REPORTED, TUNED_ON = 700, 7
PLATES = (*FIELD_AND_SKY[:1], "V_BIRD_020.mp4", "V_DRONE_034.mp4", "V_DRONE_048.mp4", OWN)

PULL_SHARE = (0.5, 2.0)
"""How far a track's downward acceleration may lie from gravity's, drag and a tilt included."""

OTHER_BLOBS = [{"variances": value} for value in (10.0, 25.0, 40.0)]
OTHER_BLOBS += [{"history": 300}, {"fill": 0.12}]
OTHER_STARS = [{"threshold": value} for value in (4.0, 10.0, 13.0)]
OTHER_STARS += [{"size": value} for value in (1.0, 1.5)]
OTHER_STARS += [{"roundness": (-1.0, 1.0)}, {"sharpness": (0.2, 1.0)}, {"background": True}]
"""What ``--tune`` tries instead of the settings that are used."""

Places = dict[int, np.ndarray]


@dataclass(frozen=True)
class Case:
    """A clip, what is known of it, and where its balls truly are, by frame."""

    facts: ClipFacts
    camera: object
    request: ClipRequest
    shots: list[Places]

    def look(self) -> SearchSettings:
        known = circumstances_of(self.camera, self.request)
        step_s = 1.0 / (self.facts.file_fps * self.facts.pace)
        diameter = self.request.ball.diameter_m
        return settings_for(
            self.camera, known.release_m, diameter, known.drag, known.forces, step_s
        )


@dataclass
class Score:
    """What one method made of some clips."""

    shots: int = 0
    found: int = 0
    false: int = 0
    minutes: float = 0.0
    squares: list[float] = field(default_factory=list)
    seconds: float = 0.0
    decode_s: float = 0.0

    def line(self, name: str) -> str:
        error = np.sqrt(np.mean(self.squares)) if self.squares else float("nan")
        return (
            f"{name:44} {self.found:3d} of {self.shots:<3d} {self.false / self.minutes:9.1f} "
            f"{error:9.2f} px {self.seconds / self.decode_s:9.1f}"
        )


Detect = Callable[[Case], Detections]


def baseline(case: Case, detect: Detect) -> tuple[list[Places], float]:
    """Return the tracks of a baseline and the time it took."""
    look = case.look()
    rate = case.facts.file_fps * case.facts.pace
    gravity_px = case.request.gravity_mps2 * look.diameter_px / case.request.ball.diameter_m
    gates = Gates(
        1.6 * look.step_px + 4.0,
        look.diameter_px + 0.25 * look.step_px + 3.0,
        pull_px=tuple(share * gravity_px / rate**2 for share in PULL_SHARE),
    )
    began = time.process_time()
    linker = Linker(gates, least=max(8, round(0.25 * rate)))
    for index, places in detect(case):
        linker.push(index, places)
    chains = linker.finish()
    spent = time.process_time() - began
    return [dict(zip(chain.frames, chain.places, strict=True)) for chain in chains], spent


def ours(case: Case) -> tuple[list[Places], float]:
    """Return the points that our rows are made of, and the time it took."""
    began = time.process_time()
    result = measure(case.facts, case.request, ReleaseStart(case.camera))
    spent = time.process_time() - began
    return [
        {
            point.frame: np.array([point.column_px, point.row_px])
            for point in shot.points
            if point.used
        }
        for shot in result.shots
        if shot.shot.quality is not Quality.REJECTED
    ], spent


def judged(score: Score, case: Case, tracks: list[Places], spent: float) -> None:
    """Add what came of a clip to a score."""
    claimed = [False] * len(tracks)
    for truth in case.shots:
        hit: dict[int, float] = {}
        for number, track in enumerate(tracks):
            gaps = {
                frame: float(np.linalg.norm(track[frame] - truth[frame]))
                for frame in track.keys() & truth.keys()
            }
            near = {frame: gap for frame, gap in gaps.items() if gap < NEAR_PX}
            if len(near) >= 0.5 * len(track):
                claimed[number] = True
                for frame, gap in near.items():
                    hit[frame] = min(gap, hit.get(frame, gap))
        score.shots += 1
        if len(hit) >= 0.5 * len(truth):
            score.found += 1
            score.squares += [gap**2 for gap in hit.values()]
    score.false += claimed.count(False)
    score.minutes += case.facts.duration_s / case.facts.pace / 60.0
    score.seconds += spent
    began = time.process_time()
    decode_only(case.facts)
    score.decode_s += time.process_time() - began


def composites(folder: Path, seed: int, plates: tuple[str, ...]) -> Iterator[tuple[str, Case]]:
    """Lay two balls over each plate and yield the clips with their truth."""
    for plate in plates:
        rng = np.random.default_rng([seed, crc32(plate.encode())])
        view = whole_view(rng)
        shots = [thrown(view, drawn_throw(rng, view), start) for start in (0.6, 2.0)]
        path = folder / f"{crc32(plate.encode())}.mp4"
        facts = inspect(composited(path, plate, view, shots, FPS, shots[-1].end_s + 0.3))
        truth = [_places(view.true, shown, facts) for shown in shots]
        yield Path(plate).stem, Case(facts, view.calibrated, view.request, truth)


def _places(camera: object, shown: Shown, facts: ClipFacts) -> Places:
    times = facts.times_s
    flying = np.flatnonzero((times >= shown.release_s) & (times <= shown.end_s))
    pixels = seen(camera, shown.points(times[flying] - shown.release_s))
    inside = np.all((pixels > 2) & (pixels < np.array(facts.size_px) - 3), axis=1)
    return {int(frame): pixel for frame, pixel in zip(flying[inside], pixels[inside], strict=True)}


def sessions(folders: list[Path]) -> Iterator[tuple[str, Case]]:
    """Yield the clips of sessions with truth beside them."""
    for folder in folders:
        session = read_session(folder)
        truths = {clip["file"]: clip for clip in read_truth(folder / "truth.json")["clips"]}
        for clip in session.clips:
            facts = inspect(clip.path, session.camera.capture_fps)
            shots = []
            for shot in truths[clip.file]["shots"]:
                track = shot["track"]
                columns = zip(
                    track["frame"], track["column_px"], track["row_px"], track["visible"],
                    strict=True,
                )  # fmt: skip
                shots.append({f: np.array([c, r]) for f, c, r, shows in columns if shows})
            camera = calibrate(session, clip, facts.size_px).camera
            yield folder.name, Case(facts, camera, request_of(session, clip), shots)


def main() -> None:
    """Compare and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.baselines", description=__doc__)
    parser.add_argument("sessions", nargs="*", type=Path, help="session folders with truth.json")
    parser.add_argument("--tune", action="store_true", help="try thresholds on another seed")
    parser.add_argument("--method", default="", help="only those whose name holds this")
    parser.add_argument("--plates", type=int, default=len(PLATES), help="how many plates")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    methods = _methods(options.tune)
    if not FOOTAGE.is_dir() and not options.sessions:
        sys.exit(f"The real footage does not lie at {FOOTAGE}; give session folders instead.")
    print(f"{'clip, method':44} {'found':10} {'false/min':>9} {'RMSE':>12} {'time/decode':>11}")
    scores: dict[str, Score] = {}
    with tempfile.TemporaryDirectory() as name:
        if options.sessions:
            cases = sessions(options.sessions)
        else:
            seed = TUNED_ON if options.tune else REPORTED
            cases = composites(Path(name), seed, PLATES[: options.plates])
        for label, case in cases:
            for method, detect in methods.items():
                if options.method in method:
                    _add(scores, label, method, case, baseline(case, detect))
            if not options.tune and options.method in "ours":
                _add(scores, label, "ours", case, ours(case))
    print()
    for method, score in scores.items():
        print(score.line(f"all, {method}"))


def _methods(tune: bool) -> dict[str, Detect]:
    """Return the baselines by name, when tuning with other settings as well."""
    methods: dict[str, Detect] = {}

    def add(name: str, detect: Callable[..., Detections], used: Any, others: list[dict]) -> None:
        for other in [{}, *others] if tune else [{}]:
            values = ", ".join(f"{key} {value}" for key, value in other.items())
            settings = replace(used, **other)
            methods[f"{name} {values}".strip()] = lambda case, settings=settings: detect(
                case.facts, case.look(), settings
            )

    add("MOG2 blobs", mog2_blobs, BlobSettings(), OTHER_BLOBS)
    if importlib.util.find_spec("photutils"):
        add("star finder", star_finder, StarSettings(), OTHER_STARS)
    else:
        print("The star finder is left out: photutils is not here; pip install -e '.[bench]'.")
    return methods


def _add(
    scores: dict[str, Score], label: str, method: str, case: Case, what: tuple[list[Places], float]
) -> None:
    single = Score()
    judged(single, case, *what)
    print(single.line(f"{label[:14]}, {method}"), flush=True)
    judged(scores.setdefault(method, Score()), case, *what)


if __name__ == "__main__":
    main()
