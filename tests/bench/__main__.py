"""Print how exact, how honest and how quick the measurement is.

``python -m tests.bench`` measures the sample clips; ``--seeds N`` renders N fresh sessions of
a recipe first, from ``--first`` on, and measures those.
"""

import argparse
import math
import sys
import tempfile
from pathlib import Path

from tests.bench.scoring import FIGURES, ClipScore, Scored, rms, score_session
from tests.bench.split import Split
from tracker.synthetic.recipes import RECIPES
from tracker.synthetic.session import make_session

SAMPLES = Path(__file__).resolve().parents[2] / "sample_clips"


def main() -> None:
    """Run the bench."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("sessions", nargs="*", type=Path, help="session folders with truth.json")
    parser.add_argument("--seeds", type=int, default=0, help="fresh sessions to render")
    parser.add_argument("--first", type=int, default=1000, help="first seed")
    parser.add_argument("--recipe", default="wide", help=f"one of {', '.join(sorted(RECIPES))}")
    options = parser.parse_args()
    for stream in (sys.stdout, sys.stderr):
        stream.reconfigure(encoding="utf-8", errors="replace")
    scores: list[ClipScore] = []
    print(HEAD)
    if options.seeds:
        for seed in range(options.first, options.first + options.seeds):
            with tempfile.TemporaryDirectory() as folder:
                place = Path(folder) / f"{options.recipe}-{seed}"
                make_session(place, RECIPES[options.recipe], seed)
                scores += _reported(score_session(place))
    else:
        folders = options.sessions or sorted(path.parent for path in SAMPLES.glob("*/session.toml"))
        for folder in folders:
            scores += _reported(score_session(folder))
    print()
    _summary(scores)


HEAD = (
    f"{'clip':24} {'shot':>4} | {'speed m/s':>9} {'z':>5} {'/CRB':>5} | {'angle °':>8} {'z':>5} "
    f"{'/CRB':>5} | {'carry m':>8} {'z':>5} {'/CRB':>5} | frames"
)


def _reported(scores: list[ClipScore]) -> list[ClipScore]:
    for score in scores:
        for number, shot in enumerate(score.shots, start=1):
            print(_line(score.name, number, shot), flush=True)
        print(
            f"{score.name:24} {len(score.shots)} true, {score.false} false; {score.frames} frames, "
            f"decoded alone in {score.split.decode}",
            flush=True,
        )
        print("\n".join(f"{'':24} {line}" for line in score.split.lines()), flush=True)
    return scores


def _line(name: str, number: int, shot: Scored) -> str:
    if shot.shot is None:
        return f"{name:24} {number:4} | missed"
    parts = [
        f"{shot.error(figure):+9.3f} {shot.z(figure):+5.1f} "
        f"{abs(shot.error(figure)) / shot.bound[figure]:5.1f}"
        for figure in FIGURES
    ]
    return f"{name:24} {number:4} | {' | '.join(parts)} | {shot.shot.frames_seen}"


def _summary(scores: list[ClipScore]) -> None:
    shots = [shot for score in scores for shot in score.shots]
    found = [shot for shot in shots if shot.shot is not None]
    false = sum(score.false for score in scores)
    print(f"shots found {len(found)} of {len(shots)}, false {false}")
    for figure in FIGURES:
        errors = [shot.error(figure) for shot in found]
        shares = [shot.error(figure) / shot.truth[figure] for shot in found]
        z = [shot.z(figure) for shot in found]
        held = [abs(value) < 1.96 for value in z if math.isfinite(value)]
        bound = rms([shot.bound[figure] for shot in found])
        print(
            f"{figure:18} RMSE {rms(errors):7.3f} ({100 * rms(shares):.2f} %)  RMS bound "
            f"{bound:7.3f}  ratio {rms(errors) / bound:5.2f}  RMS z {rms(z):5.2f}  "
            f"largest |z| {max((abs(value) for value in z), default=math.nan):4.1f}  95 % hold "
            f"{100 * sum(held) / max(len(held), 1):.0f} %"
        )
    print("\n".join(sum((score.split for score in scores), Split()).lines()))


if __name__ == "__main__":
    main()
