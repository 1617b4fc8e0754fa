"""Cells of the ballot to try: the peaks of its votes, and the support of their flights."""

import numpy as np
from numpy.typing import NDArray

from tracker.following.hypothesis import Pool, SearchContext
from tracker.following.support import chance_and_miss, in_view, log_ratio
from tracker.following.table import FlightTable

Array = NDArray[np.float64]

LEAST_SIGNIFICANCE = 1.0
"""Standard deviations by which the votes of a cell must exceed the usual ones: where much moves,
those of a true flight hardly do, and only the support decides."""

MOST_STARTS = (48, 16)
"""Cells tried per block of release times in each round: those with the largest excess of votes,
which a whole flight has, and those of the largest significance, which a short view of one has."""

VOTE_VARIANCE, QUIET_VARIANCE = 6.0, 40.0
"""Variance of the votes over their mean, since a candidate casts up to six, and the variance where
none are usual: that of some seven candidates, votes squared."""


class TableFlights:
    """The flights of the table: straight down the firing line, by launch angle and exit speed.

    Parameters
    ----------
    context : SearchContext
    table : FlightTable
    """

    def __init__(self, context: SearchContext, table: FlightTable) -> None:
        self._context, self._table = context, table
        down = context.ground.above(table.states) < 0.0
        first = np.where(np.any(down, axis=0), np.argmax(down, axis=0), len(down) - 1)
        self._ends_s = table.times_s[first]

    def support(
        self,
        pool: Pool,
        angles: NDArray[np.int64],
        speeds: NDArray[np.int64],
        release_s: Array,
        gate_px: float,
    ) -> tuple[Array, NDArray[np.int64], NDArray[np.int64]]:
        """Return support, hits and frames in view, each shape (N,), as `support.score` gives them.

        Parameters
        ----------
        pool : Pool
        angles, speeds : ndarray of int, shape (N,)
            Cells: indices into `table.ANGLES_DEG` and `table.SPEEDS_MPS`.
        release_s : ndarray, shape (N,)
        gate_px : float
        """
        count = len(angles)
        chance, miss = chance_and_miss(self._context)
        times = pool.frame_times_s - release_s[:, None]
        flight, frame = np.nonzero(
            (times >= 0.0) & (times <= self._ends_s[angles, speeds][:, None])
        )
        path, shows = self._positions(angles[flight], speeds[flight], times[flight, frame])
        flight, frame, path = flight[shows], frame[shows], path[shows]
        in_view = np.bincount(flight, minlength=count).astype(np.int64)
        row, pair = _in_reach(pool, frame, path[:, 0], gate_px)
        gap = pool.pixels[row] - path[pair]
        squared = gap[:, 0] ** 2 + gap[:, 1] ** 2
        near = np.flatnonzero(squared < gate_px**2)
        pair = pair[near]
        gains = log_ratio(squared[near], gate_px, pool.clutter[row[near]], chance)
        if not len(pair):
            return np.asarray(miss * in_view, float), np.zeros(count, np.int64), in_view
        start = np.flatnonzero(np.diff(pair, prepend=-1))
        best = np.maximum(np.maximum.reduceat(gains, start), miss)
        owner = flight[pair[start]]
        hits = np.bincount(owner, minlength=count).astype(np.int64)
        support = np.bincount(owner, best, minlength=count) + miss * (in_view - hits)
        return np.asarray(support, float), hits, in_view

    def _positions(
        self, angles: NDArray[np.int64], speeds: NDArray[np.int64], times_s: Array
    ) -> tuple[Array, NDArray[np.bool_]]:
        """Return where flights are at some times, shape (M, 2), and whether they are in view."""
        nodes, states = self._table.times_s, self._table.states
        step = float(nodes[1] - nodes[0])
        place = np.minimum((times_s / step).astype(int), len(nodes) - 2)
        s = (times_s / step - place)[:, None]
        before = states[place, angles, speeds].astype(float)
        after = states[place + 1, angles, speeds].astype(float)
        # The cubic through both nodes' positions and velocities is right to a millimetre.
        bend = 2.0 * (before[:, :3] - after[:, :3]) + step * (before[:, 3:] + after[:, 3:])
        swing = after[:, :3] - before[:, :3] - step * before[:, 3:] - bend
        points = before[:, :3] + s * (step * before[:, 3:] + s * (swing + s * bend))
        return in_view(self._context, points)


def _in_reach(
    pool: Pool, frame: NDArray[np.int64], column: Array, reach_px: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the candidates whose column is near to one of some places in their frame.

    Parameters
    ----------
    pool : Pool
    frame, column : ndarray, shape (N,)
        Of each place.
    reach_px : float

    Returns
    -------
    row, pair : ndarray of int, shape (P,)
        Candidate and place, in the order of the places; some pairs may be a little farther apart.
    """
    # One search for all: each frame's columns lie beyond those of the frame before.
    columns = pool.pixels[:, 0]
    least, most = (columns.min(), columns.max()) if len(columns) else (0.0, 0.0)
    apart = float(most - least) + 4.0 * reach_px + 4.0
    line = pool.owner * apart + (columns - least)
    order = np.argsort(line, kind="stable")
    line = line[order]
    at = frame * apart + np.clip(column - least, -2.0 * reach_px, apart - 2.0 * reach_px)
    first = np.searchsorted(line, at - reach_px - 1e-6)
    number = np.searchsorted(line, at + reach_px + 1e-6, side="right") - first
    pair = np.repeat(np.arange(len(frame)), number)
    row = np.arange(len(pair)) + np.repeat(first - np.cumsum(number) + number, number)
    return order[row], pair


def peaks(excess: Array, usual: Array) -> NDArray[np.int64]:
    """Return the cells of a ballot to try, shape (N, 3): local maxima of its votes.

    A moving thing has a ridge of votes from end to end; only its peaks are tried, or the others
    would get no turn.

    Parameters
    ----------
    excess : ndarray, shape (rows, angles, speeds)
        Votes beyond the usual ones.
    usual : ndarray, shape (rows or 1, angles, speeds)
    """
    significance = _significance(excess, usual)
    cells = []
    for votes, most in zip((excess, significance), MOST_STARTS, strict=True):
        at = np.argwhere((votes >= _local_maximum(votes)) & (significance > LEAST_SIGNIFICANCE))
        cells.append(at[np.argsort(-votes[tuple(at.T)], kind="stable")[:most]])
    every = np.concatenate(cells)
    return every[np.sort(np.unique(every, axis=0, return_index=True)[1])]


def _local_maximum(votes: Array) -> Array:
    """Return the largest of the 5 by 5 by 5 cells around each."""
    votes, wide = votes.copy(), np.empty_like(votes)
    for axis in (0, 0, 1, 1, 2, 2):
        ahead: list[slice] = [slice(None)] * votes.ndim
        behind = list(ahead)
        ahead[axis], behind[axis] = slice(1, None), slice(None, -1)
        np.copyto(wide, votes)
        np.maximum(wide[tuple(behind)], votes[tuple(ahead)], out=wide[tuple(behind)])
        np.maximum(wide[tuple(ahead)], votes[tuple(behind)], out=wide[tuple(ahead)])
        votes, wide = wide, votes
    return votes


def _significance(excess: Array, usual: Array) -> Array:
    """Return by how many standard deviations votes exceed the usual ones."""
    return excess / np.sqrt(VOTE_VARIANCE * np.maximum(usual, 0.0) + QUIET_VARIANCE)
