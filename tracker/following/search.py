"""Every flight from the release point in a stream of candidates, found by itself."""

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from tracker.following.clutter import ClutterMap
from tracker.following.hypothesis import (
    WORST,
    Hypothesis,
    Pool,
    SearchContext,
    improve,
    suppose,
    weigh,
)
from tracker.following.plane import PlaneMap
from tracker.following.starts import Starts, peaks
from tracker.following.table import ANGLES_DEG, LONGEST_S, SPEEDS_MPS, build_table
from tracker.following.votes import Ballot
from tracker.records import Candidates, Reason, ReasonCode

Array = NDArray[np.float64]

LEAST_SUPPORT = 28.0
"""Log-likelihood ratio a flight needs. Some 2e5 cells of the ballot are tried each second, and
the fit that follows can better each by a few units: 28 keeps the chance of one false flight
from unrelated candidates below 1e-5 a minute. What moves on a path of its own (people,
birds) is refused by `LEAST_SHARE`, since it bears out a part of a flight only."""

LEAST_HITS = 6
LEAST_SHARE = 0.2
GATES_M = (1.1, 0.55, 0.28, 0.16)
"""How far, on the plane of the firing line, a candidate may lie from a supposed flight while
the fit closes in: the table's cells are about a metre wide at 25 m."""

TWIN_S = 0.25
"""Two flights released within this time that run side by side are one flight found twice."""

MOST_TRIES = 8
"""Of the flights that are weighed those that are fitted."""

MOST_ROUNDS = 12
"""Flights looked for in each second of release times."""

WHOLE_SHARE = 0.85
"""A flight that so many of the frames it crosses bear out is not held against other tries: a
fit that got stuck beside the ball's true flight, with a part of its pictures, does not."""

BLOCK_S = 1.0

TOGETHER = 8
"""Frames whose votes are added at once: the adding itself takes little of the time."""


@dataclass(frozen=True)
class _Kept:
    """One frame's candidates, their clutter and votes, and which belong to a flight found."""

    candidates: Candidates
    clutter: Array
    worth: Array
    taken: NDArray[np.bool_]


class FlightSearch:
    """Turns frames' candidates, given one by one, into flights.

    Parameters
    ----------
    context : SearchContext
    """

    def __init__(self, context: SearchContext) -> None:
        self._context = context
        farthest, highest = _extent(context)
        self._table = build_table(
            context.release_m, context.drag, context.forces, farthest, highest, context.wind_mps
        )
        self._starts = Starts(context, self._table)
        longest = float(np.nanmax(self._table.cells[:, :, 1]))
        self._longest = min(LONGEST_S, longest)
        bin_s = max(context.frame_s, min(1.0 / 50.0, self._longest / 60.0))
        self._ballot = Ballot(bin_s, self._longest + 2.0 * BLOCK_S + 1.0)
        self._kept: deque[_Kept] = deque()
        scale = _px_per_m(context, farthest)
        self._gates_px = tuple(float(np.clip(gate * scale, 5.0, 140.0)) for gate in GATES_M)
        self._recent: list[Hypothesis] = []
        self._supposed: dict[tuple[int, int], Hypothesis] = {}
        self._plane = PlaneMap(context.camera, context.release_m)
        self._clutter = ClutterMap(context.camera.size_px)
        self._waiting: list[tuple[Array, Array, Array]] = []
        self._next_row: int | None = None
        self._now = 0.0
        self._usual: Array | None = None
        self.rejected_candidates: list[tuple[Hypothesis, Reason]] = []
        """Flights that were tried and are no shots, the strongest of each block, and why."""

    def push(self, candidates: Candidates) -> list[Hypothesis]:
        """Take the next frame's candidates; return flights whose time is complete."""
        clutter = self._clutter.density(candidates)
        if self._next_row is None:
            self._next_row = self._ballot.row_of(candidates.time_s - self._longest) - 1
            self._next_row = max(self._next_row, self._ballot.row_of(candidates.time_s - 1.0))
        crowding = self._crowding(candidates.pixels)
        worth = _worth(clutter) / crowding
        # Where a person walks, one of their many candidates is near any flight that goes by.
        clutter = clutter + (crowding - 1.0) / self._gates_px[0] ** 2
        taken = np.zeros(len(candidates.pixels), bool)
        self._kept.append(_Kept(candidates, clutter, worth, taken))
        self._waiting.append((np.full(len(worth), candidates.time_s), candidates.pixels, worth))
        if len(self._waiting) >= TOGETHER:
            self._cast_all()
        self._now = candidates.time_s
        done = self._ballot.row_of(self._now - self._longest) - 2
        if (done - self._next_row) * self._ballot.bin_s < BLOCK_S:
            return []
        return self._settle(done)

    def finish(self) -> Iterator[list[Hypothesis]]:
        """Give the flights that are left when the clip has ended, some at a time.

        The candidates of a flight are kept until the next are asked for.
        """
        if self._next_row is None:
            return
        last = self._ballot.row_of(self._now) + 1
        step = max(1, int(BLOCK_S / self._ballot.bin_s))
        while self._next_row <= last:
            yield self._settle(min(self._next_row + step, last))

    def candidates(self, hypothesis: Hypothesis, margin_s: float = 0.5) -> list[Candidates]:
        """Return the kept candidates of the frames during a flight and a while after it."""
        start = hypothesis.release_s - margin_s
        end = hypothesis.release_s + float(hypothesis.trajectory.times_s[-1]) + margin_s
        return [kept.candidates for kept in self._kept if start <= kept.candidates.time_s <= end]

    def _crowding(self, pixels: Array) -> Array:
        """Return how many candidates of a frame share each one's place: a dog is many at once."""
        column, row = pixels.T
        reach = 0.5 * self._gates_px[0]
        near = np.abs(column[:, None] - column) < reach
        near &= np.abs(row[:, None] - row) < reach
        return np.count_nonzero(near, axis=1).astype(float)

    def _cast(self, times_s: Array, pixels: Array, worth: Array) -> None:
        """Add the votes of candidates, one a row."""
        places = self._plane.places(pixels)
        good = np.isfinite(places[:, 0])
        speed, time = self._table.look_up(
            places[good, 0] - self._context.release_m[0], places[good, 2]
        )
        assert self._next_row is not None
        self._ballot.cast(times_s[good, None] - time, speed, worth[good], self._next_row)

    def _cast_all(self) -> None:
        """Add the votes that wait to be added."""
        if self._waiting:
            times, pixels, worth = (
                np.concatenate(each) for each in zip(*self._waiting, strict=True)
            )
            self._waiting.clear()
            self._cast(times, pixels, worth)

    def _settle(self, last: int) -> list[Hypothesis]:
        """Decide on all flights released in the rows up to `last`, then forget those rows."""
        assert self._next_row is not None
        self._cast_all()
        first = self._next_row
        found = []
        refused: list[Hypothesis] = []
        usual = self._usual_votes(first, last)
        everything = self._pool()
        free = ~np.concatenate([kept.taken for kept in self._kept])
        for _ in range(MOST_ROUNDS):
            pool = everything.part(free)
            flight = self._best_of(
                pool, first, self._ballot.block(first, last) - usual, usual, refused
            )
            if flight is None:
                break
            self._take(pool, flight, free)
            if not self._is_twin(flight):
                found.append(flight)
                self._recent = [*self._recent[-7:], flight]
        self._tell(refused)
        self._ballot.clear(first, last)
        self._next_row = last + 1
        horizon = (last + 1) * self._ballot.bin_s - 1.5
        while self._kept and self._kept[0].candidates.time_s < horizon:
            self._kept.popleft()
        return sorted(found, key=lambda flight: flight.release_s)

    def _usual_votes(self, first: int, last: int) -> Array:
        """Return what each angle and speed gets without a shot: a slow mean over release times."""
        fresh = np.median(self._ballot.block(first, last), axis=0)
        if self._usual is None:
            self._usual = fresh
        else:
            self._usual = 0.6 * self._usual + 0.4 * fresh
        return self._usual

    def _best_of(
        self, pool: Pool, first: int, excess: Array, usual: Array, refused: list[Hypothesis]
    ) -> Hypothesis | None:
        """Return the flight that is borne out, or None when none is.

        Many starts are weighed as they are, which is quick, and those that the candidates
        bear out best are fitted. Those that come to nothing are added to `refused`.
        """
        if not len(pool.owner):
            return None
        chosen = peaks(excess, usual)
        found: Hypothesis | None = None
        for start in islice(self._weighed(pool, first, chosen), MOST_TRIES):
            flight = improve(self._context, pool, start, self._gates_px)
            if shortfall(flight) is not None:
                refused.append(max(start, flight, key=lambda each: each.support))
            elif found is None or flight.support > found.support:
                found = flight
            if found is not None and found.hits >= WHOLE_SHARE * found.in_view:
                break
        return found

    def _weighed(self, pool: Pool, first: int, chosen: NDArray[np.int64]) -> Iterator[Hypothesis]:
        """Give the flights of cells that are worth a fit, best first.

        The one borne out best and the one with the most votes take turns: through clutter a
        start some pixels off is borne out by little, and has its votes all the same.
        """
        if not len(chosen):
            return
        rows, angles, speeds = chosen.T
        release_s = (first + rows + 0.5) * self._ballot.bin_s
        support, hits, in_view = self._starts.weigh(
            pool, angles, speeds, release_s, self._gates_px[0]
        )
        worth_it = (hits >= LEAST_HITS) & (support >= WORST * in_view)
        orders = np.argsort(-support, kind="stable"), np.arange(len(chosen))
        turns = [order[worth_it[order]] for order in orders]
        for best in dict.fromkeys(np.column_stack(turns).ravel().tolist()):
            yield replace(
                self._start(int(angles[best]), int(speeds[best])),
                release_s=float(release_s[best]),
                support=float(support[best]),
                hits=int(hits[best]),
                in_view=int(in_view[best]),
            )

    def _tell(self, refused: list[Hypothesis]) -> None:
        """Keep the strongest of the flights that a block's tries came to nothing with."""
        best = max(refused, key=lambda flight: flight.support, default=None)
        lacks = None if best is None else shortfall(best)
        if best is not None and lacks is not None:
            self.rejected_candidates.append((best, lacks))

    def _start(self, angle: int, speed: int) -> Hypothesis:
        """Return the flight of a cell of the ballot; each is flown once."""
        if (angle, speed) not in self._supposed:
            self._supposed[angle, speed] = suppose(
                self._context, 0.0, float(np.radians(ANGLES_DEG[angle])), float(SPEEDS_MPS[speed])
            )
        return self._supposed[angle, speed]

    def _is_twin(self, flight: Hypothesis) -> bool:
        """Tell whether a flight is one that was found before: what was left of its pictures."""
        for other in self._recent:
            if abs(other.release_s - flight.release_s) > TWIN_S:
                continue
            begin = max(other.release_s, flight.release_s)
            end = min(
                other.release_s + other.trajectory.times_s[-1],
                flight.release_s + flight.trajectory.times_s[-1],
            )
            times = np.linspace(begin, max(begin, end), 12)
            apart = self._context.camera.project(
                flight.trajectory.at(times - flight.release_s)[:, :3]
            ) - self._context.camera.project(other.trajectory.at(times - other.release_s)[:, :3])
            near = np.linalg.norm(apart, axis=1) < 0.7 * self._gates_px[0]
            if np.sum(near) >= 4:
                return True
        return False

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
            np.concatenate([each.worth for each in kept]),
        )

    def _take(self, pool: Pool, flight: Hypothesis, free: NDArray[np.bool_]) -> None:
        """Mark all candidates along a flight as taken and withdraw their votes.

        `free` tells which of all that are kept the pool holds, and is brought up to date.
        """
        chosen = weigh(self._context, pool, flight, 2.0 * self._gates_px[-1]).chosen
        assert chosen is not None
        if not len(chosen):
            return
        free[np.flatnonzero(free)[chosen]] = False
        taken = np.split(~free, np.cumsum([len(each.taken) for each in self._kept])[:-1])
        for kept, flags in zip(self._kept, taken, strict=True):
            kept.taken[:] = flags
        times = pool.frame_times_s[pool.owner[chosen]]
        self._cast(times, pool.pixels[chosen], -pool.worth[chosen])


def shortfall(flight: Hypothesis) -> Reason | None:
    """Return what a flight lacks to be accepted as a shot, None when it lacks nothing."""
    if flight.hits < LEAST_HITS:
        return Reason(ReasonCode.DETECTIONS_FEW, {"hits": flight.hits})
    if flight.hits < LEAST_SHARE * flight.in_view:
        return Reason(ReasonCode.DETECTIONS_SHARE, {"hits": flight.hits, "crossed": flight.in_view})
    if flight.support < LEAST_SUPPORT:
        return Reason(ReasonCode.CHANCE, {"support": flight.support, "needed": LEAST_SUPPORT})
    return None


def _px_per_m(context: SearchContext, farthest_m: float) -> float:
    """Return how many px a metre takes halfway along what the frame shows of the firing line."""
    middle = context.release_m + np.array([0.5 * min(farthest_m, 30.0), 0.0, 2.0])
    depth = float(context.camera.in_camera(middle)[0, 2])
    return context.camera.focal_px / max(depth, 1.0)


def _worth(clutter: Array) -> Array:
    """Return the votes of candidates: more where candidates are rare, shape (N,)."""
    gate = np.pi * 6.0**2
    return np.clip(np.log(0.7 / (gate * clutter)), 0.2, 6.0)


def _extent(context: SearchContext) -> tuple[float, float]:
    """Return how far downrange and how high above the firing line the frame reaches, m."""
    width, height = context.camera.size_px
    edge_columns = np.linspace(0, width - 1, 40)
    edge_rows = np.linspace(0, height - 1, 24)
    pixels = np.array([(column, row) for column in edge_columns for row in edge_rows])
    places = context.camera.on_plane(pixels, context.release_m, (0.0, 1.0, 0.0))
    good = np.isfinite(places).all(axis=1) & (places[:, 2] > -1.0)
    if not np.any(good):
        return 20.0, 10.0
    along = places[good, 0] - context.release_m[0]
    return (
        float(np.clip(along.max() * 1.02, 0.5, 120.0)),
        float(np.clip(places[good, 2].max() * 1.02, 0.5, 40.0)),
    )
