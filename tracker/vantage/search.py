"""The best place to stand within limits."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.errors import InputError
from tracker.vantage.expected import Shots
from tracker.vantage.forecast import judge
from tracker.vantage.stand import Stand

Array = NDArray[np.float64]
Range = tuple[float, float]

COARSE = (6, 6, 3)
"""Places along, across and up that are tried first."""

BEST = 2
"""How many of them are followed downhill."""

STEPS = 60
"""Places tried on each way down."""

KEPT_SHARE = 0.015
"""Margin that everything must keep, as a share of the frame's longer side."""

BEYOND = 1.5
"""The firing line reaches this many times as far as the expected landing: balls roll."""


@dataclass(frozen=True)
class Limits:
    """Where the camera may stand.

    Attributes
    ----------
    along_m, across_m, up_m : (float, float)
    clear_m : float
        Least distance to the firing line, seen from above.
    """

    along_m: Range
    across_m: Range
    up_m: Range
    clear_m: float

    def reached(self, position_m: Array) -> list[str]:
        """Return a sentence where a best place lies at the edge of what was searched."""
        spans = {"along": self.along_m, "across": self.across_m, "up": self.up_m}
        ends = [
            f"{name} {value:.4g} m"
            for value, (name, (low, high)) in zip(position_m, spans.items(), strict=True)
            if high > low and min(value - low, high - value) < 0.01 * (high - low)
        ]
        if not ends:
            return []
        return [
            f"The best place lies at the edge of the box, {' and '.join(ends)}: beyond it there "
            "may be a better one."
        ]


def firing_line(stand: Stand, shots: Shots) -> Array:
    """Return from where to where balls fly and roll, shape (2, 2): along and across, m."""
    start = stand.request.release_m[:2]
    return np.array([start, start + BEYOND * (shots.landing_m - start)])


def off_line(position_m: Array, line: Array) -> float:
    """Return the distance of a place from a stretch of line, seen from above, m."""
    way = line[1] - line[0]
    share = float(np.clip((position_m[:2] - line[0]) @ way / max(float(way @ way), 1e-12), 0, 1))
    return float(np.linalg.norm(position_m[:2] - line[0] - share * way))


def best_stand(stand: Stand, shots: Shots, limits: Limits, quantity: str) -> Stand:
    """Return the stand within limits that tells a figure best with everything in view.

    A coarse grid first, then from its best places downhill (Nelder and Mead, The Computer
    Journal 7, 308, 1965, as `scipy.optimize.minimize` has it). The same limits give the same
    place.

    Parameters
    ----------
    stand : Stand
        All but the place and the aim is taken from it.
    shots : Shots
    limits : Limits
    quantity : str
        Figure whose standard uncertainty is made least.

    Raises
    ------
    InputError
        Where no place keeps everything in view.
    """
    from scipy.optimize import minimize

    line = firing_line(stand, shots)
    needed = KEPT_SHARE * max(stand.site.size_px)
    tried: list[tuple[float, float, Array]] = []

    def cost(place: Array) -> float:
        position = np.asarray(place, float)
        lacking = max(0.0, limits.clear_m - off_line(position, line))
        if lacking > 0.0:
            return 1e6 + lacking
        try:
            judged = judge(replace(stand, position_m=position, target_m=None), shots)
        except InputError:
            return 1e5
        short = max(0.0, needed - judged.margin_px) / max(stand.site.size_px)
        u = judged.u[quantity]
        tried.append((short, u, position.copy()))
        # Out of view is worse than any uncertainty, and the farther out the worse.
        return u if short == 0.0 else 1e3 + min(short, 10.0) * 1e3

    spans = (limits.along_m, limits.across_m, limits.up_m)
    axes = [
        np.linspace(low, high, count if high > low else 1)
        for (low, high), count in zip(spans, COARSE, strict=True)
    ]
    grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
    costs = np.array([cost(place) for place in grid])
    sides = np.array([max((high - low) / 8.0, 0.0) for low, high in spans])
    free = sides > 0.0
    for start in grid[np.argsort(costs, kind="stable")[:BEST]]:
        if not np.any(free):
            break

        def along_free(values: Array, start: Array = start) -> float:
            place = start.copy()
            place[free] = values
            return cost(place)

        corner = start[free]
        middle = np.array([(low + high) / 2.0 for low, high in spans])[free]
        reach = np.where(corner > middle, -1.0, 1.0) * sides[free]
        simplex = np.vstack([corner, corner + np.diag(reach)])
        minimize(
            along_free,
            corner,
            method="Nelder-Mead",
            bounds=[span for span, moves in zip(spans, free, strict=True) if moves],
            options={"initial_simplex": simplex, "maxfev": STEPS, "xatol": 0.05, "fatol": 1e-5},
        )
    whole = [one for one in tried if one[0] == 0.0]
    if not whole:
        raise _nowhere(tried, stand)
    best = min(whole, key=lambda one: one[1])
    return replace(stand, position_m=best[2], target_m=None)


def _nowhere(tried: list[tuple[float, float, Array]], stand: Stand) -> InputError:
    if not tried:
        return InputError(
            "no place within the limits sees enough markers and enough of the flight, clear of "
            "the firing line",
            where="--search",
            remedy="widen the limits, or lessen --clear",
        )
    short, _, place = min(tried, key=lambda one: one[0])
    lacking = short * max(stand.site.size_px)
    return InputError(
        "no place within the limits keeps every expected shot in view; the best, "
        f"[{place[0]:.1f}, {place[1]:.1f}, {place[2]:.1f}], lacks {lacking:.0f} px",
        where="--search",
        remedy="let the camera stand farther off, or give it a wider view",
    )
