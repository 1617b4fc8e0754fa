"""Whether what supports a flight goes straight on beyond it: a bird that crosses its path.

For a third of a second a flight and a straight way differ by no more than the gate. Where a clip
is cut short, so few frames may support one flight enough, though the bird is seen in all others.
"""

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.robust import fit_linear
from tracker.following.hypothesis import Hypothesis, Pool

Array = NDArray[np.float64]

MORE_HITS = 1.3
"""Frames in which a straight way has a candidate, over those of a flight, from which it is the
better explanation: what flies has none beyond its flight. Common practice, no source."""

SHARED = 0.6
"""Least share of the flight's candidates that lie on the straight way. Common practice, no
source."""

ROUNDS, LEAST_SIGMA_PX = 4, 1.0
"""Robust reweightings of the straight way, and the least scatter of candidates about it, px."""


def goes_straight(pool: Pool, flight: Hypothesis, gate_px: float) -> bool:
    """Return whether the candidates of a flight move at a constant velocity, and go on so.

    Parameters
    ----------
    pool : Pool
        All candidates from which the flight was chosen.
    flight : Hypothesis
        With its candidates.
    gate_px : float
        How far a candidate may lie from either.
    """
    if flight.chosen is None or len(flight.chosen) < 3:
        return False
    times_s = pool.frame_times_s[pool.owner]
    middle_s = float(np.mean(times_s[flight.chosen]))
    design = np.column_stack([np.ones(len(times_s)), times_s - middle_s])
    way = fit_linear(
        design[flight.chosen],
        pool.pixels[flight.chosen],
        rounds=ROUNDS,
        least_sigma=LEAST_SIGMA_PX,
    )
    near = np.linalg.norm(pool.pixels - design @ way.parameters, axis=1) < gate_px
    hits = len(np.unique(pool.owner[near]))
    return bool(np.mean(near[flight.chosen]) >= SHARED and hits >= MORE_HITS * flight.hits)
