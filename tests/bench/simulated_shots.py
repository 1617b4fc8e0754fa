"""Print how exact, honest and quick fits to simulated shots are.

``python -m tests.bench.simulated_shots`` draws 300 shots of each kind (sessions of five shots
under four calibration layouts, see `tests.tracker.simulated_shots`), fits them and prints, by
figure, the error over the Cramér-Rao bound and the share of truths within 95 % intervals.
"""

import argparse
import time

import numpy as np

from calibration.adjustment import NotDetermined
from tests.tracker.simulated_shots import CHECKED, KINDS, Result, measure, simulate


def main() -> None:
    """Run the campaign."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench.simulated_shots", description=__doc__
    )
    parser.add_argument("--shots", type=int, default=300, help="shots of each kind")
    parser.add_argument("--seed", type=int, default=2026)
    parser.add_argument("--kind", choices=sorted(KINDS), action="append")
    options = parser.parse_args()
    for name in options.kind or list(KINDS):
        results: list[Result] = []
        spent, unsettled, failed = [], 0, 0
        for shot in simulate(KINDS[name], max(options.shots // 5, 1), options.seed):
            began = time.process_time()
            try:
                fit, result = measure(shot)
            except NotDetermined:
                failed += 1
                continue
            spent.append(time.process_time() - began)
            unsettled += not fit.settled
            results.append(result)
        print(
            f"{name}: {len(results)} shots, {failed} not determined, {unsettled} unsettled; "
            f"median {1e3 * np.median(spent):.0f} ms, largest {1e3 * np.max(spent):.0f} ms a fit"
        )
        for figure in CHECKED:
            print(f"  {figure:18} {line(results, figure)}", flush=True)


def line(results: list[Result], figure: str) -> str:
    """Return one figure's errors in words."""
    error = np.array([result.error[figure] for result in results])
    z = error / np.array([result.u[figure] for result in results])
    bound = np.array([result.bound[figure] for result in results])
    ratio = np.sqrt(np.mean(error**2) / np.mean(bound**2))
    return (
        f"RMSE {np.sqrt(np.mean(error**2)):.4f}  mean {np.mean(error):+.4f}  ratio to bound "
        f"{ratio:.2f}  RMS z {np.sqrt(np.mean(z**2)):.2f}  largest |z| {np.abs(z).max():.1f}  "
        f"95 % hold {100 * np.mean(np.abs(z) < 1.96):.1f} %"
    )


if __name__ == "__main__":
    main()
