"""The best place for a camera within limits."""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from calibration.errors import InputError
from tracker.vantage.judging import judge
from tracker.vantage.shots import ExpectedShots
from tracker.vantage.stand import Stand

Array = NDArray[np.float64]
Range = tuple[float, float]

COARSE = (6, 6, 3)
"""Grid places along, across and up that are tried first (common practice, no source)."""

BEST = 2
"""Grid places from which the search goes downhill (common practice, no source)."""

STEPS = 60
"""Places tried on each way down (common practice, no source)."""

SIMPLEX_SHARE = 1.0 / 8.0
"""Side of the first simplex, as a share of the box: below the spacing of the grid."""

KEPT_SHARE = 0.015
"""Margin that everything must keep, as a share of the frame's longer side (common practice, no
source)."""

BEYOND = 1.5
"""Reach of the line of fire as a multiple of the expected carry: balls roll (common practice, no
source)."""

EDGE_SHARE = 0.01
"""A best place this close to the edge of the box, as a share of its side, lies at the edge."""

TOO_NEAR_COST, UNSEEN_COST, OUT_OF_VIEW_COST = 1e6, 1e5, 1e3
"""Costs above any standard uncertainty (m, m/s or degrees), in the order in which a place is ruled
out."""

WORST_SHORTFALL = 10.0
"""Limit of the missing margin in frame sizes: keeps that cost below the next one."""


@dataclass(frozen=True)
class Limits:
    """Where the camera may stand.

    Attributes
    ----------
    along_m, across_m, up_m : (float, float)
    clear_m : float
        Smallest distance to the line of fire, seen from above.
    """

    along_m: Range
    across_m: Range
    up_m: Range
    clear_m: float

    @property
    def spans(self) -> tuple[Range, Range, Range]:
        """The three ranges in ground order."""
        return self.along_m, self.across_m, self.up_m

    def reached(self, position_m: Array) -> tuple[str, ...]:
        """Return the edges of the box at which a place lies, as in ``"across -40 m"``."""
        return tuple(
            f"{name} {value:.4g} m"
            for value, name, (low, high) in zip(
                position_m, ("along", "across", "up"), self.spans, strict=True
            )
            if high > low and min(value - low, high - value) < EDGE_SHARE * (high - low)
        )


def line_of_fire(stand: Stand, shots: ExpectedShots) -> Array:
    """Return from where to where balls fly and roll, shape (2, 2): along and across, m."""
    start = stand.conditions.release_m[:2]
    return np.array([start, start + BEYOND * (shots.landing_m - start)])


def distance_to(line: Array, position_m: Array) -> float:
    """Return the distance of a place from a stretch of line, seen from above, m."""
    way = line[1] - line[0]
    share = float(np.clip((position_m[:2] - line[0]) @ way / max(float(way @ way), 1e-12), 0, 1))
    return float(np.linalg.norm(position_m[:2] - line[0] - share * way))


def best_stand(stand: Stand, shots: ExpectedShots, limits: Limits, quantity: str) -> Stand:
    """Return the stand within limits that measures a figure best with everything in view.

    A coarse grid first, then downhill from its best places (Nelder and Mead, The Computer
    Journal 7, 308, 1965, as `scipy.optimize.minimize` has it). The same limits give the same
    place.

    Parameters
    ----------
    stand : Stand
        All but the place and the aim is taken from it.
    shots : ExpectedShots
    limits : Limits
    quantity : str
        Figure whose standard uncertainty is minimised.

    Raises
    ------
    InputError
        Where no place keeps everything in view.
    """
    trials = _Trials(stand, shots, limits, quantity)
    axes = [
        np.linspace(low, high, count if high > low else 1)
        for (low, high), count in zip(limits.spans, COARSE, strict=True)
    ]
    grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
    costs = np.array([trials.cost(place) for place in grid])
    for start in grid[np.argsort(costs, kind="stable")[:BEST]]:
        _go_downhill(trials, start)
    return replace(stand, position_m=trials.best(), target_m=None)


@dataclass
class _Trials:
    """The places tried so far: margin missing, as a share of the frame; uncertainty; place."""

    stand: Stand
    shots: ExpectedShots
    limits: Limits
    quantity: str
    tried: list[tuple[float, float, Array]] = field(default_factory=list)

    def cost(self, place: Array) -> float:
        """Try a place: its uncertainty, or more than any where it is ruled out."""
        position = np.asarray(place, float)
        size = max(self.stand.site.size_px)
        away = distance_to(line_of_fire(self.stand, self.shots), position)
        if away < self.limits.clear_m:
            return TOO_NEAR_COST + self.limits.clear_m - away
        try:
            judged = judge(replace(self.stand, position_m=position, target_m=None), self.shots)
        except InputError:
            return UNSEEN_COST
        short = max(0.0, KEPT_SHARE - judged.margin_px / size)
        u = judged.u[self.quantity]
        self.tried.append((short, u, position.copy()))
        return u if short == 0.0 else OUT_OF_VIEW_COST * (1.0 + min(short, WORST_SHORTFALL))

    def best(self) -> Array:
        """Return the best place with everything in view."""
        whole = [one for one in self.tried if one[0] == 0.0]
        if whole:
            return min(whole, key=lambda one: one[1])[2]
        if not self.tried:
            raise InputError(
                "no place within the limits sees enough markers and enough of the flight, clear "
                "of the line of fire",
                where="--search",
                remedy="widen the limits, or lessen clear_m in [planned]",
            )
        short, _, place = min(self.tried, key=lambda one: one[0])
        raise InputError(
            "no place within the limits keeps every expected shot in view; the best, "
            f"[{place[0]:.1f}, {place[1]:.1f}, {place[2]:.1f}], lacks "
            f"{short * max(self.stand.site.size_px):.0f} px",
            where="--search",
            remedy="let the camera stand farther off, or give it a wider view",
        )


def _go_downhill(trials: _Trials, start: Array) -> None:
    """Try places downhill from one, along the coordinates that the limits leave free."""
    from scipy.optimize import minimize

    low, high = np.array(trials.limits.spans).T
    sides = SIMPLEX_SHARE * (high - low)
    free = sides > 0.0
    if not np.any(free):
        return

    def along_free(values: Array) -> float:
        place = start.copy()
        place[free] = values
        return trials.cost(place)

    corner = start[free]
    inwards = np.where(corner > (low + high)[free] / 2.0, -1.0, 1.0) * sides[free]
    minimize(
        along_free,
        corner,
        method="Nelder-Mead",
        bounds=list(zip(low[free], high[free], strict=True)),
        options={
            "initial_simplex": np.vstack([corner, corner + np.diag(inwards)]),
            "maxfev": STEPS,
            "xatol": 0.05,
            "fatol": 1e-5,
        },
    )
