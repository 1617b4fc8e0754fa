"""How gusty the air was while a ball flew, by what its flight shows."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracker.fitting.circumstances import Circumstances
from tracker.fitting.normal_equations import eliminate
from tracker.fitting.parameters import PARAMETERS, WIND_AT

Array = NDArray[np.float64]

SHARES = np.array([0.1, 0.2, 0.4, 0.7, 1.0, 1.5, 2.2])
"""Gustiness over the usual one. Each is taken as equally likely before the flight is seen: some
air is all but still within a flight, and some squalls."""


def gustiness(
    circumstances: Circumstances,
    data_information: Array,
    departure: Array,
    correlation_factor: float,
) -> float:
    """Return the standard deviation of the gusts, m/s, as the flight itself makes it likely.

    The evidence of a variance is the chance of what was seen under it, all that is fitted summed
    over: with the information A that a clip has of the wind (everything else eliminated), the
    pull r of the clip on it and the covariance P that the variance gives it, twice the logarithm
    is ``r' P (1 + A P)^-1 r - log det (1 + A P)`` (D. J. C. MacKay, Neural Computation 4, 415,
    1992, for the linear model). Returned is the root of the variance averaged over `SHARES`.

    Parameters
    ----------
    circumstances : Circumstances
        With the usual gustiness.
    data_information : ndarray, shape (P, P)
        Information that the clip brought (`tracker.fitting.fit.FittedFlight`).
    departure : ndarray, shape (P,)
        Fitted parameters less what was expected of them.
    correlation_factor : float
        See `tracker.fitting.fit.FittedFlight`.
    """
    prior = circumstances.prior_information()
    # A fit balances what it saw against what was known: the one pulls as much as the other.
    pull = data_information @ departure + prior @ departure / correlation_factor
    winds = [int(place) for axis in WIND_AT for place in axis]
    others = [place for place in range(len(PARAMETERS)) if place not in winds]
    normal = data_information.copy()
    normal[np.ix_(others, others)] += prior[np.ix_(others, others)]
    seen, left = eliminate(normal, pull, winds, others)
    doubled = np.empty(len(SHARES))
    for place, share in enumerate(SHARES):
        own = replace(circumstances, gust_u_mps=share * circumstances.gust_u_mps)
        known = np.kron(np.eye(len(WIND_AT)), own.wind_covariance())
        mixed = np.eye(len(winds)) + seen @ known
        doubled[place] = left @ known @ np.linalg.solve(mixed, left)
        doubled[place] -= np.linalg.slogdet(mixed)[1]
    likely = np.exp(0.5 * (doubled - doubled.max()))
    share = np.sqrt(np.sum(likely * SHARES**2) / np.sum(likely))
    return float(share * circumstances.gust_u_mps)
