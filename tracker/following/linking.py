"""Links candidates of successive frames to arcs by a bank of small Kalman filters.

Each filter holds position, velocity and acceleration of either axis of the picture.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.following.arcs import Arc, fit_arc
from tracker.following.gate import GATE
from tracker.records import Candidates

Array = NDArray[np.float64]

PLACE_U_PX = 0.9
STREAK_SHARE = 0.05
MOST_STREAK_U_PX = 3.0
"""Standard uncertainty of a candidate's position: about a pixel, and a share of its way from frame
to frame, px, with an upper bound. Common practice, no source."""

FIRST_FALL = (0.1, 0.35)
"""Prior of the downward acceleration and its standard deviation, frame widths per s²: gravity from
most distances."""

JERK = 0.12
"""Random walk of the acceleration in a second, frame widths per s²: drag and perspective. Common
practice, no source."""

SPEEDS = (0.02, 2.2)
LEAST_STEP_PX = 1.5
"""Slowest and fastest ball, frame widths per second, and least way between two frames, px. Common
practice, no source."""

SAME_SPEED = 0.05
"""Two paths through one candidate are one when their speeds differ by less than this share of the
frame's width per second and of the speed."""

LONGEST_GAP_S = 0.14
LEAST_GAP_FRAMES = 3.5
"""Longest time without a candidate, s, and its least value in frames."""

SIZE_SHARE = 0.1
"""Standard uncertainty of the middle of a large ball, in its diameters: its shade and its edge move
as it turns. From real balls."""

NEAR_FALL, NEAR_FALL_U = 1.0, 0.6
"""Prior of the downward acceleration of a ball of known size, in what gravity does to it, and its
standard deviation: it is seen from above or below, and turns of the light change its size."""

NEAR_FASTER = 3.0
"""How much faster a near ball may cross the frame than any other."""

YOUNG, TENDER = 4, 8
YOUNG_FRAMES, TENDER_FRAMES = 1.4, 2.4
"""A path of fewer positions than the first may not miss a frame, of fewer than the second not two;
the frames that may pass between two of its positions."""

LEAST_HITS = 5
"""Fewest positions of a path that is returned, where no more are asked for: the fewest of a
second-degree curve with redundancy in both axes."""

MOST_PAIRS = 800
"""Paths begun in a frame at most, which bounds time and memory."""

GROWN = 6
"""Positions from which on a path claims its candidates for itself."""


@dataclass(frozen=True)
class NearBall:
    """A ball that is seen so near that its size in the frame shows.

    Attributes
    ----------
    diameter_px : float
    fall_pxps2 : float
        What gravity does to it: gravity over its diameter in m, times that in px.
    """

    diameter_px: float
    fall_pxps2: float


class ArcSearch:
    """Joins candidates of successive frames to paths.

    Parameters
    ----------
    width_px : int
        Width of the frames.
    frame_s : float
        Usual time from one frame looked at to the next.
    near : NearBall, optional
        Of a ball that is near; else it is of unknown size and distance.
    least : int
        Fewest positions of a path that is returned.
    """

    def __init__(
        self,
        width_px: int,
        frame_s: float,
        near: NearBall | None = None,
        least: int = LEAST_HITS,
    ) -> None:
        self._width, self._frame_s, self._least = float(width_px), frame_s, least
        self._place_u = PLACE_U_PX
        self._fall = FIRST_FALL[0] * self._width, FIRST_FALL[1] * self._width
        if near is not None:
            self._place_u = max(PLACE_U_PX, SIZE_SHARE * near.diameter_px)
            self._fall = NEAR_FALL * near.fall_pxps2, NEAR_FALL_U * near.fall_pxps2
        self._fastest = SPEEDS[1] * (1.0 if near is None else NEAR_FASTER)
        self._gap_s = max(LONGEST_GAP_S, LEAST_GAP_FRAMES * frame_s)
        self._means = np.zeros((0, 3, 2))
        self._spreads = np.zeros((0, 3, 3))
        self._count = np.zeros(0, np.int64)
        self._now = 0.0
        self._seen = np.zeros(0)
        self._pairs = np.zeros((0, 2, 4))
        self._places: list[list[tuple[float, ...]] | None] = []
        self._last: tuple[int, float, Array, Array] | None = None

    def push(self, candidates: Candidates) -> list[Arc]:
        """Take the next frame's candidates; return the paths that ended."""
        time, pixels = candidates.time_s, candidates.pixels
        patience = np.full(len(self._count), self._gap_s)
        patience[self._count < TENDER] = TENDER_FRAMES * self._frame_s
        patience[self._count < YOUNG] = YOUNG_FRAMES * self._frame_s
        ended = self._drop(time - self._seen > patience)
        claimed = self._extend(candidates.frame, time, pixels)
        self._sow(candidates, claimed)
        self._last = (candidates.frame, time, pixels[~claimed], candidates.strength[~claimed])
        return ended

    def finish(self) -> list[Arc]:
        """Return the paths that were open when the clip ended."""
        return self._drop(np.ones(len(self._count), bool))

    def _extend(self, frame: int, time: float, pixels: Array) -> NDArray[np.bool_]:
        """Carry every path to this frame and give it the candidate that suits it best."""
        claimed = np.zeros(len(pixels), bool)
        # All paths take the same step: one product for all of them.
        step, self._now = time - self._now, time
        count = len(self._count)
        if not count:
            return claimed
        move = np.array([[1.0, step, step**2 / 2.0], [0.0, 1.0, step], [0.0, 0.0, 1.0]])
        means = self._means.transpose(0, 2, 1).reshape(-1, 3) @ move.T
        self._means = means.reshape(count, 2, 3).transpose(0, 2, 1)
        both = (move[:, None, :, None] * move[None, :, None, :]).reshape(9, 9)
        spreads = self._spreads.reshape(count, 9) @ both.T
        self._spreads = spreads.reshape(count, 3, 3) + _wander(step, JERK * self._width)
        if not len(pixels):
            return claimed
        way = _lengths(self._means[:, 1]) * self._frame_s
        surprise = self._spreads[:, 0, 0] + _place_variance(way, self._place_u)
        distance = (pixels[None, :, 0] - self._means[:, 0, 0, None]) ** 2
        distance += (pixels[None, :, 1] - self._means[:, 0, 1, None]) ** 2
        best = np.argmin(distance, axis=1)
        hit = np.flatnonzero(distance[np.arange(len(best)), best] < GATE * surprise)
        gap = pixels[best[hit]] - self._means[hit, 0]
        gain = self._spreads[hit, :, 0] / surprise[hit, None]
        self._means[hit] += gain[:, :, None] * gap[:, None, :]
        self._spreads[hit] -= gain[:, :, None] * self._spreads[hit][:, None, 0, :]
        self._seen[hit] = time
        self._count[hit] += 1
        rows = best[hit]
        where = pixels[rows].tolist()
        for path, (column, row) in zip(hit.tolist(), where, strict=True):
            place = self._places[path]
            if place is None:
                place = self._places[path] = [tuple(each) for each in self._pairs[path].tolist()]
            place.append((frame, time, column, row))
        claimed[rows[self._count[hit] >= GROWN]] = True
        self._thin(hit, rows)
        return claimed

    def _thin(self, hit: NDArray[np.int64], rows: NDArray[np.int64]) -> None:
        """Keep of several paths through one candidate at nearly one speed only the longest."""
        if len(hit) < 2:
            return
        order = np.argsort(rows, kind="stable")
        if np.all(np.diff(rows[order])):
            return
        length = self._count[hit]
        order = np.lexsort((-length, rows))
        hit, rows = hit[order], rows[order]
        dropped = np.zeros(len(self._count), bool)
        # Places of the longest path through each candidate, for the paths that follow it.
        leads = np.append(True, rows[1:] != rows[:-1])
        leader = np.maximum.accumulate(np.where(leads, np.arange(len(hit)), 0))
        velocities = self._means[hit, 1]
        apart = _lengths(velocities - velocities[leader])
        reach = SAME_SPEED * (self._width + _lengths(velocities[leader]))
        dropped[hit[~leads & (apart < reach)]] = True
        self._forget(dropped)

    def _sow(self, candidates: Candidates, claimed: NDArray[np.bool_]) -> None:
        """Begin a path from every pair of places in two frames that a ball could join."""
        frame, time, pixels = candidates.frame, candidates.time_s, candidates.pixels
        if self._last is None or not len(pixels):
            return
        earlier, then, places, strengths = self._last
        step = time - then
        if not len(places) or step <= 0.0 or step > self._gap_s:
            return
        free = np.flatnonzero(~claimed)
        way = pixels[free][None, :, :] - places[:, None, :]
        length = _lengths(way)
        slowest = max(SPEEDS[0] * self._width * step, LEAST_STEP_PX)
        first, second = np.nonzero(
            (length >= slowest) & (length <= self._fastest * self._width * step)
        )
        if not len(first):
            return
        if len(first) > MOST_PAIRS:
            # Where everything moves, what stands out in both frames goes first.
            weaker = np.minimum(strengths[first], candidates.strength[free[second]])
            kept = np.sort(np.argsort(-weaker, kind="stable")[:MOST_PAIRS])
            first, second = first[kept], second[kept]
        count = len(first)
        means = np.zeros((count, 3, 2))
        means[:, 0] = pixels[free[second]]
        means[:, 1] = way[first, second] / step
        means[:, 2, 1] = self._fall[0]
        noise = _place_variance(length[first, second], self._place_u)
        spreads = np.zeros((count, 3, 3))
        spreads[:, 0, 0] = noise
        spreads[:, 0, 1] = spreads[:, 1, 0] = noise / step
        spreads[:, 1, 1] = 2.0 * noise / step**2
        spreads[:, 2, 2] = self._fall[1] ** 2
        self._means = np.concatenate([self._means, means])
        self._spreads = np.concatenate([self._spreads, spreads])
        self._count = np.concatenate([self._count, np.full(count, 2)])
        self._seen = np.concatenate([self._seen, np.full(count, time)])
        pairs = np.empty((count, 2, 4))
        pairs[:, 0, :2], pairs[:, 1, :2] = (earlier, then), (frame, time)
        pairs[:, 0, 2:], pairs[:, 1, 2:] = places[first], pixels[free[second]]
        self._pairs = np.concatenate([self._pairs, pairs])
        self._places += [None] * count

    def _drop(self, gone: NDArray[np.bool_]) -> list[Arc]:
        """Take paths out and return those worth keeping."""
        worth = np.flatnonzero(gone & (self._count >= self._least))
        found = [fit_arc(np.array(self._places[path]), self._frame_s) for path in worth]
        self._forget(gone)
        return found

    def _forget(self, gone: NDArray[np.bool_]) -> None:
        if not np.any(gone):
            return
        kept = ~gone
        self._means, self._spreads = self._means[kept], self._spreads[kept]
        self._seen = self._seen[kept]
        self._count, self._pairs = self._count[kept], self._pairs[kept]
        self._places = [path for path, stays in zip(self._places, kept, strict=True) if stays]


def _lengths(ways: Array) -> Array:
    """Return the lengths of vectors of two components, shape (..., 2): `norm` is made for more."""
    found: Array = np.sqrt(ways[..., 0] ** 2 + ways[..., 1] ** 2)
    return found


def _place_variance(way_px: Array, place_u_px: float) -> Array:
    """Return the variance of a place that moves so far in a frame, px²."""
    share: Array = np.minimum(STREAK_SHARE * way_px, MOST_STREAK_U_PX)
    return place_u_px**2 + share**2


def _wander(step: float, jerk: float) -> Array:
    """Return what a wandering acceleration adds to the spread in a step, shape (3, 3)."""
    grown = np.array(
        [
            [step**5 / 20.0, step**4 / 8.0, step**3 / 6.0],
            [step**4 / 8.0, step**3 / 3.0, step**2 / 2.0],
            [step**3 / 6.0, step**2 / 2.0, step],
        ]
    )
    found: Array = jerk**2 * grown
    return found
