"""The part of a path on which nothing holds the ball.

A hand carries a ball along much of the way that it flies later, and catches it on that way. Seen
near, the ball shows in the hand too. What tells both apart is the acceleration: a hand that throws
pushes by several times gravity, so a parabola through the flight misses the ball in the hand after
a few hundredths of a second.
"""

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.robust import fit_linear

Array = NDArray[np.float64]

FASTEST_TOSS_S = 1.2
"""Speed over gravity of the fastest toss before which a hand is looked for, s: 12 m/s. What is
faster leaves a launcher, or a hand that shows in a frame or two. Common practice, no source."""

CORE_SHARE, LEAST_CORE = 0.5, 7
"""Share of a path's positions, and fewest, in its middle that are taken to be in free flight: a
parabola has three parameters an axis."""

WINDOW_S = 0.4
"""Time over which a flight is taken to be a parabola, s: drag at 10 m/s departs from one by 3 mm
over it."""

FREE_U = 3.0
"""Standard uncertainties by which a position may miss the parabola of those next to it. Common
practice, no source."""

LEAST_SIGMA_SHARE = 0.025
"""Least standard deviation of a near ball's position, as a share of its diameter: its patches and
its shade. From balls laid over real frames."""

OFF_POSITIONS = 2
"""Positions in a row off the parabola that end the flight: one may be an outlier."""

ROUNDS = 4
"""Robust reweightings of a parabola. Common practice, no source."""


def free_part(times_s: Array, pixels: Array, diameter_px: float) -> slice:
    """Return the positions of a path from the ball's release to its catch.

    Parameters
    ----------
    times_s : ndarray, shape (N,)
        Rising.
    pixels : ndarray, shape (N, 2)
    diameter_px : float
        Of the ball in the same picture.
    """
    count = len(times_s)
    core = max(LEAST_CORE, round(CORE_SHARE * count))
    if count <= core:
        return slice(0, count)
    first = (count - core) // 2
    last = first + core
    least_px = LEAST_SIGMA_SHARE * diameter_px
    begin = _reached(times_s[:last][::-1], pixels[:last][::-1], last - first, least_px)
    end = _reached(times_s[first:], pixels[first:], last - first, least_px)
    return slice(last - begin, first + end)


def _reached(times_s: Array, pixels: Array, known: int, least_px: float) -> int:
    """Return how many positions, in the order given, lie on the parabola of the first ones."""
    good = list(range(known))
    reached, off = known, 0
    for at in range(known, len(times_s)):
        since = np.abs(times_s - times_s[at])
        near = [row for row in good if since[row] <= WINDOW_S]
        if len(near) < LEAST_CORE:
            near = good[-LEAST_CORE:]
        rows = np.array(near)
        design = (times_s[rows] - times_s[at])[:, None] ** np.arange(3)
        fit = fit_linear(design, pixels[rows], rounds=ROUNDS, least_sigma=least_px)
        # Three parameters an axis take up a part of the scatter.
        spread = fit.sigma * np.sqrt(len(rows) / (len(rows) - 3.0))
        u_px = spread * np.sqrt(1.0 + fit.cofactors[0, 0])
        if np.linalg.norm(pixels[at] - fit.parameters[0]) < FREE_U * u_px:
            good.append(at)
            reached, off = at + 1, 0
        else:
            off += 1
            if off >= OFF_POSITIONS:
                return reached
    return len(times_s)
