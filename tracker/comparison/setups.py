"""What the shots of each setup come down to."""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tracker.records import Quality, Shot
from tracker.statistics.components import Estimate, mean_with_shared
from tracker.statistics.landing import (
    Ellipse,
    extreme_spread,
    landing_region,
    median_miss,
)
from tracker.statistics.means import Sample, sample_of, scatter_interval
from tracker.statistics.outliers import grubbs
from tracker.statistics.variance import welch_dof


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
    """

    name: str
    shots: tuple[Shot, ...]
    occasions: tuple[str, ...]
    shared: tuple[Mapping[str, float], ...] = ()


@dataclass(frozen=True)
class Outlier:
    """A shot that stands out of its setup by Grubbs' test; it is told, and kept.

    Attributes
    ----------
    clip, shot : str, int
        Which it is.
    value : float
    statistic, critical : float
        Its distance from the mean in standard deviations, and the one that 5 % of normal
        samples pass.
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
class Landing:
    """Where the shots of a setup come down, ground coordinates (along, across) in m.

    Attributes
    ----------
    points : ndarray, shape (N, 2)
    half, most : Ellipse
        Regions that hold the next shot with 50 % and 95 %.
    median_miss_m : float
        Radius about the centre that half of the shots keep.
    extreme_spread_m : float
        Greatest distance between two of them.
    """

    points: np.ndarray
    half: Ellipse
    most: Ellipse
    median_miss_m: float
    extreme_spread_m: float


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
    weights : mapping of str to float
        Share of each outing in its shots.
    mean : Estimate or None
        With everything known; None for fewer than two shots.
    scatter : tuple of two floats, or None
        95 % limits of the standard deviation from shot to shot.
    next_shot : Estimate or None
        What the next shot will do.
    outlier : Outlier or None
    landing : Landing or None
        None for fewer than three landings.
    """

    name: str
    used: int
    rejected: int
    doubtful: int
    sample: Sample | None
    shared_u: float
    weights: dict[str, float]
    mean: Estimate | None
    scatter: tuple[float, float] | None
    next_shot: Estimate | None
    outlier: Outlier | None
    landing: Landing | None


def figure(shot: Shot, quantity: str) -> float | None:
    """Return a figure of a shot by its column, None where it is not to be used."""
    if shot.quality is Quality.REJECTED:
        return None
    value = getattr(shot, quantity)
    return None if value is None else float(value)


def own_u(shot: Shot, quantity: str) -> float | None:
    """Return the standard uncertainty of a figure by its column."""
    stem, unit = quantity.rsplit("_", 1)
    value = getattr(shot, f"{stem}_u_{unit}", None)
    return None if value is None else float(value)


def summarise(setup: SetupShots, quantity: str, level: float = 0.95) -> Summary:
    """Return one setup in figures.

    Parameters
    ----------
    setup : SetupShots
    quantity : str
        A column of shots.csv that has an uncertainty, ``"carry_m"`` for instance.
    level : float

    Notes
    -----
    The part of a row's standard uncertainty that differs from shot to shot shows in their
    scatter already; the part that all shots of an outing share is added to it. Where nobody
    told that part apart the whole counts as shared, which errs to the safe side.
    """
    shared_by = setup.shared or ({},) * len(setup.shots)
    kept = [
        (shot, occasion, value, shared.get(quantity))
        for shot, occasion, shared in zip(setup.shots, setup.occasions, shared_by, strict=True)
        if (value := figure(shot, quantity)) is not None
    ]
    values = np.array([value for _, _, value, _ in kept])
    doubtful = sum(shot.quality is Quality.CHECK for shot, *_ in kept)
    rejected = len(setup.shots) - len(kept)
    counted = Counter(occasion for _, occasion, *_ in kept)
    weights = {name: count / len(kept) for name, count in sorted(counted.items())}
    landing = _landing([shot for shot, *_ in kept])
    if not kept:
        return Summary(
            setup.name, 0, rejected, 0, None, 0.0, weights, None, None, None, None, landing
        )
    sample = sample_of(values)
    reported = [
        u
        for shot, *_, common in kept
        if (u := own_u(shot, quantity) if common is None else common) is not None
    ]
    # Outings have calibrations of their own: their errors average out by their weights.
    spread = math.sqrt(sum(weight**2 for weight in weights.values()))
    shared = float(np.median(reported)) * spread if reported else 0.0
    if not sample.scatters:
        return Summary(
            setup.name,
            1,
            rejected,
            doubtful,
            sample,
            shared,
            weights,
            None,
            None,
            None,
            None,
            landing,
        )
    ahead = sample.sd**2 * (1.0 + 1.0 / sample.count)
    next_shot = Estimate(
        sample.mean,
        math.sqrt(ahead + shared**2),
        welch_dof(((ahead, float(sample.dof)), (shared**2, math.inf))),
    )
    return Summary(
        setup.name,
        len(kept),
        rejected,
        doubtful,
        sample,
        shared,
        weights,
        mean_with_shared(sample, shared),
        scatter_interval(sample, level),
        next_shot,
        _outlier([shot for shot, *_ in kept], values),
        landing,
    )


def _outlier(shots: Sequence[Shot], values: np.ndarray) -> Outlier | None:
    test = grubbs(values)
    if test is None or not test.stands_out:
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


def _landing(shots: Sequence[Shot]) -> Landing | None:
    points = np.array(
        [
            (shot.landing_along_m, shot.landing_across_m)
            for shot in shots
            if shot.landing_along_m is not None and shot.landing_across_m is not None
        ],
        float,
    ).reshape(-1, 2)
    half, most = landing_region(points, 0.5), landing_region(points, 0.95)
    miss = median_miss(points)
    if half is None or most is None or miss is None:
        return None
    return Landing(points, half, most, miss, extreme_spread(points))
