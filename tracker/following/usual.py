"""The votes that clutter alone gives to each flight of the table, at any time of a clip.

A flight collects votes only from the frames in which it is in view. One that is released near the
beginning or the end of a clip has fewer of them than one in its middle, so its share of frames,
the coverage, is part of what is usual.
"""

import numpy as np
from numpy.typing import NDArray

from tracker.following.hypothesis import SearchContext
from tracker.following.support import in_view
from tracker.following.table import STEP_S, FlightTable

Array = NDArray[np.float64]

NEW_WEIGHT = 0.4
"""Weight of a new block in the running mean of the usual votes (common practice, no source)."""

LEAST_COVERAGE = 0.5
"""Share of a cell's largest coverage below which a row says little of its usual votes (common
practice, no source)."""

EDGE_QUANTILE = 0.3
"""Quantile in place of the median where flights are filmed in part: a shot may then fill nearly
half of the rows that count (common practice, no source)."""


class UsualVotes:
    """Running mean of the median votes per covered frame, by launch angle and exit speed.

    Parameters
    ----------
    context : SearchContext
    table : FlightTable
    """

    def __init__(self, context: SearchContext, table: FlightTable) -> None:
        shape = table.states.shape[:3]
        points = table.states[..., :3].reshape(-1, 3).astype(float)
        aloft = np.flatnonzero(context.ground.above(points) > 0.0)
        shows = np.zeros(len(points), bool)
        shows[aloft] = in_view(context, points[aloft])[1]
        seen = shows.reshape(shape)
        never = ~np.any(seen, axis=0)
        first, last = np.argmax(seen, axis=0), shape[0] - 1 - np.argmax(seen[::-1], axis=0)
        # In view from half a node before the first to half a node after the last.
        self._enter_s = np.where(never, 0.0, table.times_s[first] - 0.5 * STEP_S)
        self._leave_s = np.where(never, STEP_S, table.times_s[last] + 0.5 * STEP_S)
        durations = (self._leave_s - self._enter_s)[~never]
        self.in_view_s = float(np.median(durations)) if durations.size else 0.0
        """Time for which a usual flight is in view, s."""
        self.leaves_s = float(self._leave_s.max())
        """Time after a release at which the last flight leaves the view, s."""
        self._rate: Array | None = None

    def coverage(self, release_s: Array, film_s: tuple[float, float]) -> Array:
        """Return the filmed share of each flight's time in view, shape (rows, angles, speeds).

        Parameters
        ----------
        release_s : ndarray, shape (rows,)
        film_s : (float, float)
            Times of the first and the last frame so far.
        """
        at = release_s[:, None, None]
        begin, end = at + self._enter_s, at + self._leave_s
        np.maximum(begin, film_s[0], out=begin)
        np.minimum(end, film_s[1], out=end)
        end -= begin
        np.maximum(end, 0.0, out=end)
        end /= self._leave_s - self._enter_s
        return end

    def whole(self, release_s: Array, film_s: tuple[float, float]) -> bool:
        """Return whether every flight released at these times is filmed from end to end."""
        starts = float(release_s[0] + self._enter_s.min()) >= film_s[0]
        return starts and float(release_s[-1] + self._leave_s.max()) <= film_s[1]

    def learn(self, votes: Array, release_s: Array, film_s: tuple[float, float]) -> None:
        """Take in the votes of some release times, shape (rows, angles, speeds)."""
        if self.whole(release_s, film_s):
            # A whole sort is quicker than a search for the middle.
            middle = np.sort(votes, axis=0)[(len(votes) - 1) // 2 : len(votes) // 2 + 1]
            fresh = np.asarray(middle.mean(axis=0), float)
        else:
            coverage = self.coverage(release_s, film_s)
            counts = coverage >= np.maximum(LEAST_COVERAGE * coverage.max(axis=0), 1e-6)
            rates = np.where(counts, votes / np.maximum(coverage, 1e-6), np.inf)
            place = (EDGE_QUANTILE * np.sum(counts, axis=0)).astype(int)
            fresh = np.take_along_axis(np.sort(rates, axis=0), place[None], axis=0)[0]
            known = 0.0 if self._rate is None else self._rate
            fresh = np.where(np.isfinite(fresh), fresh, known)
        if self._rate is None:
            self._rate = fresh
        else:
            self._rate = (1.0 - NEW_WEIGHT) * self._rate + NEW_WEIGHT * fresh

    def expected(self, release_s: Array, film_s: tuple[float, float]) -> Array:
        """Return the usual votes, shape (rows, angles, speeds) or (1, angles, speeds)."""
        assert self._rate is not None
        if self.whole(release_s, film_s):
            return self._rate[None]
        return self._rate * self.coverage(release_s, film_s)
