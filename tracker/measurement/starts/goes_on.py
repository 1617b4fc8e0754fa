"""Whether what falls along a flight moves on at the same pace beyond its ends, without falling.

A bird that folds its wings, or swoops, falls and rises as a ball does. Before and after it flies
level, or turns upward, but crosses the frame as fast as before. Where that shows in a few frames
only, no path is made of it; the candidates about the flight's ends are searched for it here.
"""

from collections.abc import Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from tracker.measurement.flight import Flight
from tracker.records import Candidates, Track

Array = NDArray[np.float64]

LOOK_S = 0.5
"""Time beyond either end in which it is looked for, s: half a bird's bound. Common practice, no
source."""

REACH_PX, PACE_SHARE = 1.5, 0.05
"""How far across the frame a candidate may be from where it is expected, px, and how much the pace
there may change, as a share. A ball that bounces, rolls or is caught changes its pace by more than
a tenth; from drawn birds."""

COURSE_PX = 3.0
"""How far up or down a candidate may be from the course, px: a wing beats."""

LEAST_S = 0.3
"""How far from the flight's end a course must reach, s: a hand keeps the ball's pace for less."""

MOST_FALL = 0.5
"""Share of the flight's fall above which what is seen beyond its end falls on."""

LEAST_POSITIONS, LEAST_EVIDENCE = 4, 7.0
"""Fewest candidates on one course, and least log-likelihood ratio against chance (1 in 1,000), less
the logarithm of the courses that were tried."""

NEAR_PX = 60.0
"""Half the height of the strip in which candidates are looked for, px: they are kept that far from
a flight in frames of a usual width."""


def goes_on(
    track: Track, used: NDArray[np.bool_], flight: Flight, near: Sequence[Candidates]
) -> bool:
    """Return whether something moves on at a flight's pace before or after it, without falling.

    Parameters
    ----------
    track : Track
        Measured positions of the flight.
    used : ndarray of bool, shape (N,)
        Those that the fit used.
    flight : Flight
    near : sequence of Candidates
        All frames about the flight.
    """
    times, pixels = track.times_s[used], track.pixels[used]
    if len(times) < 3:
        return False
    since = times - times.mean()
    fall = 2.0 * float(np.polyfit(since, pixels[:, 1], 2)[0])
    for at, sign in ((-1, 1.0), (0, -1.0)):
        lapses = np.array([sign * (each.time_s - times[at]) for each in near])
        beyond = np.flatnonzero((lapses > 0.0) & (lapses <= LOOK_S))
        if len(beyond) < LEAST_POSITIONS:
            continue
        columns = flight.path(times[at] + sign * np.append(0.0, lapses[beyond]))[:, 0]
        ways = np.abs(columns[1:] - columns[0])
        places = []
        for row, column, way in zip(beyond.tolist(), columns[1:], ways, strict=True):
            off = near[row].pixels - np.array([column, pixels[at, 1]])
            places.append(off[np.abs(off[:, 0]) < REACH_PX + PACE_SHARE * way, 1])
        if evidence_of_course(lapses[beyond], places, fall) > LEAST_EVIDENCE:
            return True
    return False


def evidence_of_course(lapses_s: Array, places_px: Sequence[Array], fall_pxps2: float) -> float:
    """Return the log-likelihood ratio of one course through frames that does not fall.

    The course begins at zero, and two candidates determine it: a parabola. Chance puts a candidate
    onto it in each frame with the probability that the other candidates of the strip have. Where a
    course that falls has as many candidates it is the flight's own: minus infinity.

    Parameters
    ----------
    lapses_s : ndarray, shape (N,)
        Time from the flight's end, positive, s.
    places_px : sequence of N ndarrays
        Rows of the candidates of each frame at the flight's pace, from the flight's end, px.
    fall_pxps2 : float
        Of the flight, px/s².
    """
    rows = [
        (lapse, place)
        for lapse, some in zip(lapses_s, places_px, strict=True)
        for place in some[np.abs(some) < NEAR_PX]
    ]
    pairs = [(one, other) for one, other in combinations(rows, 2) if one[0] != other[0]]
    if not pairs:
        return -np.inf
    ends = np.array(pairs)
    t, y = ends[:, :, 0], ends[:, :, 1]
    bend = 2.0 * (y[:, 1] / t[:, 1] - y[:, 0] / t[:, 0]) / (t[:, 1] - t[:, 0])
    speed = y[:, 0] / t[:, 0] - 0.5 * bend * t[:, 0]
    hits, reached_s = np.zeros(len(pairs), np.int64), np.zeros(len(pairs))
    for lapse, some in zip(lapses_s, places_px, strict=True):
        course = speed * lapse + 0.5 * bend * lapse**2
        on = np.any(np.abs(some[:, None] - course) < COURSE_PX, axis=0)
        hits += on
        reached_s = np.where(on, np.maximum(reached_s, lapse), reached_s)
    falls = bend > MOST_FALL * fall_pxps2
    level = int(hits[~falls & (reached_s > LEAST_S)].max(initial=0))
    if level < LEAST_POSITIONS or level <= int(hits[falls].max(initial=0)):
        return -np.inf
    count = len(lapses_s)
    others = len(rows) - level + 1
    chance = 1.0 - np.exp(-others / count * COURSE_PX / NEAR_PX)
    share = min(level / count, 1.0 - 0.5 / count)
    gained = level * np.log(share / chance) + (count - level) * np.log((1 - share) / (1 - chance))
    return float(gained - np.log(len(pairs)))
