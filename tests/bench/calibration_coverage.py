"""How honest and how good calibrations are, by layout: the table in docs/methods/adjustment.md.

Run from the project's root: ``python -m tests.bench.calibration_coverage [fields]``.
"""

import sys
import time
from dataclasses import dataclass

import numpy as np

from calibration.site import Calibration, ground_covariances, solve
from tests.calibration.fields import LAYOUTS, Field, field

# 95 % points of chi-square with 2 and 3 degrees of freedom.
ELLIPSE, ELLIPSOID = 5.991465, 7.814728
PLACES = np.array([[10.0, 1.0, 0.0], [25.0, -1.0, 0.0], [40.0, 0.5, 0.0]])
LANDING = np.array([[40.0, 0.0, 0.0]])


@dataclass(frozen=True)
class Tally:
    """What came of many fields of one layout."""

    layout: str
    fields: int
    refused: int
    landings: float
    positions: float
    mild: float
    suspected: float
    along_m: float
    across_m: float
    speed_percent: float
    milliseconds: float


def tally(layout: str, fields: int, seed: int = 11) -> Tally:
    """Solve simulated fields of a layout and count how often the truth lies inside."""
    rng = np.random.default_rng(seed)
    landings, positions, verdicts, suspected, spreads, spent = [], [], [], [], [], []
    refused = 0
    for _ in range(fields):
        case = field(layout, rng)
        start = time.process_time()
        try:
            solved = solve(case.site)
        except Exception:
            refused += 1
            continue
        spent.append(time.process_time() - start)
        landings.extend(_landing_distances(case, solved) < ELLIPSE)
        change = solved.camera.position - case.camera.position
        distance = change @ np.linalg.solve(solved.camera.covariance[3:6, 3:6], change)
        positions.append(distance < ELLIPSOID)
        verdicts.append(solved.p_value < 0.05)
        suspected.append(bool(solved.suspects))
        u = {quantity.name: quantity.u for quantity in solved.quantities}
        landing = np.sqrt(np.diag(ground_covariances(solved.camera, LANDING)[0]))
        spreads.append((*landing, u["exit speed"]))
    along, across, speed = np.median(spreads, axis=0)
    return Tally(
        layout=layout,
        fields=fields,
        refused=refused,
        landings=float(np.mean(landings)),
        positions=float(np.mean(positions)),
        mild=float(np.mean(verdicts)),
        suspected=float(np.mean(suspected)),
        along_m=float(along),
        across_m=float(across),
        speed_percent=float(speed),
        milliseconds=1e3 * float(np.median(spent)),
    )


def _landing_distances(case: Field, solved: Calibration) -> np.ndarray:
    read = solved.camera.on_ground(case.camera.project(PLACES))
    spread = ground_covariances(solved.camera, read, pixel_u=0.0)
    gap = (read - PLACES)[:, :2]
    return np.einsum("ni,nij,nj->n", gap, np.linalg.inv(spread), gap)


def main() -> None:
    """Print the table."""
    fields = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    print(
        "| layout | fields | refused | landings in 95 % | positions in 95 % | p < 0.05 | "
        "suspected | u along at 40 m | u across | u exit speed | CPU |"
    )
    print("| --- " * 11 + "|")
    for layout in LAYOUTS:
        t = tally(layout, fields)
        print(
            f"| {t.layout} | {t.fields} | {t.refused} | {100 * t.landings:.1f} % | "
            f"{100 * t.positions:.1f} % | {100 * t.mild:.1f} % | {100 * t.suspected:.1f} % | "
            f"{t.along_m:.2f} m | {t.across_m:.2f} m | {t.speed_percent:.2f} % | "
            f"{t.milliseconds:.0f} ms |"
        )


if __name__ == "__main__":
    main()
