"""Means of many machines at once, for maps and for settings that are searched."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tracker.comparison.built import Setup
from tracker.comparison.knowledge import Knowledge
from tracker.launcher.carry import carries_of
from tracker.launcher.machine import Machine
from tracker.launcher.prediction import exit_draws
from tracker.statistics.components import Estimate

Array = NDArray[np.float64]

THINNED = 4
"""One draw in this many is taken: a mean is then known to a ninth of its uncertainty, which a map
and a search do not show."""


def mean_speeds(known: Knowledge, machines: Sequence[Machine]) -> tuple[Array, Array]:
    """Return mean and standard deviation of the exit speeds that get through."""
    draws, _ = exit_draws(machines, known.posterior().thinned(THINNED))
    out = np.where(draws > 0.0, draws, np.nan)
    through = (draws > 0.0).mean(axis=0) > 0.5
    means, deviations = np.full((2, len(machines)), np.nan)
    means[through] = np.nanmean(out[:, through], axis=0)
    deviations[through] = np.nanstd(out[:, through], axis=0)
    return means, deviations


def mean_carries(known: Knowledge, base: Setup, speeds: Array, u: Array) -> tuple[Array, Array]:
    """Return the carries of exit speeds, corrected by the measured ones, and their uncertainty.

    All flights in one integration; the uncertainty of the speed by a second one, that of the
    flight model by the scatter of the measured ratios.
    """
    outdoors, release = base.outdoors, base.outdoors.release
    assert release is not None
    values, deviations = np.full((2, speeds.size), np.nan)
    good = np.isfinite(speeds)
    if not good.any():
        return values, deviations
    both = np.concatenate((speeds[good], speeds[good] + u[good]))
    flown = carries_of(both, [release] * both.size, outdoors.ball, outdoors.air)
    middle, more = np.split(flown, 2)
    factor = known.ratios.factor() or Estimate(1.0, 0.0)
    values[good] = factor.value * middle
    deviations[good] = np.hypot(factor.value * (more - middle), factor.u * middle)
    return values, deviations
