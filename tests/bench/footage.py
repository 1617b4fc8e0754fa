"""Measure real clips: ``python -m tests.bench.footage --fields 6 --shots 2``.

Over every clip without a shot so many fields are laid, drawn from all that is plausible, and the
rows that come of it are counted. Over every plate, and over a field that we drew, so many clips
with two balls each are laid; printed are the shots found, the rows that are nobody's, and the
errors over their uncertainties. The clips are looked for in ``../shared/footage``.
"""

import argparse
import sys
import tempfile
from pathlib import Path
from zlib import crc32

import numpy as np

from calibration.errors import InputError
from tests.bench.false_alarms import Tally
from tests.bench.scoring import rms
from tests.footage.composite import Shown, composited, drawn_throw, thrown
from tests.footage.plates import FIELD_AND_SKY, FOOTAGE, OWN, WITHOUT_A_SHOT, excerpt, path_of
from tests.footage.views import Stand, View, drawn_stand, view
from tracker.measurement import measure
from tracker.measurement.starts import ReleaseStart
from tracker.records import Quality, Shot
from tracker.video import inspect

FPS = 30.0
SIZE_PX = (640, 512)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.footage", description=__doc__)
    parser.add_argument("--fields", type=int, default=3, help="laid over each clip")
    parser.add_argument("--seconds", type=float, help="of each clip; all of it when left out")
    parser.add_argument("--shots", type=int, default=2, help="clips of two balls on each plate")
    parser.add_argument("--clips", default="", help="only those whose name holds this")
    parser.add_argument("--first", type=int, default=1, help="seed")
    options = parser.parse_args()
    if not FOOTAGE.is_dir():
        sys.exit(f"The real footage is not part of the project and does not lie at {FOOTAGE}.")
    if options.fields:
        _without_shots(options)
    if options.shots:
        _with_shots(options)


def _without_shots(options: argparse.Namespace) -> None:
    whole = Tally()
    for name in WITHOUT_A_SHOT:
        if options.clips not in name:
            continue
        rng = np.random.default_rng([options.first, crc32(name.encode())])
        tally = Tally()
        with tempfile.TemporaryDirectory() as folder:
            part = path_of(name)
            if options.seconds:
                part = excerpt(name, Path(folder), options.seconds)
            facts = inspect(part)
            for _ in range(options.fields):
                stand, field = drawn_field(rng, facts.size_px)
                shots = [
                    found.shot
                    for found in measure(facts, field.request, ReleaseStart(field.calibrated)).shots
                ]
                rejected = sum(shot.quality is Quality.REJECTED for shot in shots)
                minutes = facts.duration_s / facts.pace / 60.0
                tally += Tally(minutes, len(shots) - rejected, rejected)
                for shot in shots:
                    print(
                        f"    {stand.name}: released {shot.release_s:.2f} s, "
                        f"{shot.exit_speed_mps:.1f} m/s at {shot.launch_angle_deg:.0f}°, "
                        f"{shot.frames_seen} frames, {shot.quality.value}: {shot.reason}"
                    )
        print(tally.line(Path(name).stem[:16]), flush=True)
        whole += tally
    if whole.minutes:
        print(whole.line("all"))


def drawn_field(rng: np.random.Generator, size_px: tuple[int, int]) -> tuple[Stand, View]:
    """Draw fields until one is calibrated: where no marker shows, none can be."""
    while True:
        stand = drawn_stand(rng)
        try:
            return stand, view(stand, size_px, rng)
        except InputError:
            continue


def whole_view(rng: np.random.Generator) -> View:
    """Draw a field on which a shot of the feeder shows from its release to its landing."""
    side = float(rng.choice([-1.0, 1.0]))
    stand = Stand(
        side * rng.uniform(23.0, 29.0),
        float(rng.uniform(64.0, 70.0)),
        float(rng.uniform(1.2, 2.5)),
        float(rng.uniform(0.06, 0.12)),
        float(rng.uniform(0.84, 0.92)),
    )
    return view(stand, SIZE_PX, rng)


def _with_shots(options: argparse.Namespace) -> None:
    print(f"{'plate':22} found  others  speed: RMSE %  RMS z  angle: RMSE °  RMS z  |z| < 1.96")
    everything: list[tuple[Shown, Shot | None]] = []
    for plate in (*FIELD_AND_SKY, OWN):
        if options.clips not in plate:
            continue
        pairs: list[tuple[Shown, Shot | None]] = []
        others = 0
        for number in range(options.shots):
            rng = np.random.default_rng([options.first, number, crc32(plate.encode())])
            field = whole_view(rng)
            shots = [thrown(field, drawn_throw(rng, field), start) for start in (0.6, 2.4)]
            with tempfile.TemporaryDirectory() as folder:
                clip = composited(
                    Path(folder) / "clip.mp4", plate, field, shots, FPS, shots[-1].end_s + 0.4
                )
                fresh, left = matched(shots, clip, field)
            pairs += fresh
            others += left
        print(_line(plate[:22], pairs, others), flush=True)
        everything += pairs
    print(_line("all", everything, 0))


def matched(
    shots: list[Shown], clip: Path, field: View
) -> tuple[list[tuple[Shown, Shot | None]], int]:
    """Measure a clip; return each true shot with its believed row, and how many are nobody's."""
    result = measure(inspect(clip), field.request, ReleaseStart(field.calibrated))
    rows = [each.shot for each in result.shots if each.shot.quality is not Quality.REJECTED]
    pairs: list[tuple[Shown, Shot | None]] = []
    for shown in shots:
        near = [row for row in rows if abs(row.release_s - shown.release_s) < 0.2]
        pairs.append((shown, near[0] if near else None))
        rows = [row for row in rows if row not in near[:1]]
    return pairs, len(rows)


def _line(name: str, pairs: list[tuple[Shown, Shot | None]], others: int) -> str:
    found = [(shown, row) for shown, row in pairs if row is not None]
    speed = [row.exit_speed_mps - shown.speed_mps for shown, row in found]
    angle = [row.launch_angle_deg - shown.angle_deg for shown, row in found]
    shares = [100.0 * gap / shown.speed_mps for gap, (shown, _) in zip(speed, found, strict=True)]
    by_speed = [gap / row.exit_speed_u_mps for gap, (_, row) in zip(speed, found, strict=True)]
    by_angle = [gap / row.launch_angle_u_deg for gap, (_, row) in zip(angle, found, strict=True)]
    held = [abs(value) < 1.96 for value in by_speed + by_angle]
    share = 100 * sum(held) / max(len(held), 1)
    return (
        f"{name:22} {len(found):2d}/{len(pairs):<2d}  {others:6d}  {rms(shares):13.2f}  "
        f"{rms(by_speed):5.2f}  {rms(angle):13.2f}  {rms(by_angle):5.2f}  {share:9.0f} %"
    )


if __name__ == "__main__":
    main()
