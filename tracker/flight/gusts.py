"""Gusts: wind that changes while a ball flies.

The pattern of the wind is taken as frozen (G. I. Taylor, Proc. R. Soc. A 164, 476, 1938), and a
ball crosses it much faster than it drifts, so that along the flight the wind changes within
the time in which the ball crosses one length of the turbulence.
"""

from functools import cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

GUST_MODES = 6
GUST_SPAN_S = 3.0
"""Number of gust modes, and the time span (s) in which they make 1 to 6 half turns. Faster ones
hardly move a ball, which integrates them twice; after the span they continue, mirrored."""

GUST_LENGTHS_M = (25.0, 8.0)
"""Integral lengths of the wind's turbulence near the ground, m, each with half of the variance. EN
1991-1-4, annex B, gives 300 m (z / 200 m)**0.52 over grass, 28 to 44 m at 2 to 5 m, for the wind
along itself; across it lengths are a third of that (J. Counihan, Atmos. Environ. 9, 871, 1975;
both from memory). The direction of the flight to the wind is not known, so both have their
share."""

BALL_MPS = 17.0
"""Usual speed of a ball through the air, m/s. Common practice, no source."""

NODES = 601
"""Nodes of the integration over the span: 5 ms apart, far finer than the shortest length."""

GUST_INTENSITY = 0.40
"""Standard deviation of a level wind's parts over its mean. EN 1991-1-4, 4.4, has 1 / ln(z / z0):
0.22 to 0.27 over grass (z0 0.05 m) at 5 to 2 m, 0.36 among houses and trees (z0 0.3 m, 5 m) and
0.43 in a town (z0 1 m, 10 m); from memory. Taken from the upper end, as a club's field lies
among houses and trees and a ball flies lower than a house."""


def gust_modes(times_s: Array) -> Array:
    """Return the gust modes at times from the release, shape (N, 6)."""
    turns = np.arange(1, GUST_MODES + 1) * (np.pi / GUST_SPAN_S)
    modes: Array = np.cos(np.multiply.outer(times_s, turns))
    return modes


@cache
def gust_covariance() -> Array:
    """Return the covariance of the mean and the modes of a gust of unit variance, (7, 7).

    The gust is the sum of two first-order Gauss-Markov processes (Ornstein and Uhlenbeck, Phys.
    Rev. 36, 823, 1930), one a length, whose correlation falls as exp(-v t / L) on the ball's
    path; projected on the cosines of one span, by Simpson's rule.
    """
    count = NODES
    times = np.linspace(0.0, GUST_SPAN_S, count)
    weights = np.full(count, 2.0)
    weights[1::2] = 4.0
    weights[[0, -1]] = 1.0
    weights *= (times[1] - times[0]) / 3.0
    apart_m = BALL_MPS * np.abs(times[:, None] - times)
    kernel = np.mean([np.exp(-apart_m / length) for length in GUST_LENGTHS_M], axis=0)
    modes = np.column_stack([np.full(count, 0.5), gust_modes(times)])
    project = 2.0 / GUST_SPAN_S * modes * weights[:, None]
    covariance: Array = project.T @ kernel @ project
    return (covariance + covariance.T) / 2.0
