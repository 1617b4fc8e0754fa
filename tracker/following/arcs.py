"""Arcs in the picture: what moves as a thrown ball does, where no camera says what that is.

Without a calibrated camera nothing is known of a flight but its kind: in the picture it is a
smooth path whose acceleration is nearly constant and points down. Candidates of successive
frames are joined by a bank of small Kalman filters (place, speed and acceleration of either
axis), and a joined path is an arc when its acceleration stands out from its noise and points
down, and when the ball does not gain speed sideways.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.robust import fit_linear
from tracker.records import Candidates

Array = NDArray[np.float64]

GATE = 13.8
"""Squared Mahalanobis distance beyond which a candidate is not taken (99.9 % of chi-square)."""

PLACE_U_PX = 0.9
STREAK_SHARE = 0.05
"""Standard uncertainty of a candidate's place: about a pixel, and a part of its way."""

FIRST_PULL = (0.1, 0.35)
"""Acceleration presumed down and its standard deviation, in frame widths per s²."""

LEAST_SCATTER_PX = 0.3
"""Scatter about a path below which candidates are not taken to scatter, px; no source."""

JERK = 0.12
"""By how much an acceleration wanders in a second: drag and perspective, in frame widths/s²."""

MOST_PLACE_U_PX = 3.0

SPEEDS = (0.02, 2.2)
"""Slowest and fastest way of a ball, in frame widths per second."""

LONGEST_GAP_S = 0.14
LEAST_GAP_FRAMES = 3.5
YOUNG, TENDER = 4, 8
"""A path with fewer places than the first may not miss a frame, than the second not two."""

LEAST_HITS = 5
"""Of a joined path that is worth keeping at all."""

PULLS = (0.04, 2.0)
"""Gravity in the picture, frame widths per s²: from 150 m away at a wide angle to 4 m."""

LEAST_S = 0.35
"""Speed over gravity of the slowest throw, s: 3.5 m/s."""

MOST_BULGE = 0.25
"""A bird that dips and rises falls hardest in the middle; what flies through air falls harder
early and less hard late, which cancels."""

FASTEST_S = 4.0
"""The same of no ball at all: 40 m/s."""

MOST_PAIRS = 800
"""Paths begun in a frame."""

GROWN = 6
"""A path with so many places claims its candidates for itself."""


@dataclass(frozen=True)
class Arc:
    """A joined path.

    Attributes
    ----------
    frames : ndarray of int, shape (N,)
    times_s : ndarray, shape (N,)
    pixels : ndarray, shape (N, 2)
    share : float
        Part of the frames between its ends in which it has a place.
    scatter_px : float
        Root mean square distance of its places from a smooth curve.
    pull : ndarray, shape (2,)
        Acceleration, px/s².
    pull_u : float
        Standard uncertainty of either part of it.
    speed : ndarray, shape (2,)
        Mean speed, px/s.
    bulge, bulge_u : float
        By how much the downward acceleration towards the ends, both together, differs from that
        in the middle, as a share of it, and the standard uncertainty of that; zero where the
        path is too short to tell.
    """

    frames: NDArray[np.int64]
    times_s: Array
    pixels: Array
    share: float
    scatter_px: float
    pull: Array
    pull_u: float
    speed: Array
    bulge: float = 0.0
    bulge_u: float = 0.0

    @property
    def lasts_s(self) -> float:
        """Time from its first place to its last."""
        return float(self.times_s[-1] - self.times_s[0])

    def at(self, times_s: Array) -> Array:
        """Return the smooth curve's places, shape (M, 2)."""
        return _curve(self.times_s, self.pixels)[0](times_s)


def is_throw(arc: Arc, width_px: int, frame_s: float) -> bool:
    """Tell whether a joined path may be a ball thrown through the air.

    Parameters
    ----------
    arc : Arc
    width_px : int
        Width of the frames.
    frame_s : float
        Time from one frame looked at to the next.
    """
    pull, speed = float(arc.pull[1]) / width_px, _usual_speed(arc) / width_px
    return bool(is_fall(arc, frame_s) and PULLS[0] < pull < PULLS[1] and speed > LEAST_S * pull)


def is_fall(arc: Arc, frame_s: float) -> bool:
    """Tell whether a path falls as something in the air does, however slowly that is shown."""
    pull, speed = float(arc.pull[1]), _usual_speed(arc)
    onward = float(arc.pull[0] * np.sign(arc.speed[0]))
    return bool(
        len(arc.frames) >= 8
        and arc.lasts_s >= 0.25
        and arc.share >= 0.5
        and pull > 15.0 * arc.pull_u
        and arc.bulge + 3.0 * arc.bulge_u > -MOST_BULGE
        and onward < 0.35 * pull + 2.0 * arc.pull_u
        and arc.scatter_px < 1.0 + 0.04 * speed * frame_s
    )


def is_slow_fall(arc: Arc, width_px: int, frame_s: float) -> bool:
    """Tell whether a path bends down as a throw does that is shown far slower than life."""
    pull, speed = float(arc.pull[1]), _usual_speed(arc)
    return bool(
        len(arc.frames) >= 40
        and arc.share >= 0.8
        and 5.0 * arc.pull_u < pull < PULLS[0] * width_px
        and speed > FASTEST_S * pull
        and arc.scatter_px < 1.0 + 0.04 * speed * frame_s
        and float(np.linalg.norm(np.ptp(arc.pixels, axis=0))) > 0.15 * width_px
    )


def _usual_speed(arc: Arc) -> float:
    """Return the root mean square speed along a path, px/s."""
    way = np.diff(arc.at(np.linspace(arc.times_s[0], arc.times_s[-1], 20)), axis=0)
    return float(np.sqrt(np.mean(np.sum(way**2, axis=1))) * 19.0 / arc.lasts_s)


class ArcSearch:
    """Joins candidates of successive frames to paths.

    Parameters
    ----------
    width_px : int
        Width of the frames.
    frame_s : float
        Usual time from one frame looked at to the next.
    """

    def __init__(self, width_px: int, frame_s: float) -> None:
        self._width, self._frame_s = float(width_px), frame_s
        self._gap_s = max(LONGEST_GAP_S, LEAST_GAP_FRAMES * frame_s)
        self._means = np.zeros((0, 3, 2))
        self._spreads = np.zeros((0, 3, 3))
        self._count = np.zeros(0, np.int64)
        self._now = np.zeros(0)
        self._seen = np.zeros(0)
        self._pairs = np.zeros((0, 2, 4))
        self._places: list[list[tuple[float, ...]] | None] = []
        self._last: tuple[int, float, Array, Array] | None = None

    def push(self, candidates: Candidates) -> list[Arc]:
        """Take the next frame's candidates; return the paths that ended."""
        time, pixels = candidates.time_s, candidates.pixels
        patience = np.full(len(self._count), self._gap_s)
        patience[self._count < TENDER] = 2.4 * self._frame_s
        patience[self._count < YOUNG] = 1.4 * self._frame_s
        ended = self._drop(time - self._seen > patience)
        claimed = self._extend(candidates.frame, time, pixels)
        self._sow(candidates, claimed)
        self._last = (candidates.frame, time, pixels[~claimed], candidates.strength[~claimed])
        return ended

    def finish(self) -> list[Arc]:
        """Return the paths that were open when the clip ended."""
        return self._drop(np.ones(len(self._now), bool))

    def _extend(self, frame: int, time: float, pixels: Array) -> NDArray[np.bool_]:
        """Carry every path to this frame and give it the candidate that suits it best."""
        claimed = np.zeros(len(pixels), bool)
        if not len(self._now):
            return claimed
        step = time - self._now
        move = np.zeros((len(step), 3, 3))
        move[:, range(3), range(3)] = 1.0
        move[:, 0, 1] = move[:, 1, 2] = step
        move[:, 0, 2] = step**2 / 2.0
        self._means = move @ self._means
        self._spreads = move @ self._spreads @ move.transpose(0, 2, 1)
        self._spreads += _wander(step, JERK * self._width)
        self._now = np.full(len(step), time)
        if not len(pixels):
            return claimed
        way = np.linalg.norm(self._means[:, 1], axis=1) * self._frame_s
        surprise = self._spreads[:, 0, 0] + _place_variance(way)
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
        for path, row in zip(hit.tolist(), best[hit].tolist(), strict=True):
            place = self._places[path]
            if place is None:
                place = self._places[path] = [tuple(each) for each in self._pairs[path].tolist()]
            place.append((frame, time, float(pixels[row, 0]), float(pixels[row, 1])))
            if len(place) >= GROWN:
                claimed[row] = True
        self._thin(hit, best[hit])
        return claimed

    def _thin(self, hit: NDArray[np.int64], rows: NDArray[np.int64]) -> None:
        """Keep of several paths through one candidate at nearly one speed only the longest."""
        if len(hit) < 2:
            return
        length = self._count[hit]
        order = np.lexsort((-length, rows))
        hit, rows = hit[order], rows[order]
        dropped = np.zeros(len(self._now), bool)
        leader = hit[0]
        for at in range(1, len(hit)):
            if rows[at] != rows[at - 1]:
                leader = hit[at]
            elif np.linalg.norm(self._means[hit[at], 1] - self._means[leader, 1]) < 0.05 * (
                self._width + np.linalg.norm(self._means[leader, 1])
            ):
                dropped[hit[at]] = True
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
        length = np.linalg.norm(way, axis=2)
        slowest = max(SPEEDS[0] * self._width * step, 1.5)
        first, second = np.nonzero((length >= slowest) & (length <= SPEEDS[1] * self._width * step))
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
        means[:, 2, 1] = FIRST_PULL[0] * self._width
        noise = _place_variance(length[first, second])
        spreads = np.zeros((count, 3, 3))
        spreads[:, 0, 0] = noise
        spreads[:, 0, 1] = spreads[:, 1, 0] = noise / step
        spreads[:, 1, 1] = 2.0 * noise / step**2
        spreads[:, 2, 2] = (FIRST_PULL[1] * self._width) ** 2
        self._means = np.concatenate([self._means, means])
        self._spreads = np.concatenate([self._spreads, spreads])
        self._count = np.concatenate([self._count, np.full(count, 2)])
        self._now = np.concatenate([self._now, np.full(count, time)])
        self._seen = np.concatenate([self._seen, np.full(count, time)])
        pairs = np.empty((count, 2, 4))
        pairs[:, 0, :2], pairs[:, 1, :2] = (earlier, then), (frame, time)
        pairs[:, 0, 2:], pairs[:, 1, 2:] = places[first], pixels[free[second]]
        self._pairs = np.concatenate([self._pairs, pairs])
        self._places += [None] * count

    def _drop(self, gone: NDArray[np.bool_]) -> list[Arc]:
        """Take paths out and return those worth keeping."""
        worth = np.flatnonzero(gone & (self._count >= LEAST_HITS))
        found = [arc_of(np.array(self._places[path]), self._frame_s) for path in worth]
        self._forget(gone)
        return found

    def _forget(self, gone: NDArray[np.bool_]) -> None:
        if not np.any(gone):
            return
        kept = ~gone
        self._means, self._spreads = self._means[kept], self._spreads[kept]
        self._now, self._seen = self._now[kept], self._seen[kept]
        self._count, self._pairs = self._count[kept], self._pairs[kept]
        self._places = [path for path, stays in zip(self._places, kept, strict=True) if stays]


def _place_variance(way_px: Array) -> Array:
    """Return the variance of a place that moves so far in a frame, px²."""
    share: Array = np.minimum(STREAK_SHARE * way_px, MOST_PLACE_U_PX)
    return PLACE_U_PX**2 + share**2


def _wander(step: Array, jerk: float) -> Array:
    """Return what a wandering acceleration adds to the spread in a step, shape (N, 3, 3)."""
    grown = np.zeros((len(step), 3, 3))
    grown[:, 0, 0] = step**5 / 20.0
    grown[:, 0, 1] = grown[:, 1, 0] = step**4 / 8.0
    grown[:, 0, 2] = grown[:, 2, 0] = step**3 / 6.0
    grown[:, 1, 1] = step**3 / 3.0
    grown[:, 1, 2] = grown[:, 2, 1] = step**2 / 2.0
    grown[:, 2, 2] = step
    return jerk**2 * grown


class _Polynomial:
    """A polynomial of two columns about a middle time."""

    def __init__(self, middle: float, coefficients: Array) -> None:
        self.middle, self.coefficients = middle, coefficients

    def __call__(self, times_s: Array) -> Array:
        since = np.asarray(times_s, float) - self.middle
        powers = since[:, None] ** np.arange(len(self.coefficients))
        return np.asarray(powers @ self.coefficients, float)


def _curve(times: Array, pixels: Array) -> tuple[_Polynomial, Array]:
    """Return a polynomial through places, of higher degree where there are many, and cofactors."""
    middle = float(times.mean())
    since = times - middle
    degree = 2 if len(times) < 12 else 3 if len(times) < 40 else 4
    design = since[:, None] ** np.arange(degree + 1)
    fit = fit_linear(design, pixels, rounds=4, least_sigma=LEAST_SCATTER_PX)
    return _Polynomial(middle, fit.parameters), fit.cofactors


def arc_of(places: Array, frame_s: float) -> Arc:
    """Return the path through places, shape (N, 4): frame, time (s), column, row."""
    times, pixels = places[:, 1], places[:, 2:]
    curve, cofactors = _curve(times, pixels)
    off = np.linalg.norm(pixels - curve(times), axis=1)
    scatter = float(np.sqrt(np.mean(np.minimum(off, 3.0 * np.median(off) + 0.5) ** 2)))
    expected = max(1.0, round((times[-1] - times[0]) / frame_s))
    noise = max(scatter / np.sqrt(2.0), 0.4)
    bulge, bulge_u = _bulge(times, pixels[:, 1], noise)
    return Arc(
        frames=places[:, 0].astype(np.int64),
        times_s=times,
        pixels=pixels,
        share=float(min(1.0, (len(times) - 1) / expected)),
        scatter_px=scatter,
        pull=2.0 * curve.coefficients[2],
        pull_u=float(2.0 * noise * np.sqrt(cofactors[2, 2])),
        speed=curve.coefficients[1],
        bulge=bulge,
        bulge_u=bulge_u,
    )


def _bulge(times: Array, rows: Array, noise: float) -> tuple[float, float]:
    """Return `Arc.bulge` and its standard uncertainty from a polynomial of fourth degree."""
    if len(times) < 20:
        return 0.0, 0.0
    since = times - times.mean()
    design = since[:, None] ** np.arange(5)
    fit = fit_linear(design, rows, rounds=3, least_sigma=LEAST_SCATTER_PX)
    answer = fit.parameters
    reach = 6.0 * (0.35 * float(times[-1] - times[0])) ** 2 / max(abs(float(answer[2])), 1e-9)
    spread = float(np.sqrt(fit.cofactors[4, 4]))
    return float(answer[4]) * reach, noise * spread * reach
