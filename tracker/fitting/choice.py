"""Drag and lift of a flight, and whether the flight or the ball table decided them."""

from math import log

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment import NotDetermined
from tracker.fitting.circumstances import Circumstances
from tracker.fitting.fit import FittedFlight
from tracker.fitting.normal_equations import RANK_SHARE
from tracker.fitting.parameters import DRAG_AT, LIFT_AT
from tracker.records import FlightModel

Array = NDArray[np.float64]

DECIDED, UNDECIDED = 0.75, 0.25
"""Shares of the drag's information that come from the flight: above the first (its standard
uncertainty at most half of the prior's) the flight decided, below the second the ball table did."""

STRONG, AGAINST = 3.0, -1.0
"""Natural logarithms of a Bayes factor for lift: strong evidence for it and positive evidence
against it (R. E. Kass and A. E. Raftery, J. Am. Stat. Assoc. 90, 773, 1995: twice the logarithm
above 6 and below -2)."""


def flight_model(circumstances: Circumstances, fitted: FittedFlight) -> FlightModel:
    """Return a flight's drag and lift, and what decided them.

    The Bayes factor of a flight with lift against one without is the prior density of zero lift
    over the posterior one (the Savage-Dickey ratio, J. M. Dickey, Ann. Math. Stat. 42, 204,
    1971), both normal.
    """
    parameters, covariance = fitted.parameters, fitted.covariance
    drag_u = float(np.sqrt(covariance[DRAG_AT, DRAG_AT]))
    share = 1.0 - (drag_u / circumstances.drag_u) ** 2 if circumstances.drag_u else 0.0
    source = "flight" if share > DECIDED else "both" if share > UNDECIDED else "table"
    lift, spread = parameters[LIFT_AT], covariance[LIFT_AT, LIFT_AT]
    factor = log_bayes_factor(lift, spread, circumstances.lift_u)
    found = "supported" if factor > STRONG else "none" if factor < AGAINST else "undecided"
    return FlightModel(
        drag_coefficient=float(parameters[DRAG_AT]),
        drag_coefficient_u=drag_u,
        drag_from=source,
        lift_up=float(lift[0]),
        lift_up_u=float(np.sqrt(spread[0, 0])),
        lift_side=float(lift[1]),
        lift_side_u=float(np.sqrt(spread[1, 1])),
        lift=found,
        log_bayes_factor=factor,
    )


def log_bayes_factor(lift: Array, covariance: Array, before_u: float) -> float:
    """Return the logarithm of the Bayes factor for lift.

    Parameters
    ----------
    lift : ndarray, shape (2,)
        As fitted.
    covariance : ndarray, shape (2, 2)
        Of the fitted lift.
    before_u : float
        Prior standard uncertainty of either lift about zero; where it is zero, the factor is one.

    Raises
    ------
    NotDetermined
        When the covariance is not positive: the fit is degenerate.
    """
    if before_u <= 0.0:
        return 0.0
    values = np.linalg.eigvalsh(covariance) if np.all(np.isfinite(covariance)) else np.zeros(1)
    if values[0] <= RANK_SHARE * values[-1]:
        raise NotDetermined("the fit's covariance is not positive")
    prior = -2.0 * log(before_u)
    distance = float(lift @ np.linalg.solve(covariance, lift))
    return prior + 0.5 * (float(np.sum(np.log(values))) + distance)
