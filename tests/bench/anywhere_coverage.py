"""How often the truth lies in the 95 % interval of a shot that starts anywhere.

``python -m tests.bench.anywhere_coverage --shots 100`` draws shots from anywhere on a field before
a calibrated camera, fired up, down and aslant, and fits each twice: as one that was released in the
picture, and as one that came into it over its edge.
"""

import argparse

import numpy as np

from tests.tracker.anywhere_case import AnywhereCase, drawn_anywhere, late


def main() -> None:
    """Draw, fit and print a line a figure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--shots", type=int, default=100)
    parser.add_argument("--seed", type=int, default=21)
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    drawn = [drawn_anywhere(rng) for _ in range(options.shots)]
    _print("released in the picture", drawn)
    # What counts as the release of these is their first sight: only what comes after is held
    # against the truth.
    after = ("landing_along_m", "landing_across_m", "apex_m")
    _print("came in over the edge", [late(each, 20) for each in drawn], after)


def _print(kind: str, cases: list[AnywhereCase], names: tuple[str, ...] = ()) -> None:
    scores = [case.scores() for case in cases]
    print(f"{kind}: {len(scores)} shots")
    for name in names or tuple(scores[0]):
        z, u = np.array([each[name] for each in scores]).T
        print(
            f"  {name:18} in the interval {100 * np.mean(np.abs(z) < 1.96):5.1f} %, mean z "
            f"{z.mean():+.2f}, rms z {np.sqrt(np.mean(z**2)):.2f}, median u {np.median(u):.3f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
