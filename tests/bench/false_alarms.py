"""Count shots that nobody fired: ``python -m tests.bench.false_alarms --minutes 1 --recipe all``.

Scenes of each recipe are drawn with nobody firing, a fresh seed for every twenty seconds, and
measured. Printed per recipe: film measured, rows that are believed (`good` or `check`), rows that
are told as `rejected`, and the rate of believed ones with its upper 95 % limit (exact for Poisson
counts: F. Garwood, Biometrika 28, 437, 1936; 3.0 over the minutes when there was none).

``--scale 0.5`` draws every frame at half its width and height, which costs a quarter: the ball is
then half as large in pixels, and so is everything else.
"""

import argparse
import math
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
from scipy.stats import chi2

from tracker.records import Quality, Shot
from tracker.session import read_session
from tracker.synthetic.recipes import RECIPES, Recipe, without_shots
from tracker.synthetic.session import make_session
from tracker.video import inspect
from tracker.workflow.anywhere import field_of, measure_anywhere
from tracker.workflow.clip import measure_clip
from tracker.workflow.stand import calibrate, request_of

PIECE_S = 20.0


@dataclass(frozen=True)
class Tally:
    """What was measured of one recipe."""

    minutes: float = 0.0
    believed: int = 0
    rejected: int = 0

    def line(self, name: str) -> str:
        low, high = limits(self.believed)
        return (
            f"{name:16} {self.minutes:7.2f} min  {self.believed:3d} false, {self.rejected:3d} "
            f"rejected  {self.believed / self.minutes:6.3f} a minute  95 % limit "
            f"{high / self.minutes:6.3f}" + (f", at least {low / self.minutes:.3f}" if low else "")
        )

    def __add__(self, other: "Tally") -> "Tally":
        return Tally(
            self.minutes + other.minutes,
            self.believed + other.believed,
            self.rejected + other.rejected,
        )


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
    parser.add_argument("--from-anywhere", action="store_true", help="as of lobmeter measure")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    names = sorted(RECIPES) if options.recipe == "all" else [options.recipe]
    whole = Tally()
    for name in names:
        recipe = _filmed(RECIPES[name], options.scale, options.fps)
        tally = Tally()
        pieces = max(1, math.ceil(60.0 * options.minutes / PIECE_S - 1e-6))
        seconds = 60.0 * options.minutes / pieces
        for seed in range(options.first, options.first + pieces):
            for minutes, shots in measured(
                without_shots(recipe, seconds), seed, options.from_anywhere
            ):
                tally += _counted(minutes, shots)
                for shot in shots:
                    print(
                        f"    seed {seed}: released {shot.release_s:.2f} s, "
                        f"{shot.exit_speed_mps:.1f} m/s at {shot.launch_angle_deg:.0f}°, azimuth "
                        f"{shot.azimuth_deg:.0f}°, {shot.frames_seen} frames, {shot.quality.value}:"
                        f" {shot.reason}",
                        flush=True,
                    )
        print(tally.line(name), flush=True)
        whole += tally
    if len(names) > 1:
        print(whole.line("all"))


def measured(
    recipe: Recipe, seed: int, from_anywhere: bool = False
) -> Iterator[tuple[float, list[Shot]]]:
    """Film a session and yield, for each clip, its true minutes and the rows found in it."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        make_session(folder, recipe, seed)
        session = read_session(folder)
        for clip in session.clips:
            facts = inspect(clip.path, session.camera.capture_fps)
            camera = calibrate(session, clip, facts.size_px).camera
            request = request_of(session, clip)
            if from_anywhere:
                field = field_of([request.release_m, *(each.ground_m for each in clip.markers)])
                result = measure_anywhere(facts, camera, request, field)
            else:
                result = measure_clip(facts, camera, request)
            yield (
                facts.duration_s / facts.pace / 60.0,
                [found.shot for found in result.shots],
            )


def _filmed(recipe: Recipe, scale: float, fps: float | None) -> Recipe:
    filming = recipe.filming
    width, height = (16 * round(scale * side / 16) for side in filming.size_px)
    filming = replace(filming, size_px=(width, height), megabits=filming.megabits * scale**2)
    if fps is not None and filming.playing_fps is None:
        filming = replace(filming, fps=fps, megabits=filming.megabits * fps / recipe.filming.fps)
    return replace(recipe, filming=filming)


def _counted(minutes: float, shots: list[Shot]) -> Tally:
    rejected = sum(shot.quality is Quality.REJECTED for shot in shots)
    return Tally(minutes, len(shots) - rejected, rejected)


if __name__ == "__main__":
    main()
