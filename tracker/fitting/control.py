"""Positions of a flight that no other position checks."""

import numpy as np
from numpy.typing import NDArray

from tracker.fitting.circumstances import Circumstances
from tracker.fitting.fit import FittedFlight
from tracker.fitting.observations import Observations
from tracker.fitting.residuals import FlightResiduals
from tracker.fitting.weighting import Weighting

Array = NDArray[np.float64]

LEAST_REDUNDANCY = 0.2
"""Redundancy number below which a position is not controlled: its residual shows less than a fifth
of an error. Common practice, no source. Of nine foreign flights the least of any true position was
0.26, but for positions that stood 0.3 s and more from any other: 0.07 and, of a false one, 0.11."""

LEAST_OTHERS, FEWEST_OTHERS = 8, 5
"""Fewest positions of a flight beside one that nothing checks for that to be left out; fewest where
it also stands alone in time. Of seven spread evenly each end is checked little, and is needed."""

ALONE_S = 0.3
"""Time from any other position beyond which one stands alone, s: a flight seen for 0.3 s has been
led 60 px astray by one such two seconds later, its time of flight off by 17 standard uncertainties
(foreign film)."""


def uncontrolled(
    circumstances: Circumstances, observed: Observations, fitted: FittedFlight
) -> NDArray[np.bool_]:
    """Return which positions of a fit are used and checked by no other, shape (N,).

    A position that stands alone, long after the others, draws the flight to itself: a false one
    shows no residual. Its redundancy number, the share of an error that its residual shows, is
    one less its leverage (W. Baarda, A testing procedure for use in geodetic networks, 1968).

    Parameters
    ----------
    circumstances, observed
        With which the flight was fitted.
    fitted : FittedFlight
    """
    count = int(np.sum(fitted.used))
    if count <= FEWEST_OTHERS:
        return np.zeros(len(fitted.used), bool)
    flight = FlightResiduals(circumstances, observed)
    weighting = Weighting.of(flight.white(fitted.parameters))
    roots = flight.roots * weighting.factor[:, None, None]
    slope = roots @ flight.predict(fitted.parameters).jacobian
    leverage = np.einsum("nip,pq,niq->n", slope, fitted.covariance, slope) / 2.0
    alone: NDArray[np.bool_] = fitted.used & (leverage > 1.0 - LEAST_REDUNDANCY)
    if count <= LEAST_OTHERS:
        alone &= _far_in_time(observed.track.times_s, fitted.used)
    return alone


def _far_in_time(times_s: Array, used: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return which positions have no other used one within `ALONE_S`, shape (N,)."""
    gaps = np.abs(times_s[:, None] - times_s[used][None, :])
    gaps[np.flatnonzero(used), np.arange(np.sum(used))] = np.inf
    far: NDArray[np.bool_] = gaps.min(axis=1) > ALONE_S
    return far
