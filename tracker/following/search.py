"""Search for every flight from the release point in a stream of candidates."""

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from tracker.following.clutter import ClutterMap, crowding
from tracker.following.faint import FineStarts, refine_thoroughly
from tracker.following.hypothesis import Hypothesis, Pool, SearchContext, straight_flight
from tracker.following.path_starts import SHORT_S, PathStarts
from tracker.following.plane import PlaneMap
from tracker.following.refinement import refine
from tracker.following.starts import TableFlights, peaks
from tracker.following.straight import goes_straight
from tracker.following.support import score
from tracker.following.table import ANGLES_DEG, LONGEST_S, SPEEDS_MPS, build_table
from tracker.following.usual import UsualVotes
from tracker.following.verdict import LEAST_HITS, extent_of, is_twin, px_per_m, shortfall
from tracker.following.votes import Ballot, votes_of
from tracker.records import Candidates, Reason, ReasonCode

Array = NDArray[np.float64]

GATES_M = (1.1, 0.55, 0.28, 0.16)
GATES_PX = (5.0, 140.0)
"""How far a candidate may lie from a hypothesis while the gate closes: m on the plane of the firing
line, with bounds in px. The table's cells are about a metre wide at 25 m."""

WORST = -0.95
"""Log-likelihood ratio for each frame in view below which a start is not refined. Chance gives -0.5
to -1.2; in clutter a true start some frames off gives -0.9 until it is refined."""

MOST_TRIES, MOST_FAINT_TRIES = 8, 10
"""Starts that are refined in each round, and those where faint balls are looked for: there a true
flight was the seventh at the latest, on eight foreign shots."""

MOST_FLOWN = 512
"""Flights of the table's cells that are kept, 11 MB with their sensitivities, which a long clip
reaches after some minutes; all of them would take 60."""

MOST_ROUNDS = 12
"""Flights looked for in each block of release times."""

WHOLE_SHARE = 0.85
"""A flight supported in this share of the frames in view ends the round: a refinement that got
stuck beside the true flight, with a part of its candidates, has less. It is refined more thoroughly
when no start led to a better one: of a foreign hand-held shot the first 14 of 56 frames were lost
else, and its speed was off by three standard uncertainties."""

BLOCK_S = 1.0
"""Release times that are settled at once, s."""

BINS_S = (1e-3, 1.0 / 50.0)
BINS_A_FLIGHT = 60.0
"""Bounds of the width of a bin of release time, s, and least number of bins in a flight. The lower
bound keeps the ballot small where only centimetres of the firing line are in view."""

EARLY_S = 1.0
"""How long before the first frame a release may lie, s: its flight is then seen from mid-air on."""

KEPT_S = 1.5
"""How long before the next block candidates are kept, s: a block, and half a second before a
release."""

TOGETHER = 8
"""Frames whose votes are cast at once: a call costs more than its additions."""


@dataclass(frozen=True)
class _Kept:
    """One frame's candidates, their clutter and votes, and which belong to a flight found."""

    candidates: Candidates
    clutter: Array
    votes: Array
    taken: NDArray[np.bool_]


class FlightSearch:
    """Turns frames' candidates, given one by one, into flights.

    Parameters
    ----------
    context : SearchContext
    """

    def __init__(self, context: SearchContext) -> None:
        self._context = context
        farthest, highest = extent_of(context)
        self._table = build_table(
            context.release_m, context.drag, context.forces, farthest, highest, context.wind_mps
        )
        self._table_flights = TableFlights(context, self._table)
        times = self._table.cells[:, :, 1]
        longest = float(np.max(times, where=np.isfinite(times), initial=0.0)) or LONGEST_S
        self._longest = min(LONGEST_S, longest)
        bin_s = max(context.frame_s, min(BINS_S[1], self._longest / BINS_A_FLIGHT), BINS_S[0])
        self._ballot = Ballot(bin_s, self._longest + 2.0 * BLOCK_S + 1.0)
        self._block_rows = max(1, int(BLOCK_S / bin_s))
        self._kept: deque[_Kept] = deque()
        scale = px_per_m(context, farthest)
        self._gates_px = tuple(float(np.clip(gate * scale, *GATES_PX)) for gate in GATES_M)
        self._recent: list[Hypothesis] = []
        self._flown: dict[tuple[int, int], Hypothesis] = {}
        self._plane = PlaneMap(context.camera, context.release_m)
        self._clutter = ClutterMap(context.camera.size_px)
        self._waiting: list[tuple[Array, Array, Array]] = []
        self._next_row: int | None = None
        self._now = 0.0
        self._usual = UsualVotes(context, self._table)
        # Every flight of a block has then been filmed from end to end: the block alone says what
        # is usual, and the rows after it, five times as many, need not be asked.
        latest = self._longest, self._longest + BLOCK_S
        self._settled_s = float(np.clip(self._usual.leaves_s, *latest))
        self._began: float | None = None
        short = 0.0 < self._usual.in_view_s < SHORT_S
        self._paths = PathStarts(context, self._plane) if short else None
        self._between: FineStarts | None = None
        if context.faint:
            self._between = FineStarts(context, self._table, self._plane, self._ballot.bin_s)
        self.rejected_candidates: list[tuple[Hypothesis, Reason]] = []
        """The best-supported hypothesis of each block that is no shot, and why."""

    def push(self, candidates: Candidates) -> list[Hypothesis]:
        """Take the next frame's candidates; return flights whose time is complete.

        The candidates of a flight are kept until the next frame is given.
        """
        self._forget()
        found = self._after_gap(candidates.time_s)
        clutter = self._clutter.density(candidates)
        if self._paths is not None:
            self._paths.push(candidates)
        if self._next_row is None:
            early = min(EARLY_S, self._longest + self._ballot.bin_s)
            self._next_row = self._ballot.row_of(candidates.time_s - early)
            self._began = candidates.time_s
        crowd = crowding(candidates.pixels, 0.5 * self._gates_px[0])
        votes = votes_of(clutter, crowd)
        # Where a person walks, one of their many candidates is near any flight that passes.
        clutter = clutter + (crowd - 1.0) / self._gates_px[0] ** 2
        taken = np.zeros(len(candidates.pixels), bool)
        self._kept.append(_Kept(candidates, clutter, votes, taken))
        self._waiting.append((np.full(len(votes), candidates.time_s), candidates.pixels, votes))
        if len(self._waiting) >= TOGETHER:
            self._cast_all()
        self._now = candidates.time_s
        done = self._ballot.row_of(self._now - self._settled_s) - 2
        if (done - self._next_row) * self._ballot.bin_s < BLOCK_S:
            return found
        return found + self._settle(done)

    def finish(self) -> Iterator[list[Hypothesis]]:
        """Yield the flights that are left when the clip has ended, block by block.

        The candidates of a flight are kept until the next block is asked for.
        """
        for found in self._blocks():
            yield found
            self._forget()

    def candidates(self, hypothesis: Hypothesis, margin_s: float = 0.5) -> list[Candidates]:
        """Return the kept candidates of the frames during a flight and a while about it."""
        start = hypothesis.release_s - margin_s
        end = hypothesis.release_s + float(hypothesis.trajectory.times_s[-1]) + margin_s
        return [kept.candidates for kept in self._kept if start <= kept.candidates.time_s <= end]

    def _after_gap(self, time_s: float) -> list[Hypothesis]:
        """Settle what the time since the last frame has decided.

        That is all that is open where no flight can span that time, and else what is so long ago
        that the ballot has no row for it beside the new frame's.
        """
        if self._next_row is None:
            return []
        if time_s - self._now > self._longest + BLOCK_S:
            found = [flight for block in self._blocks() for flight in block]
            self._next_row = None
            return found
        found = []
        done = self._ballot.row_of(time_s - self._longest) - 2
        while self._ballot.row_of(time_s) - self._next_row > self._ballot.span:
            found += self._settle(min(self._next_row + self._block_rows, done))
        return found

    def _blocks(self) -> Iterator[list[Hypothesis]]:
        """Settle the release times up to the last frame, block by block."""
        if self._next_row is None:
            return
        if self._paths is not None:
            self._paths.finish()
        last = self._ballot.row_of(self._now) + 1
        while self._next_row <= last:
            yield self._settle(min(self._next_row + self._block_rows, last))

    def _forget(self) -> None:
        """Drop the candidates that no open flight can need."""
        if self._next_row is None:
            return
        horizon = self._next_row * self._ballot.bin_s - KEPT_S
        while self._kept and self._kept[0].candidates.time_s < horizon:
            self._kept.popleft()

    def _cast(self, times_s: Array, pixels: Array, votes: Array) -> None:
        """Cast the votes of candidates, one a row."""
        places = self._plane.places(pixels)
        good = np.isfinite(places[:, 0])
        speed, time = self._table.look_up(
            places[good, 0] - self._context.release_m[0], places[good, 2]
        )
        assert self._next_row is not None
        self._ballot.cast(times_s[good, None] - time, speed, votes[good], self._next_row)

    def _cast_all(self) -> None:
        """Cast the votes that wait."""
        if self._waiting:
            times, pixels, votes = (
                np.concatenate(each) for each in zip(*self._waiting, strict=True)
            )
            self._waiting.clear()
            self._cast(times, pixels, votes)

    def _settle(self, last: int) -> list[Hypothesis]:
        """Decide on all flights released in the rows up to `last`, and clear those rows."""
        assert self._next_row is not None
        self._cast_all()
        first = self._next_row
        found = []
        rejected: list[tuple[Hypothesis, Reason]] = []
        votes, usual = self._votes(first, last)
        everything = self._pool()
        free = ~np.concatenate([kept.taken for kept in self._kept])
        for _ in range(MOST_ROUNDS):
            pool = everything.part(free)
            starts = self._starts(pool, first, votes - usual, usual)
            flight = self._best_of(pool, starts, rejected)
            if flight is None:
                break
            self._take(pool, flight, free)
            votes = self._ballot.block(first, last)
            if not is_twin(self._context, flight, self._recent, self._gates_px[0]):
                found.append(flight)
                self._recent = [*self._recent[-7:], flight]
        if rejected:
            best, lack = max(rejected, key=lambda pair: pair[0].support)
            self.rejected_candidates.append((_only_path(best), lack))
        self._ballot.clear(first, last)
        self._next_row = last + 1
        return sorted(found, key=lambda flight: flight.release_s)

    def _votes(self, first: int, last: int) -> tuple[Array, Array]:
        """Return the votes of some rows, and those without a shot.

        Shapes (rows, angles, speeds) and (rows or 1, angles, speeds).
        """
        assert self._began is not None
        film_s = self._began, self._now
        rows = self._release_s(first, last)
        # Near an end of the film the block alone says little: look as far ahead as votes go.
        ahead = last if self._usual.whole(rows, film_s) else self._ballot.row_of(self._now)
        ahead = min(max(ahead, last), first + self._ballot.span)
        block = self._ballot.block(first, ahead)
        self._usual.learn(block, self._release_s(first, ahead), film_s)
        return block[: last - first + 1], self._usual.expected(rows, film_s)

    def _release_s(self, first: int, last: int) -> Array:
        """Return the release times of rows of the ballot, shape (rows,)."""
        times: Array = np.arange(first + 0.5, last + 1.0) * self._ballot.bin_s
        return times

    def _best_of(
        self, pool: Pool, starts: Iterator[Hypothesis], rejected: list[tuple[Hypothesis, Reason]]
    ) -> Hypothesis | None:
        """Return the best-supported flight that the starts refine to, or None.

        Those that are no shot are added to `rejected`, with what they lack.
        """
        found: Hypothesis | None = None
        faint = self._context.faint
        refined = refine_thoroughly if faint else refine
        for start in islice(starts, MOST_FAINT_TRIES if faint else MOST_TRIES):
            flight = refined(self._context, pool, start, self._gates_px)
            lack = shortfall(flight, faint)
            if lack is None and goes_straight(pool, flight, self._gates_px[-1]):
                lack = Reason(ReasonCode.RUNS_ON)
            if lack is not None:
                best = max(start, flight, key=lambda each: each.support)
                rejected.append((best, shortfall(best, faint) or lack))
            elif found is None or flight.support > found.support:
                found = flight
            if found is not None and found.hits >= WHOLE_SHARE * found.in_view:
                return found
        return found if found is None or faint else self._freed(pool, found)

    def _freed(self, pool: Pool, found: Hypothesis) -> Hypothesis:
        """Return the flight that one which lacks many of its frames was stuck beside, if any.

        That one is seen nearly all the way: of a ball that shows in few frames, more freedom
        gathers clutter.
        """
        flight = refine_thoroughly(self._context, pool, found, self._gates_px)
        whole = flight.hits >= WHOLE_SHARE * flight.in_view
        if not whole or flight.support <= found.support or shortfall(flight) is not None:
            return found
        return found if goes_straight(pool, flight, self._gates_px[-1]) else flight

    def _starts(self, pool: Pool, first: int, excess: Array, usual: Array) -> Iterator[Hypothesis]:
        """Yield the flights of cells that are worth a refinement, best first.

        The one with the largest support and the one with the most votes take turns: through
        clutter a start some pixels off has little support, and has its votes all the same.
        """
        if self._paths is not None and len(pool.owner):
            bin_s = self._ballot.bin_s
            yield from self._paths.between(first * bin_s, (first + len(excess)) * bin_s)
        chosen = peaks(excess, usual) if len(pool.owner) else np.zeros((0, 3), np.int64)
        if not len(chosen):
            return
        if self._between is not None:
            yield from self._between.around(pool, chosen, first)
            return
        rows, angles, speeds = chosen.T
        release_s = (first + rows + 0.5) * self._ballot.bin_s
        support, hits, in_view = self._table_flights.support(
            pool, angles, speeds, release_s, self._gates_px[0]
        )
        worth_it = (hits >= LEAST_HITS) & (support >= WORST * in_view)
        orders = np.argsort(-support, kind="stable"), np.arange(len(chosen))
        turns = [order[worth_it[order]] for order in orders]
        for best in dict.fromkeys(np.column_stack(turns).ravel().tolist()):
            yield replace(
                self._flight(int(angles[best]), int(speeds[best])),
                release_s=float(release_s[best]),
                support=float(support[best]),
                hits=int(hits[best]),
                in_view=int(in_view[best]),
            )

    def _flight(self, angle: int, speed: int) -> Hypothesis:
        """Return the flight of a cell of the ballot; those used last are kept."""
        flight = self._flown.pop((angle, speed), None)
        if flight is None:
            flight = straight_flight(
                self._context, 0.0, float(np.radians(ANGLES_DEG[angle])), float(SPEEDS_MPS[speed])
            )
        self._flown[angle, speed] = flight
        if len(self._flown) > MOST_FLOWN:
            del self._flown[next(iter(self._flown))]
        return flight

    def _pool(self) -> Pool:
        """Return all candidates that are kept, taken or not."""
        kept = self._kept
        counts = [len(each.clutter) for each in kept]
        return Pool(
            np.array([each.candidates.frame for each in kept]),
            np.array([each.candidates.time_s for each in kept]),
            np.repeat(np.arange(len(kept)), counts),
            np.concatenate([each.candidates.pixels for each in kept]),
            np.concatenate([each.clutter for each in kept]),
            np.concatenate([each.votes for each in kept]),
        )

    def _take(self, pool: Pool, flight: Hypothesis, free: NDArray[np.bool_]) -> None:
        """Mark all candidates along a flight as taken and withdraw their votes.

        `free` says which of all that are kept the pool holds, and is updated.
        """
        chosen = score(self._context, pool, flight, 2.0 * self._gates_px[-1]).chosen
        assert chosen is not None
        if not len(chosen):
            return
        free[np.flatnonzero(free)[chosen]] = False
        taken = np.split(~free, np.cumsum([len(each.taken) for each in self._kept])[:-1])
        for kept, flags in zip(self._kept, taken, strict=True):
            kept.taken[:] = flags
        times = pool.frame_times_s[pool.owner[chosen]]
        self._cast(times, pool.pixels[chosen], -pool.votes[chosen])


def _only_path(flight: Hypothesis) -> Hypothesis:
    """Return a flight without its sensitivities: a long clip rejects one each second."""
    path = replace(flight.trajectory, sensitivities=None, sensitivity_rates=None)
    return replace(flight, trajectory=path, chosen=None)
