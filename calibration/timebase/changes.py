"""How frames differ from those before them, and which of them are repeats."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

STILL_PEAK = 8.0
"""A picture that differs by no more than this many grey levels anywhere is the same picture."""

_REPEAT_SHARE = 0.1
"""Change of a repeated frame, as a share of that of the livelier frames around it."""

BLOCK = 4096
"""Frames that are looked at together: a minute, so that the memory of it does not grow with a clip.
"""

_REACH = 6
"""Frames on either side that count as around a frame."""


@dataclass(frozen=True)
class Changes:
    """How much each frame of a clip differs from those before it; NaN where unknown.

    Attributes
    ----------
    whole : ndarray, shape (N,)
        Mean absolute difference of luma to the frame before, grey levels.
    peaks : ndarray, shape (N,)
        Greatest absolute difference, grey levels.
    regions : ndarray, shape (N, B) or (R, B)
        Mean difference in parts of the picture, grain taken off; floats of any size.
    over_two : ndarray, shape (K, B)
        The same to the last new picture but one, for some of the frames: grain changes as much in
        two steps as in one, and what moves changes more.
    over_two_at : ndarray of int, shape (K,)
        The frames of `over_two`, in order.
    alone : ndarray of bool, shape (N,)
        True for a frame that was coded without others (a key frame): coding shows
        as a change of its own there.
    rows : ndarray of int, shape (N,), or None
        Row of each frame in `regions`, -1 where it has none; None where each has its own.
    """

    whole: Array
    peaks: Array
    regions: NDArray[np.floating]
    over_two: NDArray[np.float32]
    over_two_at: NDArray[np.int64]
    alone: Flags
    rows: NDArray[np.int32] | None = None

    def regions_at(self, frames: NDArray[np.int64]) -> NDArray[np.floating]:
        """Return the changes of some frames' regions, shape (K, B); NaN where unknown."""
        if self.rows is None:
            return self.regions[frames]
        rows = self.rows[frames]
        found = self.regions[rows]
        found[rows < 0] = np.nan
        return found


def find_repeats(whole: ArrayLike, peaks: ArrayLike) -> Flags:
    """Return which frames show the picture before them once more, shape (N,).

    A repeat changes less than a tenth as much as the livelier frames around it, and nowhere
    by more than what coding leaves. Parameters as in `check_cadence`.
    """
    change, peak = np.asarray(whole, float), np.asarray(peaks, float)
    usual, usual_peak = _lively(change), _lively(peak)
    with np.errstate(invalid="ignore"):
        still = (change < _REPEAT_SHARE * usual) & (usual_peak > 2.0 * STILL_PEAK)
        return still & (peak < np.maximum(STILL_PEAK, 0.2 * usual_peak))


def _lively(measure: Array) -> Array:
    """Return the 80th percentile of a measure among the frames around each, shape (N,)."""
    padded = np.pad(measure, _REACH, constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * _REACH + 1)
    lively = np.empty(len(measure))
    for first in range(0, len(measure), BLOCK):
        around = np.sort(windows[first : first + BLOCK], axis=1)
        known = np.isfinite(around).sum(axis=1)
        place = np.clip(np.round(0.8 * (known - 1)).astype(int), 0, None)
        lively[first : first + BLOCK] = around[np.arange(len(around)), place]
    return lively
