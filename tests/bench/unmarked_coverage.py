"""How often the truth lies in the 95 % interval where nothing was taped.

``python -m tests.bench.unmarked_coverage --shots 120`` draws cameras and shots, projects the shots
and fits them with gravity as the only scale.
"""

import argparse

import numpy as np

from calibration.adjustment import NotDetermined
from tests.tracker.unmarked_case import drawn_case
from tracker.fitting import figures_of

KINDS = {
    "60 a second": {},
    "240, view and level unstated": {"fps": 240.0, "view_stated": False, "level": False},
    "24 a second": {"fps": 24.0},
    "landing out of sight, height stated": {"landing": False, "height_stated": True},
    "one marker": {"marker_along_m": (20.0,)},
}


def main() -> None:
    """Run every kind and print a line a figure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--shots", type=int, default=120, help="shots of each kind")
    parser.add_argument("--seed", type=int, default=11)
    options = parser.parse_args()
    for kind, how in KINDS.items():
        rng = np.random.default_rng(options.seed)
        rows, refused = [], 0
        for _ in range(options.shots):
            case = drawn_case(rng, **how)
            try:
                fit = case.fit()
            except NotDetermined:
                refused += 1
                continue
            figures = figures_of(fit.circumstances, fit.fitted.parameters)
            u = figures.u(fit.fitted.covariance)
            rows.append(
                [
                    ((figures.value(name) - true) / u[name], u[name], true)
                    for name, true in case.truth.items()
                ]
            )
        print(f"{kind}: {len(rows)} shots, {refused} refused")
        for place, name in enumerate(case.truth):
            z, spread, true = np.array(rows)[:, place].T
            print(
                f"  {name:18} in the interval {100 * np.mean(np.abs(z) < 1.96):5.1f} %, mean z "
                f"{z.mean():+.2f}, rms z {np.sqrt(np.mean(z**2)):.2f}, median u "
                f"{100 * np.median(spread / np.abs(true)):.1f} %",
                flush=True,
            )


if __name__ == "__main__":
    main()
