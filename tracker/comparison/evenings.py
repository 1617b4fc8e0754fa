"""Evenings: what wind and battery change from one evening to the next, as a random effect."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tracker.statistics.components import difference
from tracker.statistics.means import sample_of, student_factor
from tracker.statistics.root import root_between

Cells = Mapping[str, Sequence[float]]
"""The values of one setup by evening."""

COMMON = 0.5
"""Share of the variance between evenings that is common to all setups of an evening: wind is, the
state of the battery at each setup is not (common practice, no source)."""

GRID = 60
"""Values of the standard deviation between evenings that are weighed."""

WIDEST = 30.0
"""Greatest of them, in standard deviations from shot to shot: beyond, evenings have nothing in
common."""


@dataclass(frozen=True)
class Evenings:
    """The shots of one setup by evening.

    Attributes
    ----------
    weights : mapping of str to float
        Share of each evening in its shots.
    u : float
        Standard deviation between evenings.
    ranges : tuple of (float, float)
        Least and greatest value of each evening, where the evenings of this setup differ by more
        than its shots do; else empty.
    """

    weights: Mapping[str, float]
    u: float
    ranges: tuple[tuple[float, float], ...]

    @classmethod
    def of(cls, names: Sequence[str], values: np.ndarray, u: float) -> "Evenings":
        """Return the evenings of a setup's values."""
        cells: dict[str, list[float]] = {}
        for name, value in zip(names, values, strict=True):
            cells.setdefault(name, []).append(float(value))
        weights = {name: len(cell) / len(names) for name, cell in cells.items()}
        ranges: tuple[tuple[float, float], ...] = ()
        if _differ(list(cells.values())):
            ranges = tuple((min(cell), max(cell)) for cell in cells.values())
        return cls(weights, u, ranges)

    @property
    def mean_u(self) -> float:
        """Standard uncertainty that the evenings leave in the mean of the setup."""
        return self.u * math.sqrt(sum(weight**2 for weight in self.weights.values()))


ONE_EVENING = Evenings({}, 0.0, ())
"""Of a setup without shots."""


def evening_residue(first: Evenings, second: Evenings) -> float:
    """Return the standard uncertainty that the evenings leave in the difference of two setups."""
    both = sum(w * second.weights.get(name, 0.0) for name, w in first.weights.items())
    square = first.mean_u**2 + second.mean_u**2 - 2.0 * COMMON * both * first.u * second.u
    return math.sqrt(max(0.0, square))


def evening_effect(setups: Sequence[Cells]) -> float:
    """Return the standard deviation between evenings, to be used as if it were known.

    Zero where no setup was shot on two evenings: nothing is known of it then.

    Notes
    -----
    From the means of each evening within each setup: their restricted likelihood over the standard
    deviation between evenings, with a half-Cauchy prior of the scale of the scatter from shot to
    shot, which suits few groups (A. Gelman, Bayesian Analysis 1, 515, 2006). Returned is the one
    whose normal 95 % interval is that of the mixture over everything that is possible.
    """
    from scipy.special import ndtr

    cells = [[sample_of(cell) for cell in setup.values()] for setup in setups]
    repeated = [samples for samples in cells if len(samples) > 1]
    scatters = [
        (sample.dof, sample.sd**2) for samples in cells for sample in samples if sample.scatters
    ]
    if not repeated or not scatters:
        return 0.0
    scatter = math.sqrt(sum(d * s for d, s in scatters) / sum(d for d, _ in scatters))
    if scatter == 0.0:
        return 0.0
    shares = (np.arange(GRID) + 0.5) / GRID
    sizes = scatter * np.minimum(np.tan(0.5 * math.pi * shares), WIDEST)
    logs = np.zeros(GRID)
    for samples in repeated:
        means = np.array([sample.mean for sample in samples])
        own = scatter**2 / np.array([sample.count for sample in samples])
        spread = sizes[:, None] ** 2 + own
        middle = (means / spread).sum(axis=1) / (1.0 / spread).sum(axis=1)
        misses = (means - middle[:, None]) ** 2 / spread
        logs -= 0.5 * (np.log(spread) + misses).sum(axis=1)
        logs -= 0.5 * np.log((1.0 / spread).sum(axis=1))
    chances = np.exp(logs - logs.max())
    chances /= chances.sum()

    def excess(width: float) -> float:
        return float(chances @ (2.0 * ndtr(-width / sizes))) - 0.05

    width = root_between(excess, 1e-6 * scatter, 4.0 * WIDEST * scatter, 1e-9 * scatter)
    return width / student_factor(0.95, math.inf)


def _differ(cells: Sequence[Sequence[float]]) -> bool:
    """Return whether two evenings of a setup differ by more than their shots explain."""
    samples = [sample_of(cell) for cell in cells if len(cell) > 1]
    pairs = max(1, len(samples) * (len(samples) - 1) // 2)
    for place, one in enumerate(samples):
        for other in samples[place + 1 :]:
            gap = difference(one, other, (0.0, 0.0), 0.0)
            if abs(gap.value) > gap.expanded(1.0 - 0.05 / pairs):
                return True
    return False
