"""Each setup in figures: mean, scatter, next shot, outlier."""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tracker.comparison.evenings import ONE_EVENING, Cells, Evenings
from tracker.comparison.landings import Landing, landing_of
from tracker.records import Quality, Shot
from tracker.statistics.components import Estimate, mean_with_shared
from tracker.statistics.freedom import welch_dof
from tracker.statistics.means import Sample, sample_of, scatter_interval
from tracker.statistics.outliers import grubbs


@dataclass(frozen=True)
class SetupShots:
    """The shots of one setup.

    Attributes
    ----------
    name : str
    shots : tuple of Shot
    occasions : tuple of str
        For each shot the outing whose calibration it was measured with.
    shared : tuple of mapping
        For each shot, by the column of a figure, the part of its standard uncertainty that is
        the same for every shot of its outing; empty where that is not known.
    evenings : tuple of str
        For each shot the evening on which it was fired; that of its occasion when empty. An evening
        may have several occasions, when the camera was moved.
    """

    name: str
    shots: tuple[Shot, ...]
    occasions: tuple[str, ...]
    shared: tuple[Mapping[str, float], ...] = ()
    evenings: tuple[str, ...] = ()


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
    weights : mapping of str to float
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
    weights: Mapping[str, float]
    landing: Landing | None
    sample: Sample | None = None
    shared_u: float = 0.0
    evenings: Evenings = ONE_EVENING
    mean: Estimate | None = None
    scatter: tuple[float, float] | None = None
    next_shot: Estimate | None = None
    outlier: Outlier | None = None
    without_u: int = 0


def figure(shot: Shot, quantity: str) -> float | None:
    """Return a figure of a shot by its column, None where it does not count."""
    if not shot.counts_for(quantity):
        return None
    value = getattr(shot, quantity)
    return None if value is None or not math.isfinite(value) else float(value)


def stated_u(shot: Shot, quantity: str) -> float | None:
    """Return the standard uncertainty of a figure by its column, as it stands in the row."""
    stem, unit = quantity.rsplit("_", 1)
    value = getattr(shot, f"{stem}_u_{unit}", None)
    return None if value is None else float(value)


def own_u(shot: Shot, quantity: str) -> float | None:
    """Return the standard uncertainty of a figure, None where it is not a positive number."""
    value = stated_u(shot, quantity)
    return value if value is not None and math.isfinite(value) and value > 0.0 else None


def _lacks_u(shot: Shot, quantity: str) -> bool:
    """Return whether a stated uncertainty is zero, negative or no number."""
    return stated_u(shot, quantity) is not None and own_u(shot, quantity) is None


def summarise(
    setup: SetupShots,
    quantity: str,
    level: float = 0.95,
    evening_u: float = 0.0,
    landings: bool = True,
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
    landings : bool
        False leaves out where the shots land.

    Notes
    -----
    The part of a row's standard uncertainty that differs from shot to shot shows in their
    scatter already; the part that all shots of an outing share is added to it. Where that part is
    not known the whole counts as shared, which is too much, never too little.
    """
    kept = _counted(setup, quantity)
    shots = [one.shot for one in kept]
    occasions = Counter(one.occasion for one in kept)
    weights = {name: count / len(kept) for name, count in sorted(occasions.items())}
    base = Summary(
        name=setup.name,
        used=len(kept),
        rejected=len(setup.shots) - len(kept),
        doubtful=sum(shot.quality is Quality.CHECK for shot in shots),
        weights=weights,
        landing=landing_of(shots) if landings else None,
        without_u=sum(_lacks_u(shot, quantity) for shot in shots),
    )
    if not kept:
        return base
    values = np.array([one.value for one in kept])
    sample, shared = sample_of(values), _shared_u(kept, quantity, weights)
    evenings = Evenings.of([one.evening for one in kept], values, evening_u)
    single = replace(base, sample=sample, shared_u=shared, evenings=evenings)
    if not sample.scatters:
        return single
    ahead = sample.sd**2 * (1.0 + 1.0 / sample.count)
    common, next_common = (math.hypot(shared, u) for u in (evenings.mean_u, evenings.u))
    return replace(
        single,
        mean=mean_with_shared(sample, common),
        scatter=scatter_interval(sample, level),
        next_shot=Estimate(
            sample.mean,
            math.hypot(math.sqrt(ahead), next_common),
            welch_dof(((ahead, float(sample.dof)), (next_common**2, math.inf))),
        ),
        outlier=_outlier(shots, values),
    )


@dataclass(frozen=True)
class _Counted:
    """A shot that counts, with its figure and the shared part of its uncertainty."""

    shot: Shot
    occasion: str
    evening: str
    value: float
    shared: float | None


def _counted(setup: SetupShots, quantity: str) -> list[_Counted]:
    """Return the shots of a setup that have this figure."""
    shared_by = setup.shared or ({},) * len(setup.shots)
    return [
        _Counted(shot, occasion, evening, value, shared.get(quantity))
        for shot, occasion, evening, shared in zip(
            setup.shots, setup.occasions, setup.evenings or setup.occasions, shared_by, strict=True
        )
        if (value := figure(shot, quantity)) is not None
    ]


def cells_of(setup: SetupShots, quantity: str) -> Cells:
    """Return the values of a setup by evening."""
    cells: dict[str, list[float]] = {}
    for one in _counted(setup, quantity):
        cells.setdefault(one.evening, []).append(one.value)
    return cells


def _shared_u(kept: Sequence[_Counted], quantity: str, weights: Mapping[str, float]) -> float:
    """Return the standard uncertainty that the mean's shots have in common."""
    stated = [
        one.shared
        if one.shared is not None and math.isfinite(one.shared) and one.shared >= 0.0
        else own_u(one.shot, quantity)
        for one in kept
    ]
    known = [u for u in stated if u is not None]
    # Outings have calibrations of their own: their errors average out by their weights.
    spread = math.sqrt(sum(weight**2 for weight in weights.values()))
    return float(np.median(known)) * spread if known else 0.0


def _outlier(shots: Sequence[Shot], values: np.ndarray) -> Outlier | None:
    test = grubbs(values)
    if test is None or not test.is_outlier:
        return None
    shot = shots[test.place]
    return Outlier(
        shot.clip,
        shot.shot,
        float(values[test.place]),
        test.statistic,
        test.critical,
        float(np.delete(values, test.place).mean()),
    )
