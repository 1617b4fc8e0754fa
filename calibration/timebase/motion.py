"""Excess of motion of single steps of a clip over their neighbours, and its fit."""

from dataclasses import dataclass, replace
from typing import Self

import numpy as np
from numpy.typing import NDArray

from calibration.timebase.changes import BLOCK, Changes

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.int64]

_MOVING = 1.1
"""Ratio of the change over two steps to that over one above which a region moves. No unit."""


@dataclass(frozen=True)
class Motion:
    """Relative excess of motion of each step, and its weight.

    `growth` is the ratio of the change over two steps to that over one.
    """

    excess: Array
    weight: Array
    growth: float

    def within(self, places: Indices | slice) -> Self:
        """Return the part at some places."""
        return replace(self, excess=self.excess[places], weight=self.weight[places])

    def expected(self, gaps: Array) -> Array:
        """Return the excess that steps of the given lengths would show in steady motion."""
        change = 1.0 + (self.growth - 1.0) * (gaps - 1.0)
        before, after = np.roll(change, 1), np.roll(change, -1)
        excess = (change - 0.5 * (before + after)) / (before + change + after)
        excess[[0, -1]] = 0.0
        return excess


def motion_of(changes: Changes, kept: Indices) -> Motion:
    """Return relative excess of motion of each kept step over the mean of its two neighbours.

    In every region: ``(z[k] - (z[k-1] + z[k+1]) / 2) / (z[k-1] + z[k] + z[k+1])``, z being the
    change; 1/4 for a step twice as long, 0 for steady motion. Regions
    in which two steps change no more than one hold grain or flicker, and do not count.
    """
    growth = _growth(changes, kept)
    coding = _coding_shows(changes.alone[kept])
    excess, weight = np.zeros(len(coding)), np.zeros(len(coding))
    by_region = np.zeros(len(growth))
    for first in range(0, len(coding), BLOCK):
        steps = slice(first, first + BLOCK)
        change = changes.regions_at(kept[first : first + BLOCK + 2]).astype(float)
        total = change[:-2] + change[1:-1] + change[2:]
        bulge = change[1:-1] - 0.5 * (change[:-2] + change[2:])
        live = np.isfinite(total) & (total > 0.05) & (growth > _MOVING) & ~coding[steps, None]
        weights = np.where(live, np.sqrt(np.where(live, total, 0.0)), 0.0)
        relative = np.where(live, bulge / np.where(live, total, 1.0), 0.0)
        weight[steps] = weights.sum(axis=1)
        by_region += weights.sum(axis=0)
        excess[steps] = (relative * weights).sum(axis=1)
    if not (weight > 0).any():
        return Motion(np.zeros(len(kept)), np.zeros(len(kept)), 2.0)
    excess /= np.where(weight > 0, weight, 1.0)
    usual = float(np.average(growth, weights=by_region))
    # One lively moment must not outweigh the rest of the clip.
    capped = np.minimum(weight, np.median(weight[weight > 0]))
    return Motion(np.pad(excess, 1), np.pad(capped, 1), min(usual, 2.0))


def _coding_shows(alone: Flags) -> Flags:
    """Return for all but the first and last step whether it or a neighbour leads to a key frame.

    Where nearly all frames are key frames, coding is the same throughout; where they are merely
    frequent, their own beat hides any other.
    """
    share = alone.mean()
    if share > 0.9:
        return np.zeros(len(alone) - 2, dtype=bool)
    if share > 0.1:
        return np.ones(len(alone) - 2, dtype=bool)
    return alone[:-2] | alone[1:-1] | alone[2:]


def _growth(changes: Changes, kept: Indices) -> Array:
    """Return how much more each region changes in two steps than in one, shape (B,)."""
    latter, former = kept[1:], kept[:-1]
    place = np.searchsorted(changes.over_two_at, latter)
    known = np.append(changes.over_two_at, -1)[place] == latter
    ends = [changes.regions_at(side[known]) for side in (latter, former)]
    both = np.isfinite(ends[0][:, 0]) & np.isfinite(ends[1][:, 0])
    one = ends[0][both].sum(axis=0, dtype=np.float32) + ends[1][both].sum(axis=0, dtype=np.float32)
    two = changes.over_two[place[known][both]].sum(axis=0)
    return np.where(one > 0, 2.0 * two / np.where(one > 0, one, 1.0), 0.0).astype(float)


@dataclass(frozen=True)
class Fit:
    """How well steps of given lengths explain the motion: gain 1 if wholly, 0 if not at all."""

    gain: float
    t: float
    log_rest: float

    @property
    def u(self) -> float:
        """Standard uncertainty of the gain."""
        return self.gain / self.t if self.t else np.inf


NO_FIT = Fit(0.0, 0.0, 0.0)


def fit_gaps(motion: Motion, gaps: Array) -> Fit:
    """Fit the gain by weighted least squares, with a variance for uneven scatter.

    Source of the variance: White (1980), Econometrica 48, 817.
    """
    weight = motion.weight
    if weight.sum() <= 0:
        return NO_FIT
    expected = motion.expected(gaps)
    expected = expected - np.average(expected, weights=weight)
    seen = motion.excess - np.average(motion.excess, weights=weight)
    power = (weight * expected**2).sum()
    if power <= 0:
        return NO_FIT
    gain = (weight * expected * seen).sum() / power
    rest = seen - gain * expected
    variance = ((weight * expected * rest) ** 2).sum() / power**2
    least = 1e-12 + 1e-4 * (weight * seen**2).sum() / power
    log_rest = float(np.log((weight * rest**2).sum() / (weight * seen**2).sum() + 1e-12))
    return Fit(float(gain), float(gain / np.sqrt(variance + least)), log_rest)
