"""Each setup in figures: mean, scatter, next shot, outlier."""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from tracker.comparison.evenings import ONE_EVENING, Evenings, ranges_of
from tracker.comparison.landings import Landing, landing_of
from tracker.comparison.shares import Shares
from tracker.records import (
    FIGURE_OF_COLUMN,
    Coded,
    Quality,
    Reason,
    Shot,
    cells_of,
    coded,
    counts_for,
)
from tracker.statistics.components import Estimate, mean_with_shared
from tracker.statistics.freedom import welch_dof
from tracker.statistics.means import Groups, Sample, groups_of, sample_of, scatter_interval
from tracker.statistics.outliers import grubbs


@dataclass(frozen=True)
class SetupShots:
    """The shots of one setup.

    Attributes
    ----------
    name : str
    shots : sequence of Shot
    occasions : sequence of str
        For each shot the outing whose calibration it was measured with.
    shared : sequence of mapping
        For each shot, by the column of a figure, the part of its standard uncertainty that is
        the same for every shot of its outing; empty where that is not known.
    evenings : sequence of str
        For each shot the evening on which it was fired; that of its occasion when empty. An evening
        may have several occasions, when the camera was moved.
    instead : mapping of str to ndarray, shape (N,)
        By column, what the shots are to have in place of what was measured.
    """

    name: str
    shots: Sequence[Shot]
    occasions: Sequence[str]
    shared: Sequence[Mapping[str, float]] = ()
    evenings: Sequence[str] = ()
    instead: Mapping[str, np.ndarray] = field(default_factory=dict)

    @cached_property
    def by_occasion(self) -> tuple[tuple[str, ...], np.ndarray]:
        """The different occasions, and for each shot the place of its own among them."""
        return coded(self.occasions)

    @cached_property
    def by_evening(self) -> tuple[tuple[str, ...], np.ndarray]:
        """The different evenings, and for each shot the place of its own among them."""
        if not self.evenings or self.evenings == self.occasions:
            return self.by_occasion
        return coded(self.evenings)

    def column(self, name: str) -> np.ndarray:
        """Return a column of the shots, NaN where a cell is empty; made once."""
        if name in self.instead:
            return self.instead[name]
        if name not in self._columns:
            self._columns[name] = np.asarray(cells_of(self.shots, name), float)
        return self._columns[name]

    def figures(self, quantity: str) -> np.ndarray:
        """Return a figure of the shots by its column, NaN where it does not count; made once."""
        if quantity not in self._figures:
            values = self.column(quantity)
            counts = self._counting(quantity) & np.isfinite(values)
            self._figures[quantity] = np.where(counts, values, np.nan)
        return self._figures[quantity]

    def used(self, quantity: str) -> int:
        """Return how many shots count for a figure."""
        return int(np.isfinite(self.figures(quantity)).sum())

    def _counting(self, quantity: str) -> np.ndarray:
        """Return whether the quality of each shot and its reasons let a figure count."""
        counts = self.good.copy()
        rest = np.flatnonzero(~counts)
        qualities, reasons = (cells_of(self.shots, name) for name in ("quality", "reasons"))
        if not isinstance(reasons, Coded):
            counts[rest] = [counts_for(qualities[i], reasons[i], quantity) for i in rest.tolist()]
            return counts
        # Of very many shots few have reasons, and fewer have reasons of their own.
        (grades, grade_of), codes = coded(qualities), reasons.codes[rest]
        for grade, quality in enumerate(grades):
            mine = np.flatnonzero(grade_of[rest] == grade)
            used, places = np.unique(codes[mine], return_inverse=True)
            each = [counts_for(quality, reasons.values[i], quantity) for i in used.tolist()]
            counts[rest[mine]] = np.array(each, bool)[places]
        return counts

    def shared_of(self, quantity: str) -> np.ndarray:
        """Return the shared part of a figure's uncertainty, NaN where it is not known."""
        if not self.shared:
            return np.full(len(self.shots), np.nan)
        return np.asarray(cells_of(self.shared, quantity), float)

    def having(self, name: str, values: np.ndarray) -> "SetupShots":
        """Return the same shots with other values in a column; what is known of them is kept."""
        found = replace(self, instead={**self.instead, name: values})
        for known in ("by_occasion", "by_evening", "good"):
            if known in self.__dict__:
                found.__dict__[known] = self.__dict__[known]
        return found

    @cached_property
    def _columns(self) -> dict[str, np.ndarray]:
        return {}

    @cached_property
    def _figures(self) -> dict[str, np.ndarray]:
        return {}

    @cached_property
    def good(self) -> np.ndarray:
        """Whether each shot is of quality good."""
        qualities, places = coded(cells_of(self.shots, "quality"))
        return np.array([each is Quality.GOOD for each in qualities], bool)[places]


@dataclass(frozen=True)
class Outlier:
    """An outlier by Grubbs' test; it is reported and kept.

    Attributes
    ----------
    clip, shot : str, int
        Which it is.
    value : float
    statistic, critical : float
        Its distance from the mean in standard deviations, and the one that 5 % of normal
        samples exceed.
    mean_without : float
        Mean of the others.
    """

    clip: str
    shot: int
    value: float
    statistic: float
    critical: float
    mean_without: float


@dataclass(frozen=True)
class Summary:
    """One setup in figures.

    Attributes
    ----------
    name : str
    used, rejected, doubtful : int
        Shots that count; shots rejected or without this figure; shots that count although
        their quality says check.
    sample : Sample or None
        None where no shot counts.
    shared_u : float
        Standard uncertainty that all its shots have in common (calibration, air).
    without_u : int
        Shots that count whose stated uncertainty is zero, negative or no number.
    unused_why : mapping of str to int
        Where none counts: why not, in words, and for how many.
    weights : Shares
        Share of each outing in its shots.
    evenings : Evenings
        Its shots by evening.
    mean : Estimate or None
        With the shared error; None for fewer than two shots.
    scatter : tuple of two floats, or None
        95 % limits of the standard deviation from shot to shot.
    next_shot : Estimate or None
        Prediction of the next shot.
    outlier : Outlier or None
    landing : Landing or None
        None for fewer than three landings.
    """

    name: str
    used: int
    rejected: int
    doubtful: int
    weights: Shares
    landing: Landing | None
    sample: Sample | None = None
    shared_u: float = 0.0
    evenings: Evenings = ONE_EVENING
    mean: Estimate | None = None
    scatter: tuple[float, float] | None = None
    next_shot: Estimate | None = None
    outlier: Outlier | None = None
    without_u: int = 0
    unused_why: Mapping[str, int] = field(default_factory=dict)


def summarise(
    setup: SetupShots,
    quantity: str,
    level: float = 0.95,
    evening_u: float = 0.0,
    remarks: bool = True,
) -> Summary:
    """Return one setup in figures.

    Parameters
    ----------
    setup : SetupShots
    quantity : str
        A column of shots.csv that has an uncertainty, ``"carry_m"`` for instance.
    level : float
    evening_u : float
        Standard deviation between evenings (`tracker.comparison.evenings`).
    remarks : bool
        False leaves out where the shots land, and which evenings differ.

    Notes
    -----
    The part of a row's standard uncertainty that differs from shot to shot shows in their
    scatter already; the part that all shots of an outing share is added to it. Where that part is
    not known the whole counts as shared, which is too much, never too little.
    """
    every = setup.figures(quantity)
    counts = np.isfinite(every)
    values = every[counts]
    which = np.flatnonzero(counts)
    stated = setup.column(u_column(quantity))[counts]
    occasions, occasion_of = setup.by_occasion
    weights = Shares.of(occasions, occasion_of[counts])
    base = Summary(
        name=setup.name,
        used=which.size,
        rejected=len(setup.shots) - which.size,
        doubtful=int((counts & ~setup.good).sum()),
        weights=weights,
        landing=_landing(setup, counts) if remarks else None,
        without_u=_without_u(setup, quantity, counts),
    )
    if not which.size:
        return replace(base, unused_why=_unused_why(setup, quantity))
    sample = sample_of(values)
    shared = _shared_u(setup.shared_of(quantity)[counts], stated, weights)
    evenings = _evenings(setup, counts, weights, evening_u, values if remarks else None)
    single = replace(base, sample=sample, shared_u=shared, evenings=evenings)
    if not sample.scatters:
        return single
    return replace(
        single,
        mean=mean_with_shared(sample, math.hypot(shared, evenings.mean_u)),
        scatter=scatter_interval(sample, level),
        next_shot=_next_shot(sample, math.hypot(shared, evenings.u)),
        outlier=_outlier(setup.shots, which, values),
    )


def _evenings(
    setup: SetupShots, counts: np.ndarray, weights: Shares, u: float, values: np.ndarray | None
) -> Evenings:
    """Return the evenings of the shots that count; `weights` are those of the occasions."""
    names, evening_of = setup.by_evening
    mine = evening_of[counts]
    shares = weights if evening_of is setup.by_occasion[1] else Shares.of(names, mine)
    return Evenings(shares, u, () if values is None else ranges_of(mine, values))


def _next_shot(sample: Sample, common_u: float) -> Estimate:
    """Return the prediction of the next shot; evening and calibration have their own error."""
    ahead = sample.sd**2 * (1.0 + 1.0 / sample.count)
    dof = welch_dof(((ahead, float(sample.dof)), (common_u**2, math.inf)))
    return Estimate(sample.mean, math.hypot(math.sqrt(ahead), common_u), dof)


def _landing(setup: SetupShots, counts: np.ndarray) -> Landing | None:
    """Return where the shots that count come down."""
    ends = [setup.column(f"landing_{way}_m")[counts] for way in ("along", "across")]
    points = np.column_stack(ends)
    return landing_of(points[np.isfinite(points).all(axis=1)])


def _unused_why(setup: SetupShots, quantity: str) -> Counter[str]:
    """Return why shots of which none counts do not, each reason with its number of shots."""
    qualities, reasons = (cells_of(setup.shots, name) for name in ("quality", "reasons"))
    figures = setup.column(quantity)
    return Counter(
        _why(qualities[i], reasons[i], quantity, bool(np.isfinite(figures[i])))
        for i in range(len(setup.shots))
    )


def _why(quality: Quality, reasons: Sequence[Reason], quantity: str, has_figure: bool) -> str:
    """Return why a shot does not count."""
    rejected = quality is Quality.REJECTED
    phrases = dict.fromkeys(
        reason.entry.phrase
        for reason in reasons
        if rejected or reason.spoils(FIGURE_OF_COLUMN[quantity])
    )
    said = ", ".join(phrases)
    if rejected:
        return said if said.startswith("rejected") else f"rejected: {said}" if said else "rejected"
    if said:
        return f"to be checked: {said}"
    return "to be checked" if has_figure else "without this figure"


def u_column(quantity: str) -> str:
    """Return the column of a figure's standard uncertainty."""
    stem, unit = quantity.rsplit("_", 1)
    return f"{stem}_u_{unit}"


def _without_u(setup: SetupShots, quantity: str, counts: np.ndarray) -> int:
    """Return how many of the shots that count state an uncertainty that is none."""
    name = u_column(quantity)
    stated = setup.column(name)
    bad = np.flatnonzero(counts & ~(np.isfinite(stated) & (stated > 0.0))).tolist()
    cells = cells_of(setup.shots, name) if bad else []
    if isinstance(cells, np.ndarray):
        return int((~np.isnan(cells[bad])).sum())
    return sum(cells[i] is not None for i in bad)


def evening_groups(setup: SetupShots, quantity: str) -> Groups:
    """Return the samples of a setup's evenings."""
    values = setup.figures(quantity)
    counts = np.isfinite(values)
    return groups_of(np.unique(setup.by_evening[1][counts], return_inverse=True)[1], values[counts])


def _shared_u(shared: np.ndarray, stated: np.ndarray, weights: Shares) -> float:
    """Return the standard uncertainty that the mean's shots have in common."""
    own = np.where(np.isfinite(stated) & (stated > 0.0), stated, np.nan)
    known = np.where(np.isfinite(shared) & (shared >= 0.0), shared, own)
    known = known[np.isfinite(known)]
    # Outings have calibrations of their own: their errors average out by their weights.
    return float(np.median(known)) * weights.spread if known.size else 0.0


def _outlier(shots: Sequence[Shot], which: np.ndarray, values: np.ndarray) -> Outlier | None:
    test = grubbs(values)
    if test is None or not test.is_outlier:
        return None
    shot = shots[int(which[test.place])]
    return Outlier(
        shot.clip,
        shot.shot,
        float(values[test.place]),
        test.statistic,
        test.critical,
        float(np.delete(values, test.place).mean()),
    )
