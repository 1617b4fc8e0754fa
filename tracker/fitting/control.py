"""Positions of a flight that no other position checks."""

import numpy as np
from numpy.typing import NDArray

from tracker.fitting.circumstances import Circumstances
from tracker.fitting.fit import FittedFlight
from tracker.fitting.observations import Observations
from tracker.fitting.residuals import FlightResiduals
from tracker.fitting.weighting import Weighting

LEAST_REDUNDANCY = 0.2
"""Redundancy number below which a position is not controlled: its residual shows less than a fifth
of an error. Common practice, no source. Of nine foreign flights the least of any true position was
0.26, but for positions that stood 0.3 s and more from any other: 0.07 and, of a false one, 0.11."""

LEAST_OTHERS = 8
"""Fewest positions of a flight in which one that nothing checks can be left out."""


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
    nothing = np.zeros(len(fitted.used), bool)
    if np.sum(fitted.used) <= LEAST_OTHERS:
        return nothing
    flight = FlightResiduals(circumstances, observed)
    weighting = Weighting.of(flight.white(fitted.parameters))
    roots = flight.roots * weighting.factor[:, None, None]
    slope = roots @ flight.predict(fitted.parameters).jacobian
    leverage = np.einsum("nip,pq,niq->n", slope, fitted.covariance, slope) / 2.0
    alone: NDArray[np.bool_] = fitted.used & (leverage > 1.0 - LEAST_REDUNDANCY)
    return alone
