"""Check of time and lengths by gravity: a wrong frame rate or marker spacing changes its value."""

from dataclasses import dataclass, replace
from functools import partial
from math import hypot, log, sqrt

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment import Limits, NotDetermined, adjust
from calibration.adjustment.robust import huber_weights, sigma_of_radii
from tracker.fitting.circumstances import Circumstances
from tracker.fitting.fit import FittedFlight
from tracker.fitting.normal_equations import eliminate
from tracker.fitting.observations import Observations
from tracker.fitting.parameters import GRAVITY_AT, PARAMETERS, RELEASE_AT, VELOCITY_AT
from tracker.fitting.residuals import FlightResiduals
from tracker.fitting.weighting import KNEE
from tracker.records import Reason, ReasonCode

Array = NDArray[np.float64]

FREE_U_MPS2 = 4.0
"""Standard uncertainty of gravity in the check, m/s²: so wide that the positions decide."""

LEAST_SIGMAS = 4.0
LEAST_SHARE = 0.04
"""Gravity is reported as wrong when it is off by more than both: standard uncertainties, and a
share of its value. Spin or wind that nobody reported moves it by a few hundredths."""

RATES = (24.0, 25.0, 30.0, 48.0, 50.0, 60.0, 100.0, 120.0, 240.0, 480.0, 960.0)
"""Frame rates at which cameras film, frames a second. Common practice, no source."""

YARD_M = 0.9144
FOOT_M = 0.3048
"""International yard and foot, m (agreement of 1959; exact)."""

UNITS_M = {ReasonCode.GRAVITY_YARDS: YARD_M, ReasonCode.GRAVITY_FEET: FOOT_M}
"""Units that markers may be spaced in by mistake, by the reason that names them."""

LEAST_POSITIONS = 12
"""Fewest positions from which gravity is estimated. Common practice, no source."""

ROUNDS, LIMITS = 2, Limits(20, 3e-2, 0.0, halvings=4)
"""Adjustments, each weighted by the residuals of the one before; limits of each."""

FIRST_DISTANCE = 4.0
"""Residual of each position that the first adjustment assumes, in standard uncertainties: the first
guess is a cubic polynomial, not a flight."""

LEAST_SCALE, MOST_SCALE = 0.5, 4.0
"""Bounds of the positions' scatter over their own uncertainty: below the first the weights stay as
they are; above the second gravity is not what is wrong. Common practice, no source."""

PLAIN_SHARE, PLAIN_SCALE = 1.0 / 3.0, 2.5
"""A fit needs no check when, to first order, gravity comes out within this share of the reported
limit and the positions' scale is no larger than the second number."""

STRAINED = 25.0
"""A fit needs a check when its chi-square over the priors is larger than this: a clip of another
pace can be fitted closely by a drag, a wind and a lift that no ball has, and right shots have some
ten at most. Drawn shots; common practice, no source."""

NEAR = 0.02
"""How near a factor must come to a usual one, in its logarithm, beside three standard
uncertainties."""

LEAST_GRAVITY_MPS2 = 0.1
"""Least gravity with which the iteration starts, m/s²."""


@dataclass(frozen=True)
class FreeGravity:
    """Gravity as the positions alone give it.

    Attributes
    ----------
    share : float
        Fitted over local gravity.
    u : float
        Standard uncertainty of the logarithm of `share`.
    """

    share: float
    u: float


def gravity_doubt(
    circumstances: Circumstances, observed: Observations, fitted: FittedFlight, assumed_fps: float
) -> tuple[Reason, ...]:
    """Return the reasons that name a wrong frame rate or marker spacing; none where both are right.

    Parameters
    ----------
    circumstances, observed
        With which the flight was fitted.
    fitted : FittedFlight
    assumed_fps : float
        True frames a second, as assumed.
    """
    found = free_gravity(circumstances, observed, fitted)
    return () if found is None else explain(found, assumed_fps)


def free_gravity(
    circumstances: Circumstances, observed: Observations, fitted: FittedFlight
) -> FreeGravity | None:
    """Return gravity as the positions give it where it is significantly off, else None."""
    if np.sum(fitted.used) < LEAST_POSITIONS or _plainly_right(circumstances, fitted):
        return None
    local = circumstances.forces.gravity_mps2
    flight = FlightResiduals(
        replace(circumstances, gravity_u_mps2=FREE_U_MPS2),
        replace(observed.part(fitted.used), landed_s=None),
    )
    state = _first_guess(circumstances, flight.observed)
    radii = np.full(len(flight.roots), FIRST_DISTANCE)
    try:
        for _ in range(ROUNDS):
            scale = max(sigma_of_radii(radii), LEAST_SCALE)
            factor = np.sqrt(huber_weights(radii / scale, KNEE)) / scale
            again = adjust(
                partial(flight.weighted, factor=factor),
                state,
                np.ones(flight.count),
                limits=LIMITS,
            )
            state = again.state
            radii = np.linalg.norm(flight.white(state), axis=1)
    except NotDetermined:
        return None
    share = 1.0 + float(state[GRAVITY_AT]) / local
    u = sqrt(again.covariance[GRAVITY_AT, GRAVITY_AT])
    u_share = hypot(u, circumstances.gravity_u_mps2) / local
    off = abs(share - 1.0) > max(LEAST_SIGMAS * u_share, LEAST_SHARE)
    agrees = sigma_of_radii(radii) < MOST_SCALE
    if not again.settled or not agrees or share <= 0.0 or not off:
        return None
    return FreeGravity(share, u_share / share)


def _plainly_right(circumstances: Circumstances, fitted: FittedFlight) -> bool:
    """Return whether a fit shows, without another fit, that gravity is right.

    Gravity is freed to first order about the fit; its change must stay below a third of the
    reported limit, and positions and priors must agree with the flight.
    """
    known = fitted.with_gusts(circumstances)
    prior = known.prior_information()
    departure = fitted.parameters - known.prior_mean()
    if departure @ prior @ departure > STRAINED:
        return False
    pull = fitted.data_information @ departure + prior @ departure / fitted.correlation_factor
    prior[GRAVITY_AT] = prior[:, GRAVITY_AT] = 0.0
    others = [place for place in range(len(PARAMETERS)) if place != GRAVITY_AT]
    normal = fitted.data_information + prior
    seen, left = eliminate(normal, pull, [GRAVITY_AT], others)
    local = circumstances.forces.gravity_mps2
    if not fitted.settled or fitted.scale > PLAIN_SCALE or seen[0, 0] <= 0.0:
        return False
    u = hypot(1.0 / sqrt(seen[0, 0]), circumstances.gravity_u_mps2)
    limit = max(LEAST_SIGMAS * u, LEAST_SHARE * local)
    return bool(abs(left[0] / seen[0, 0]) < PLAIN_SHARE * limit)


def explain(found: FreeGravity, assumed_fps: float) -> tuple[Reason, ...]:
    """Return that gravity is off, and after it the likely causes.

    Where frames are taken at f' but counted at f, times are stretched by f'/f and accelerations
    shrink by its square: g_fit = g (f / f')². Where what is called a metre is L metres long,
    all lengths come out 1/L times theirs, and so g_fit = g / L.

    Parameters
    ----------
    found : FreeGravity
    assumed_fps : float
        True frames a second, as assumed.
    """
    rate, length = assumed_fps / sqrt(found.share), 1.0 / found.share
    causes: list[Reason] = []
    usual = min(RATES, key=lambda each: abs(log(each / rate)))
    if _near(rate / usual, found.u / 2.0) and not _near(assumed_fps / usual, 0.0):
        numbers = {"rate_fps": usual, "assumed_fps": assumed_fps}
        causes.append(Reason(ReasonCode.GRAVITY_FRAME_RATE, numbers))
    for code, metres in UNITS_M.items():
        if _near(length / metres, found.u):
            causes.append(Reason(code))
    if not causes:
        numbers = {"rate_fps": rate, "assumed_fps": assumed_fps, "ten_metres": 10.0 * length}
        causes.append(Reason(ReasonCode.GRAVITY_UNEXPLAINED, numbers))
    return (Reason(ReasonCode.GRAVITY_OFF, {"share": found.share}), *causes)


def _near(ratio: float, u_log: float) -> bool:
    return abs(log(ratio)) < NEAR + 3.0 * u_log


def _first_guess(circumstances: Circumstances, observed: Observations) -> Array:
    """Return first parameters from the path in the upright plane of the firing line.

    The fitted flight was bent to the assumed gravity and is no start. A cubic in time through the
    positions on the plane assumes nothing but the camera.
    """
    state = circumstances.prior_mean()
    release = circumstances.release_m
    times_s = observed.track.times_s
    places = circumstances.camera.on_plane(observed.track.pixels, release, (0.0, 1.0, 0.0))
    middle = float(np.mean(times_s))
    since = times_s - middle
    along = np.polynomial.Polynomial.fit(since, places[:, 0], 3)
    up = np.polynomial.Polynomial.fit(since, places[:, 2], 3)
    first = float(since.min())
    begin = first - (along(first) - release[0]) / along.deriv()(first)
    speed = np.array([along.deriv()(begin), 0.0, up.deriv()(begin)])
    drag = circumstances.forces.reach_per_m * circumstances.drag * np.linalg.norm(speed)
    gravity = max(-up.deriv(2)(begin) - drag * speed[2], LEAST_GRAVITY_MPS2)
    state[RELEASE_AT], state[VELOCITY_AT] = begin + middle, speed
    state[GRAVITY_AT] = gravity - circumstances.forces.gravity_mps2
    return state
