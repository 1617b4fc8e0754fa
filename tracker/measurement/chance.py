"""Whether chance explains the positions of a flight that nothing but they supports.

A flight from the release point is supported by where it starts, and by a search that counts what it
tries. A path that may start anywhere has only its positions: here they are held against the other
candidates about it.
"""

import numpy as np
from numpy.typing import NDArray

from tracker.following.support import MISS, SEEN_CHANCE
from tracker.measurement.visibility import AROUND_PX, Crossing, others_around
from tracker.records import Track

Array = NDArray[np.float64]

FIXING = 3
"""Positions that fix a path with an acceleration, and say nothing for it."""

UNSEEN = 0.5
"""Candidates that may be about a path though none was seen: the mean of a Poisson rate's
distribution after none (H. Jeffreys, Theory of Probability, 3rd ed. 1961, 3.1)."""

LEAST_SUPPORT = 28.0
"""Log-likelihood ratio that a path from anywhere needs: that of a flight from the release point,
where as many are tried (`tracker.following.verdict`)."""


def support_against_chance(
    track: Track, residuals_px: Array, used: NDArray[np.bool_], crossing: Crossing
) -> float:
    """Return the log-likelihood ratio of a flight's positions against candidates by chance.

    A frame with a position counts ``log(1 - P + P N(residual) / density)``, one without counts
    ``log(1 - P)`` (S. Blackman and R. Popoli, Design and Analysis of Modern Tracking Systems, 1999,
    ch. 6). The density is that of all other candidates about the flight in all of its frames; the
    best three positions do not count.

    Parameters
    ----------
    track : Track
    residuals_px : ndarray, shape (N, 2)
        Of the fitted flight.
    used : ndarray of bool, shape (N,)
        Positions that the flight explains.
    crossing : Crossing
        The frames that it crosses.
    """
    frames = len(crossing.frames)
    others = float(np.sum(others_around(crossing))) + UNSEEN
    density = others / (max(frames, 1) * np.pi * AROUND_PX**2)
    covariances, off = track.covariances[used], residuals_px[used]
    squared = np.einsum("ni,nij,nj->n", off, np.linalg.inv(covariances), off)
    normal = np.exp(-0.5 * squared) / (2.0 * np.pi * np.sqrt(np.linalg.det(covariances)))
    ratios = np.log(1.0 - SEEN_CHANCE + SEEN_CHANCE * normal / density)
    counted = np.sort(np.maximum(ratios, MISS))[: max(len(ratios) - FIXING, 0)]
    return float(np.sum(counted)) + MISS * max(frames - len(ratios), 0)
