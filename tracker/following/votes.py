"""Votes for flights, kept in a ring for as long as a flight can last."""

import numpy as np
from numpy.typing import NDArray

from tracker.following.support import SEEN_CHANCE
from tracker.following.table import ANGLES_DEG, SPEEDS_MPS

Array = NDArray[np.float64]

SPARE_ROWS = 8
"""Rows of the ring beside those of its span: votes and sums reach into neighbouring rows."""


VOTES_GATE_PX, VOTES = 6.0, (0.2, 6.0)
"""Radius (px) within which clutter competes with a candidate for its votes, and bounds of those."""


def votes_of(clutter: Array, crowd: Array) -> Array:
    """Return the votes of candidates, shape (N,): more where clutter is rare.

    Candidates that crowd share the votes of one: a person else outvotes a ball.

    Parameters
    ----------
    clutter : ndarray, shape (N,)
        Density of clutter at each, per pixel and frame.
    crowd : ndarray, shape (N,)
        Candidates near each, itself included.
    """
    gate = np.pi * VOTES_GATE_PX**2
    votes: Array = np.clip(np.log(SEEN_CHANCE / (gate * clutter)), *VOTES) / crowd
    return votes


class Ballot:
    """Votes by time of release, launch angle and exit speed, in a ring over the time.

    Parameters
    ----------
    bin_s : float
        Width of a bin of release time.
    span_s : float
        Time that the ring must cover.
    """

    def __init__(self, bin_s: float, span_s: float) -> None:
        self.bin_s = bin_s
        self._rows = int(np.ceil(span_s / bin_s)) + SPARE_ROWS
        self._votes = np.zeros((self._rows, len(ANGLES_DEG), len(SPEEDS_MPS)), np.float32)

    @property
    def span(self) -> int:
        """Rows that the ring holds beside one on either side."""
        return self._rows - SPARE_ROWS

    def row_of(self, time_s: float) -> int:
        """Return the number of the bin that holds a release time."""
        return int(np.floor(time_s / self.bin_s))

    def cast(
        self, release_s: Array, speed_index: Array, weight: Array, first: int | None = None
    ) -> None:
        """Add votes, spread linearly over the two nearest bins of time and of speed.

        Parameters
        ----------
        release_s, speed_index : ndarray, shape (N, angles)
            NaN where a candidate has no flight at that angle.
        weight : ndarray, shape (N,)
        first : int, optional
            Bins before this one were cleared: their rows of the ring belong to later ones.
        """
        at_row = release_s / self.bin_s - 0.5
        known = np.isfinite(at_row) & np.isfinite(speed_index)
        candidate, angle = np.nonzero(known)
        at_row, at_speed = at_row[known], speed_index[known]
        row, speed = np.floor(at_row).astype(np.int64), np.floor(at_speed).astype(np.int64)
        by_row, by_speed = at_row - row, at_speed - speed
        votes = weight[candidate]
        count = len(SPEEDS_MPS)
        base = np.int64(len(ANGLES_DEG) * count)
        flat = self._votes.reshape(-1)
        cells, shares = [], []
        for down, share_row in ((0, 1.0 - by_row), (1, by_row)):
            start = ((row + down) % self._rows) * base + angle * count
            share = votes * share_row
            if first is not None:
                share = np.where(row + down >= first, share, 0.0)
            for right, share_speed in ((0, 1.0 - by_speed), (1, by_speed)):
                cells.append(start + np.minimum(speed + right, count - 1))
                shares.append(share * share_speed)
        np.add.at(flat, np.concatenate(cells), np.concatenate(shares).astype(np.float32))

    def block(self, first: int, last: int) -> Array:
        """Return the votes of bins `first` to `last`, summed over neighbouring cells."""
        rows = np.arange(first - 1, last + 2) % self._rows
        votes = self._votes[rows].astype(float)
        wide = np.empty_like(votes)
        for axis in range(3):
            _spread(votes, axis, wide)
            votes, wide = wide, votes
        return votes[1:-1]

    def clear(self, first: int, last: int) -> None:
        """Set the votes of bins `first` to `last` to zero, so that the ring can be used again."""
        self._votes[np.arange(first, last + 1) % self._rows] = 0.0


def _spread(votes: Array, axis: int, wide: Array) -> None:
    """Put each cell with its two neighbours along an axis added into `wide`.

    Arrays of this size are handed in, since fresh ones cost page faults.
    """
    ahead: list[slice] = [slice(None)] * votes.ndim
    behind = list(ahead)
    ahead[axis], behind[axis] = slice(1, None), slice(None, -1)
    np.copyto(wide, votes)
    wide[tuple(behind)] += votes[tuple(ahead)]
    wide[tuple(ahead)] += votes[tuple(behind)]
