"""The part of a path on which nothing holds the ball.

A hand carries a ball along much of the way that it flies later, and catches it on that way. What
tells both apart is the acceleration: a hand that throws pushes by several times gravity, so the
curve of the flight misses the ball in the hand after a few hundredths of a second.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.robust import fit_linear, sigma_of
from tracker.flight.gravity import STANDARD_GRAVITY
from tracker.following.arcs import Arc, fit_arc
from tracker.following.linking import PLACE_U_PX

Array = NDArray[np.float64]

FASTEST_TOSS_S = 3.0
"""Speed over gravity of the fastest throw before which a hand is looked for, s: 30 m/s. Common
practice, no source."""

CORE_SHARE, LEAST_CORE = 0.5, 7
"""Share of a path's positions, and fewest, in its middle that are taken to be in free flight: the
curve has seven parameters for two numbers a position."""

WINDOW_S = 0.4
"""Time over which a flight is taken to be a parabola, s: drag at 10 m/s departs from one by 3 mm
over it."""

APPROACH_U_PS = 1.0
"""Standard uncertainty of how fast a ball comes nearer or goes away, as a share of its distance a
second: 5 m/s at 5 m. Common practice, no source."""

FREE_U = 3.0
"""Standard uncertainties by which a position may miss the curve of those next to it. Common
practice, no source."""

LEAST_PUSH, OFF_S = 1.5, 0.08
"""Least acceleration of a hand over that of gravity, by which a ball must leave the curve, and for
how long, s: one position may be an outlier. Common practice, no source: to throw at 3 m/s over
0.2 m takes 2.3."""

REACH_M = 1.5
"""Longest way on which a hand gives a ball its speed, m. Common practice, no source."""

LEAST_SIGMA_SHARE, LEAST_SIGMA_PX = 0.025, 0.2
"""Least standard deviation of a position: as a share of the ball's diameter, for its patches and
its shade, and px. From balls laid over real frames."""

TINY = 1e-9
"""Keeps a path that does not fall from dividing by nothing, px/s²."""

ROUNDS = 4
"""Robust reweightings of a curve. Common practice, no source."""


def free_part(
    times_s: Array, pixels: Array, diameter_px: float = 0.0, u_px: Array | None = None
) -> slice:
    """Return the positions of a path from the ball's release to its catch.

    Parameters
    ----------
    times_s : ndarray, shape (N,)
        Rising.
    pixels : ndarray, shape (N, 2)
    diameter_px : float
        Of the ball in the same picture, 0 where it is not known.
    u_px : ndarray, shape (N,), optional
        Standard uncertainty of each position along an axis, where it is known.
    """
    count = len(times_s)
    core = max(LEAST_CORE, round(CORE_SHARE * count))
    if count <= core:
        return slice(0, count)
    first = (count - core) // 2
    last = first + core
    least = np.full(count, np.hypot(LEAST_SIGMA_SHARE * diameter_px, LEAST_SIGMA_PX))
    if u_px is not None:
        least = np.maximum(least, u_px)
    back = slice(last - 1, None, -1)
    begin = _Reach(times_s[back], pixels[back], least[back]).from_first(core)
    end = _Reach(times_s[first:], pixels[first:], least[first:]).from_first(core)
    return slice(last - begin, first + end)


def free_arc(arc: Arc, fall_pxps2: float, frame_s: float, diameter_px: float = 0.0) -> Arc:
    """Return a path of candidates without the positions in which something holds the ball.

    Parameters
    ----------
    arc : Arc
        What is faster than a toss is returned as it is, as is what nothing holds.
    fall_pxps2 : float
        Gravity in the picture, px/s².
    frame_s : float
    diameter_px : float
        Of the ball, 0 where it is not known.
    """
    if np.linalg.norm(arc.velocity_pxps) > FASTEST_TOSS_S * fall_pxps2:
        return arc
    u_px = np.full(len(arc.times_s), PLACE_U_PX)
    rows = free_part(arc.times_s, arc.pixels, diameter_px, u_px)
    if rows.stop - rows.start == len(arc.frames):
        return arc
    return fit_arc(np.column_stack([arc.frames, arc.times_s, arc.pixels])[rows], frame_s)


@dataclass(frozen=True)
class _Reach:
    """Positions outward from the middle of a path, with the least standard deviation of each."""

    times_s: Array
    pixels: Array
    least_px: Array

    def from_first(self, known: int) -> int:
        """Return how many positions, in order, lie on the curve of the first ones."""
        good = list(range(known))
        off: list[int] = []
        pushed = False
        for at in range(known, len(self.times_s)):
            place, u_px, push = self._continued(self._near(good, at), at)
            miss_px = float(np.linalg.norm(self.pixels[at] - place))
            if miss_px < FREE_U * u_px:
                good.append(at)
                off, pushed = [], False
                continue
            off.append(at)
            # A hand holds the ball since between the last position on the curve and the next.
            let_go_s = 0.5 * (self.times_s[good[-1]] + self.times_s[off[0]])
            held_s = abs(float(self.times_s[at] - let_go_s))
            off_s = abs(float(self.times_s[at] - self.times_s[off[0]]))
            pushed = miss_px > 0.5 * push * held_s**2
            if off_s >= OFF_S and pushed:
                return good[-1] + 1
        return good[-1] + 1 if pushed else len(self.times_s)

    def _near(self, good: list[int], at: int) -> NDArray[np.int64]:
        since = np.abs(self.times_s - self.times_s[at])
        near = [row for row in good if since[row] <= WINDOW_S]
        return np.array(near if len(near) >= LEAST_CORE else good[-LEAST_CORE:], np.int64)

    def _continued(self, rows: NDArray[np.int64], at: int) -> tuple[Array, float, float]:
        """Return where the curve through positions is at another's time, px.

        Then the standard uncertainty of that position's departure from it, px, and the least
        acceleration with which a hand gave the ball its speed, px/s². The picture of a parabola in
        space is one over a straight line in time: how far away the ball is (R. Hartley and A.
        Zisserman, Multiple View Geometry, 2nd ed. 2003, 2.2).
        """
        since_s, least_px = self.times_s[rows] - self.times_s[at], float(np.median(self.least_px))
        origin = self.pixels[rows[-1]]
        away = self.pixels[rows] - origin
        powers, none = since_s[:, None] ** np.arange(3), np.zeros((len(since_s), 3))
        nearer = -since_s[:, None] * away
        design = np.vstack(
            [np.hstack([powers, none, nearer[:, :1]]), np.hstack([none, powers, nearer[:, 1:]])]
        )
        ridge = np.zeros((7, 7))
        ridge[6, 6] = (least_px / APPROACH_U_PS) ** 2
        observed = away.T.reshape(-1)
        fit = fit_linear(design, observed, rounds=ROUNDS, least_sigma=least_px, ridge=ridge)
        residuals = (observed - design @ fit.parameters).reshape(2, -1)
        sigma = sigma_of(np.linalg.norm(residuals, axis=0), least_px)
        # Three parameters an axis take up a part of the scatter.
        spread = sigma * np.sqrt(len(since_s) / (len(since_s) - 3.0))
        place, speed, bend = fit.parameters[:6].reshape(2, 3).T
        u_px = np.hypot(spread * np.sqrt(fit.cofactors[0, 0]), max(spread, self.least_px[at]))
        fall = 2.0 * float(np.linalg.norm(bend - fit.parameters[6] * speed))
        metre_px = max(fall, TINY) / STANDARD_GRAVITY
        thrown = float(speed @ speed) / (2.0 * REACH_M * metre_px)
        return origin + place, float(u_px), max(LEAST_PUSH * fall, thrown)
