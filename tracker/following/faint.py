"""First guesses and refinement of flights of a faint ball, which shows in few of its frames.

Two cells of the ballot are a metre apart at 25 m, and several at 70 m: there hardly any candidate
of a true flight lies within the gate of the nearest cell, though they voted for it. What voted near
a peak is counted once more in finer bins of release time, angle and speed.
"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from tracker.following.hypothesis import Hypothesis, Pool, SearchContext, straight_flight
from tracker.following.plane import PlaneMap
from tracker.following.refinement import HELD, refine
from tracker.following.table import ANGLES_DEG, SPEEDS_MPS, FlightTable

Array = NDArray[np.float64]

REACH = (4, 2, 4)
"""How far around a peak flights are counted anew, in cells of release time, angle and speed: by so
much the peaks of true flights were off on foreign film."""

FINER = 4
"""Fine bins a cell, in each direction: 0.5°, 1 % of the speed, a quarter of a frame at 30 a second;
about the first gate at 60 m."""

HELD_SHARES = (HELD, 1.0)
"""Shares of the priors of drag and lift with which a guess is refined: at first, and where it stays
stuck, since a ball of strong spin leaves the straight flight by more than a gate."""

MOST_AGAIN, WORTHWHILE, LEAST_MORE = 3, 10.0, 0.5
"""Times that a refinement is repeated from a wide gate on, the support from which that is done, and
by how much it must grow."""


class FineStarts:
    """Counts the votes near peaks of the ballot in finer bins.

    Parameters
    ----------
    context : SearchContext
    table : FlightTable
    plane : PlaneMap
    bin_s : float
        Width of the ballot's bins of release time, s.
    """

    def __init__(
        self, context: SearchContext, table: FlightTable, plane: PlaneMap, bin_s: float
    ) -> None:
        self._context, self._table, self._plane = context, table, plane
        self._bin_s = bin_s

    def around(self, pool: Pool, cells: NDArray[np.int64], first: int) -> Iterator[Hypothesis]:
        """Yield a first guess near each peak, those with the most votes first.

        Parameters
        ----------
        pool : Pool
        cells : ndarray of int, shape (N, 3)
            Row of release time, counted from `first`, angle and speed of each peak.
        first : int
            Number of the ballot's row that is counted from.
        """
        places = self._plane.places(pool.pixels)
        good = np.isfinite(places[:, 0])
        release = self._context.release_m
        speed, since_s = self._table.look_up(places[good, 0] - release[0], places[good, 2])
        row = (pool.frame_times_s[pool.owner[good]][:, None] - since_s) / self._bin_s - 0.5 - first
        votes = pool.votes[good]
        found: dict[tuple[int, int, int], float] = {}
        for cell in cells:
            fine, count = _finest(row, speed, votes, cell)
            found[fine] = max(found.get(fine, 0.0), count)
        best = sorted(found, key=lambda fine: -found[fine])
        for fine in best:
            yield self._flight(np.array(fine) / FINER, first)

    def _flight(self, place: Array, first: int) -> Hypothesis:
        """Return the flight at a place between the cells: row, angle and speed."""
        release_s = float((first + place[0] + 0.5) * self._bin_s)
        angle = np.interp(place[1], np.arange(len(ANGLES_DEG)), ANGLES_DEG)
        speed = np.interp(place[2], np.arange(len(SPEEDS_MPS)), SPEEDS_MPS)
        return straight_flight(self._context, release_s, float(np.radians(angle)), float(speed))


def _finest(
    row: Array, speed: Array, votes: Array, cell: NDArray[np.int64]
) -> tuple[tuple[int, int, int], float]:
    """Return the fine bin near a cell that has the most votes, and their sum.

    Parameters
    ----------
    row, speed : ndarray, shape (M, angles)
        For which flight each candidate votes at each angle; NaN for none.
    votes : ndarray, shape (M,)
    cell : ndarray of int, shape (3,)
    """
    least, most = max(cell[1] - REACH[1], 0), min(cell[1] + REACH[1], len(ANGLES_DEG) - 1)
    some = slice(least, most + 1)
    down, right = row[:, some] - cell[0], speed[:, some] - cell[2]
    with np.errstate(invalid="ignore"):
        near = (np.abs(down) <= REACH[0] + 1) & (np.abs(right) <= REACH[2] + 1)
    voters = np.flatnonzero(np.any(near, axis=1))
    down, right, votes = down[voters], right[voters], votes[voters]
    # Between two angles of the table both go over into one another evenly.
    at = np.arange((most - least) * FINER + 1) / FINER
    lower = np.minimum(at.astype(int), max(most - least - 1, 0))
    share = at - lower
    upper = np.minimum(lower + 1, most - least)
    down = (1.0 - share) * down[:, lower] + share * down[:, upper]
    right = (1.0 - share) * right[:, lower] + share * right[:, upper]
    high, wide = 2 * REACH[0] * FINER + 1, 2 * REACH[2] * FINER + 1
    with np.errstate(invalid="ignore"):
        i, j = (
            np.rint((each + reach) * FINER) for each, reach in ((down, REACH[0]), (right, REACH[2]))
        )
        inside = (i >= 0) & (i < high) & (j >= 0) & (j < wide)
    voter, angle = np.nonzero(inside)
    place = (angle * high + i[inside].astype(np.int64)) * wide + j[inside].astype(np.int64)
    counts = np.bincount(place, votes[voter], minlength=len(at) * high * wide)
    counts = counts.reshape(len(at), high, wide)
    for axis in (1, 2):
        counts = counts + np.roll(counts, 1, axis) + np.roll(counts, -1, axis)
    best = np.unravel_index(int(np.argmax(counts)), counts.shape)
    fine = (
        int(FINER * (cell[0] - REACH[0]) + best[1]),
        int(FINER * least + best[0]),
        int(FINER * (cell[2] - REACH[2]) + best[2]),
    )
    return fine, float(counts[best])


def refine_thoroughly(
    context: SearchContext, pool: Pool, hypothesis: Hypothesis, gates_px: tuple[float, ...]
) -> Hypothesis:
    """Return the best flight that refinements with several priors, and repeated ones, lead to."""
    best = hypothesis
    for number, held in enumerate(HELD_SHARES):
        flight = refine(context, pool, hypothesis, gates_px, held)
        for _ in range(MOST_AGAIN):
            if flight.support < WORTHWHILE:
                break
            again = refine(context, pool, flight, gates_px, held)
            if again.support < flight.support + LEAST_MORE:
                break
            flight = again
        if number == 0 or flight.support > best.support:
            best = flight
    return best
