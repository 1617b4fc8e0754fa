"""Strength of the gusts during a flight, estimated from the flight."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracker.fitting.circumstances import Circumstances
from tracker.fitting.normal_equations import eliminate
from tracker.fitting.parameters import PARAMETERS, WIND_AT

Array = NDArray[np.float64]

SHARES = np.array([0.1, 0.2, 0.4, 0.7, 1.0, 1.5, 2.2])
"""Standard deviation of the gusts over the usual one, each with the same prior probability: the air
is all but still during some flights and squally during others. Common practice, no source."""


def gustiness(
    circumstances: Circumstances,
    data_information: Array,
    departure: Array,
    correlation_factor: float,
) -> float:
    """Return the standard deviation of the gusts, m/s, estimated from the flight.

    The evidence of a variance is the marginal likelihood of the positions: with the information A
    of the clip on the wind (everything else eliminated), its right side r and the wind's prior
    covariance P under that variance, twice the logarithm is
    ``r' P (1 + A P)^-1 r - log det (1 + A P)`` (D. J. C. MacKay, Neural Computation 4, 415, 1992,
    for the linear model). Returned is the root of the variance averaged over `SHARES` with the
    evidence as weight.

    Parameters
    ----------
    circumstances : Circumstances
        With the usual gusts.
    data_information : ndarray, shape (P, P)
        Information of the clip (`tracker.fitting.fit.FittedFlight`).
    departure : ndarray, shape (P,)
        Fitted parameters less their prior mean.
    correlation_factor : float
        See `tracker.fitting.fit.FittedFlight`.
    """
    prior = circumstances.prior_information()
    # At the minimum of a fit the pull of the data balances that of the priors.
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
