"""Count shots that nobody fired: ``python -m tests.bench.false_alarms --minutes 1 --recipe all``.

Scenes of each recipe are drawn with nobody firing, a fresh seed for every twenty seconds, filmed
through the encoder and measured. Printed per recipe: film measured, rows that are believed (`good`
or `check`), rows reported as `rejected`, the rate of believed ones with its upper 95 % limit
(exact for Poisson counts: F. Garwood, Biometrika 28, 437, 1936; 3.0 over the minutes when there was
none), and the processor time that a minute of film took, drawn and measured.

``--ledger FILE`` makes it fit to run for hours: every piece is a line of that file as soon as it
is done, pieces that are in it already are not done again, and the recipes take turns, so that it
may be stopped at any time and goes on when it is started once more. ``--minutes 0`` prints what is
in the file. It knows nothing of changes to the code: after one a new file is due.

``--from-anywhere`` and ``--unmarked`` measure the same scenes as those ways of measuring do;
``--keep FOLDER`` keeps the drawn scenes for them.

People of the recipes `fetchers` and `crowd` throw balls back. With ``--from-anywhere`` and
``--unmarked`` a row that follows one of these is a true one and counted apart.

``--scale 0.5`` draws every frame at half its width and height, which costs a third: the ball is
then half as large in pixels, and so is everything else.
"""

import argparse
import json
import math
import tempfile
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from scipy.stats import chi2

from calibration.camera import Camera
from calibration.site import Site
from tracker.measurement import measure
from tracker.measurement.starts import (
    AnywhereStart,
    PresumedCameraStart,
    ReleaseStart,
    Start,
    field_of,
)
from tracker.records import Quality, Shot, TrackPoint
from tracker.session import ClipEntry, Session, read_session
from tracker.synthetic.crowd import ThrownBall
from tracker.synthetic.draw import draw_session
from tracker.synthetic.recipes import RECIPES, Recipe, without_shots
from tracker.synthetic.session import make_session
from tracker.video import ClipFacts, inspect
from tracker.workflow.stand import calibrate, request_of

PIECE_S = 20.0

SAME_BALL_PX, SAME_BALL_SHARE = 6.0, 0.7
"""A row is that of a thrown ball when more than this share of its positions lie so near, px."""


@dataclass(frozen=True)
class Tally:
    """What was measured of one recipe."""

    minutes: float = 0.0
    believed: int = 0
    rejected: int = 0
    drawn_s: float = 0.0
    measured_s: float = 0.0
    thrown: int = 0

    def line(self, name: str) -> str:
        low, high = limits(self.believed)
        cost = ""
        if self.measured_s:
            drawn, measured = self.drawn_s / self.minutes, self.measured_s / self.minutes
            cost = f"  cpu {drawn:4.0f} + {measured:4.0f} s a minute"
        return (
            f"{name:16} {self.minutes:7.2f} min  {self.believed:3d} false, {self.rejected:3d} "
            f"rejected  {self.believed / self.minutes:6.3f} a minute  95 % limit "
            f"{high / self.minutes:6.3f}"
            + (f", {self.thrown} of balls thrown back" if self.thrown else "")
            + (f", at least {low / self.minutes:.3f}" if low else "")
            + cost
        )

    def __add__(self, other: "Tally") -> "Tally":
        return Tally(*(mine + its for mine, its in zip(_values(self), _values(other), strict=True)))


def _values(tally: Tally) -> tuple[Any, ...]:
    return tuple(asdict(tally).values())


@dataclass(frozen=True)
class Piece:
    """Twenty seconds or so of one scene: which they are, and what came of them."""

    recipe: str
    seed: int
    scale: float
    fps: float | None
    seconds: float
    from_anywhere: bool
    tally: Tally
    rows: tuple[str, ...] = ()
    unmarked: bool = False

    @property
    def key(self) -> tuple[Any, ...]:
        """What identifies a piece."""
        return (
            self.recipe,
            self.seed,
            self.scale,
            self.fps,
            self.seconds,
            self.from_anywhere,
            self.unmarked,
        )


class Ledger:
    """The pieces done so far, in a file when there is one: a line of JSON each."""

    def __init__(self, path: Path | None) -> None:
        self._path = path
        self.pieces: list[Piece] = []
        if path is not None and path.exists():
            text = path.read_text(encoding="utf-8")
            if text and not text.endswith("\n"):
                with path.open("a", encoding="utf-8", newline="\n") as file:
                    file.write("\n")
            for line in text.splitlines():
                try:
                    entry = json.loads(line)
                except json.JSONDecodeError:
                    continue  # It was stopped in the middle of a line.
                tally, rows = Tally(**entry.pop("tally")), tuple(entry.pop("rows"))
                self.pieces.append(Piece(**entry, tally=tally, rows=rows))

    def add(self, piece: Piece) -> None:
        """Keep a piece."""
        self.pieces.append(piece)
        if self._path is not None:
            with self._path.open("a", encoding="utf-8", newline="\n") as file:
                file.write(json.dumps(asdict(piece)) + "\n")

    def table(self) -> str:
        """Return a line a recipe and one for all, with the rows that are nobody's."""
        lines, whole = [], Tally()
        names = sorted({piece.recipe for piece in self.pieces})
        for name in names:
            own = [piece for piece in self.pieces if piece.recipe == name]
            tally = sum((piece.tally for piece in own), Tally())
            lines += [f"    seed {piece.seed}: {row}" for piece in own for row in piece.rows]
            lines.append(tally.line(name))
            whole += tally
        return "\n".join(lines + ([whole.line("all")] if len(names) > 1 else []))


def limits(count: int) -> tuple[float, float]:
    """Return the lower and upper one-sided 95 % limits of a Poisson mean (Garwood, 1936)."""
    low = 0.5 * float(chi2.ppf(0.05, 2 * count)) if count else 0.0
    return low, 0.5 * float(chi2.ppf(0.95, 2 * count + 2))


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench.false_alarms",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--minutes", type=float, default=1.0, help="film a recipe")
    parser.add_argument("--recipe", default="all", choices=["all", *sorted(RECIPES)])
    parser.add_argument("--first", type=int, default=50_000, help="first seed")
    parser.add_argument("--scale", type=float, default=1.0, help="of the frame's width and height")
    parser.add_argument("--fps", type=float, help="frames a second, where not the recipe's own")
    how = parser.add_mutually_exclusive_group()
    how.add_argument("--from-anywhere", action="store_true", help="as of lobmeter measure")
    how.add_argument(
        "--unmarked", action="store_true", help="without markers: gravity is the scale"
    )
    parser.add_argument("--keep", type=Path, help="folder of drawn scenes, drawn where missing")
    parser.add_argument("--at-most", type=int, help="pieces in this run, then stop")
    parser.add_argument("--ledger", type=Path, help="file of the pieces done, to go on from")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    names = sorted(RECIPES) if options.recipe == "all" else [options.recipe]
    ledger = Ledger(options.ledger)
    done = {piece.key for piece in ledger.pieces}
    pieces = math.ceil(60.0 * options.minutes / PIECE_S - 1e-6)
    try:
        for number in range(pieces):
            for name in names:
                blank = Piece(
                    name,
                    options.first + number,
                    options.scale,
                    options.fps,
                    min(PIECE_S, 60.0 * options.minutes),
                    options.from_anywhere,
                    Tally(),
                    unmarked=options.unmarked,
                )
                if blank.key not in done and len(ledger.pieces) - len(done) != options.at_most:
                    piece = filmed_and_measured(blank, options.keep)
                    ledger.add(piece)
                    for row in piece.rows:
                        print(f"    {name}, seed {piece.seed}: {row}", flush=True)
    except KeyboardInterrupt:
        print("Stopped.")
    if ledger.pieces:
        print(ledger.table())


def filmed_and_measured(piece: Piece, keep: Path | None = None) -> Piece:
    """Film the session of a piece, measure it, and return the piece with what came of it.

    Parameters
    ----------
    piece : Piece
        With nothing measured yet.
    keep : Path, optional
        Folder in which drawn scenes stay; one that is there is not drawn again.
    """
    with tempfile.TemporaryDirectory() as name:
        scene = f"{piece.recipe}-{piece.seed}-{piece.scale:g}-{piece.fps or 0:g}-{piece.seconds:g}"
        folder = Path(name) if keep is None else keep / scene
        began = time.process_time()
        if not (folder / "session.toml").exists():
            recipe = _filmed(RECIPES[piece.recipe], piece.scale, piece.fps)
            make_session(folder, without_shots(recipe, round(piece.seconds, 3)), piece.seed)
        drawn_s = time.process_time() - began
        began = time.process_time()
        tally, rows = _measured(piece, folder)
    spent = Tally(drawn_s=drawn_s, measured_s=time.process_time() - began)
    return replace(piece, tally=tally + spent, rows=tuple(rows))


def _measured(piece: Piece, folder: Path) -> tuple[Tally, list[str]]:
    """Measure the clips of a scene and return what came of them."""
    tally = Tally()
    rows: list[str] = []
    session = read_session(folder)
    for clip in session.clips:
        facts = inspect(clip.path, session.camera.capture_fps)
        request = request_of(session, clip)
        found = measure(facts, request, _start(piece, session, clip, facts))
        thrown = _thrown_back(piece, facts.size_px)
        own = [each for each in found.shots if not follows_one(each.points, thrown)]
        shots = [each.shot for each in own]
        rejected = sum(shot.quality is Quality.REJECTED for shot in shots)
        minutes = facts.duration_s / facts.pace / 60.0
        tally += Tally(minutes, len(shots) - rejected, rejected, thrown=len(found.shots) - len(own))
        rows += [_line(shot) for shot in shots]
    return tally, rows


def _thrown_back(piece: Piece, size_px: tuple[int, int]) -> list[tuple[Camera, ThrownBall]]:
    """Return the balls that people of a scene throw, where such rows are looked for."""
    if not (piece.unmarked or piece.from_anywhere):
        return []
    recipe = _filmed(RECIPES[piece.recipe], piece.scale, piece.fps)
    drawn = draw_session(without_shots(recipe, round(piece.seconds, 3)), piece.seed)
    return [
        (clip.take.camera, mover)
        for clip in drawn.clips
        if clip.take.camera.size_px == size_px
        for mover in clip.take.movers
        if isinstance(mover, ThrownBall)
    ]


def follows_one(points: Sequence[TrackPoint], thrown: list[tuple[Camera, ThrownBall]]) -> bool:
    """Return whether most used positions of a row are those of one ball that was thrown."""
    used = [point for point in points if point.used]
    if not used:
        return False
    places = np.array([(point.column_px, point.row_px) for point in used])
    for camera, ball in thrown:
        there = camera.project(np.array([ball.route.at(point.time_s) for point in used]))
        near = np.linalg.norm(places - there, axis=1) < SAME_BALL_PX
        if np.mean(near) > SAME_BALL_SHARE:
            return True
    return False


def _start(piece: Piece, session: Session, clip: ClipEntry, facts: ClipFacts) -> Start:
    if piece.unmarked:
        return PresumedCameraStart(Site(size_px=facts.size_px, markers=()), height_known=False)
    camera = calibrate(session, clip, facts.size_px).camera
    if piece.from_anywhere:
        release_m = request_of(session, clip).release_m
        field = field_of([release_m, *(each.ground_m for each in clip.markers)])
        return AnywhereStart(camera, field)
    return ReleaseStart(camera)


def _line(shot: Shot) -> str:
    if shot.exit_speed_mps is None:
        return f"released {shot.release_s:.2f} s, {shot.quality.value}: {shot.reason}"
    return (
        f"released {shot.release_s:.2f} s, {shot.exit_speed_mps:.1f} m/s at "
        f"{shot.launch_angle_deg:.0f}°, azimuth {shot.azimuth_deg:.0f}°, {shot.frames_seen} "
        f"frames, {shot.quality.value}: {shot.reason}"
    )


def _filmed(recipe: Recipe, scale: float, fps: float | None) -> Recipe:
    filming = recipe.filming
    width, height = (16 * round(scale * side / 16) for side in filming.size_px)
    filming = replace(filming, size_px=(width, height), megabits=filming.megabits * scale**2)
    if fps is not None and filming.playing_fps is None:
        filming = replace(filming, fps=fps, megabits=filming.megabits * fps / recipe.filming.fps)
    return replace(recipe, filming=filming)


if __name__ == "__main__":
    main()
