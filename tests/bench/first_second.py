"""The share of shots found against the time of release: people cut clips to the shot.

Each drawn clip holds one shot late in it, and is measured from later and later frames on, so that
the same flight comes earlier and earlier:
``python -m tests.bench.first_second --fps 60 --seeds 4``.
"""

import argparse
import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np

from tests.truths import read_truth
from tracker.measurement import measure
from tracker.measurement.starts import ReleaseStart
from tracker.records import Quality
from tracker.session import read_session
from tracker.synthetic.recipes import RECIPES, Recipe
from tracker.synthetic.session import make_session
from tracker.video import frames, inspect
from tracker.workflow.stand import calibrate, request_of

RELEASES_S = (0.02, 0.06, 0.12, 0.2, 0.3, 0.45, 0.6, 0.8, 1.0, 1.5, 2.0, 3.0)
"""Times of release in the cut clip, s."""

NEAR_S = 0.1
"""A row this near to the true release is the shot, s."""


SLOW_MOTION_FPS = 200.0
"""Rate above which light and readout are those of slow motion, 1/s."""


def recipe_at(fps: float, name: str = "") -> Recipe:
    """Return scenes of 1280 by 720 pixels with one shot after three seconds and a bit."""
    late = RELEASES_S[-1] + 0.1
    slow = fps > SLOW_MOTION_FPS
    base = RECIPES[name or ("close" if slow else "trees")]
    filming = replace(base.filming, size_px=(1280, 720), fps=fps)
    if not slow:
        filming = replace(filming, megabits=8.0, exposure_s=(1.0 / 800.0, 1.0 / 400.0))
    elif not base.close:
        filming = replace(filming, exposure_s=(1.0 / 1500.0, 1.0 / 600.0), megabits=14.0)
        filming = replace(filming, readout_s=(0.003, 0.004))
    shooting = replace(base.shooting, shots=(1, 1), first_s=(late, late), tail_s=0.3)
    return replace(base, filming=filming, shooting=shooting)


@contextmanager
def cut_before(first: int, last: int) -> Iterator[None]:
    """Let a clip begin at a later frame."""
    with patch("tracker.measurement.passes.frames", partial(_from, first, last)):
        yield


def _from(first: int, last: int, facts: Any, **options: Any) -> Iterator[Any]:
    return frames(facts, **{**options, "span": (first, last)})


def outcomes(folder: Path) -> list[tuple[float, str]]:
    """Return, for each time of release, what became of the shot."""
    session = read_session(folder)
    (clip,) = session.clips
    (truth,) = read_truth(folder / "truth.json")["clips"]
    (shot,) = truth["shots"]
    facts = inspect(clip.path, session.camera.capture_fps)
    start = ReleaseStart(calibrate(session, clip, facts.size_px).camera)
    request = request_of(session, clip)
    true_s = np.arange(facts.frame_count) / truth["capture_fps"]
    found = []
    for release_s in RELEASES_S:
        first = int(np.searchsorted(true_s, shot["true_release_s"] - release_s))
        with cut_before(first, facts.frame_count - 1):
            result = measure(facts, request, start)
        rows = [
            each.shot
            for each in result.shots
            if abs(each.shot.release_s - shot["release_s"]) < NEAR_S * facts.pace
        ]
        ranked = sorted(rows, key=lambda row: list(Quality).index(row.quality))
        found.append((release_s, ranked[0].quality.value if ranked else "missed"))
    return found


def main() -> None:
    """Draw, cut, measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fps", type=float, default=60.0, help="30, 60 or 240 for instance")
    parser.add_argument("--recipe", default="", help="wide or crowd for instance")
    parser.add_argument("--seeds", type=int, default=4, help="clips to draw")
    parser.add_argument("--first", type=int, default=3000, help="first seed")
    options = parser.parse_args()
    counts: dict[float, Counter[str]] = {release_s: Counter() for release_s in RELEASES_S}
    for seed in range(options.first, options.first + options.seeds):
        with tempfile.TemporaryDirectory() as folder:
            make_session(Path(folder), recipe_at(options.fps, options.recipe), seed)
            for release_s, outcome in outcomes(Path(folder)):
                counts[release_s][outcome] += 1
    print(f"{options.fps:g} frames a second, {options.seeds} clips\n{'release':>8} found")
    for release_s, count in counts.items():
        found = count[Quality.GOOD.value] + count[Quality.CHECK.value]
        print(f"{release_s:6.2f} s {found:5} {dict(count)}")


if __name__ == "__main__":
    main()
