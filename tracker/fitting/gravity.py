"""Time and lengths checked by gravity, the one clock and rule that no camera can misplace."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import hypot, log, sqrt

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment import Limits, NotDetermined, adjust
from calibration.adjustment.robust import huber_weights, sigma_of_radii
from tracker.fitting.elimination import without
from tracker.fitting.fit import KNEE, FittedFlight, prior_root
from tracker.fitting.model import GRAVITY_AT, PARAMETERS, Circumstances, Instants, predict
from tracker.records import Track

Array = NDArray[np.float64]

FREE_U_MPS2 = 4.0
"""So little is said of gravity beforehand that the positions decide."""

LEAST_SIGMAS = 4.0
LEAST_SHARE = 0.04
"""Gravity must be off by more than both before anything is said: a ball that spins or a wind
that was not told moves it by a few hundredths."""

RATES = (24.0, 25.0, 30.0, 48.0, 50.0, 60.0, 100.0, 120.0, 240.0, 480.0, 960.0)
"""Frames a second at which cameras film. Common practice, no source."""

YARD_M = 0.9144
"""International yard (agreement of 1959; exact): ten yards paced out and written down as 10 m."""

FOOT_M = 0.3048

LEAST_POSITIONS = 12
"""With fewer, a path says nothing of gravity that is worth telling."""

FIRST_DISTANCE = 4.0
"""How far positions lie from the first state, in units of their own uncertainty, as they count
in the first adjustment."""

MOST_SCALE = 4.0
"""Where positions scatter by more than this about the best flight under any gravity, it is not
gravity that is wrong."""

PLAIN_SHARE, PLAIN_SCALE = 1.0 / 3.0, 2.5
"""A fit whose own pull on gravity stays below this share of what would be told, and whose
positions scatter no more than this beyond their own uncertainty, needs no second look."""

NEAR = 0.02
"""How near, besides three times its uncertainty, a factor must come to a usual one."""


@dataclass(frozen=True)
class FreeGravity:
    """Gravity as the positions alone have it.

    Attributes
    ----------
    share : float
        Fitted over local gravity.
    u : float
        Standard uncertainty of the logarithm of `share`.
    """

    share: float
    u: float


def gravity_verdict(
    circumstances: Circumstances,
    track: Track,
    row_share: Array,
    fitted: FittedFlight,
    assumed_fps: float,
) -> str | None:
    """Return the clause that tells of a wrong frame rate or spacing, or None.

    Parameters
    ----------
    circumstances, track, row_share
        As the flight was fitted with.
    fitted : FittedFlight
    assumed_fps : float
        Frames in a true second, as they were taken to be.

    Returns
    -------
    str or None
    """
    found = free_gravity(circumstances, track, row_share, fitted)
    return None if found is None else explain(found, assumed_fps)


def free_gravity(
    circumstances: Circumstances, track: Track, row_share: Array, fitted: FittedFlight
) -> FreeGravity | None:
    """Return gravity as the positions have it where it is off, None where it is not."""
    if np.sum(fitted.used) < LEAST_POSITIONS:
        return None
    local = circumstances.forces.gravity_mps2
    if _plainly_right(circumstances, fitted):
        return None
    loose = replace(circumstances, gravity_u_mps2=FREE_U_MPS2)
    state = _start(circumstances, track, fitted.used)
    distance = np.full(int(np.sum(fitted.used)), FIRST_DISTANCE)
    for _ in range(2):
        model = _model(loose, track, row_share, fitted.used, distance)
        size = 2 * len(distance) + len(prior_root(loose.prior_information()))
        try:
            again = adjust(model, state, np.ones(size), limits=Limits(20, 3e-2, 0.0, halvings=4))
        except NotDetermined:
            return None
        state = again.state
        distance = _distances(loose, track, row_share, fitted.used, state)
    share = 1.0 + float(state[GRAVITY_AT]) / local
    u = sqrt(again.covariance[GRAVITY_AT, GRAVITY_AT])
    u_share = hypot(u, circumstances.gravity_u_mps2) / local
    off = abs(share - 1.0) > max(LEAST_SIGMAS * u_share, LEAST_SHARE)
    agrees = sigma_of_radii(distance) < MOST_SCALE
    if not again.settled or not agrees or share <= 0.0 or not off:
        return None
    return FreeGravity(share, u_share / share)


def _plainly_right(circumstances: Circumstances, fitted: FittedFlight) -> bool:
    """Tell whether a fit shows without another that gravity is not off.

    To first order about the fit, with gravity no longer held, it comes out within a third of what
    would be told, and the positions agree with the flight.
    """
    known = fitted.known(circumstances)
    prior = known.prior_information()
    away = fitted.parameters - known.prior_mean()
    pull = fitted.shown @ away + prior @ away / fitted.spread
    prior[GRAVITY_AT] = prior[:, GRAVITY_AT] = 0.0
    others = [place for place in range(len(PARAMETERS)) if place != GRAVITY_AT]
    normal = fitted.shown + prior
    seen, left = without(normal, pull, [GRAVITY_AT], others)
    local = circumstances.forces.gravity_mps2
    if not fitted.settled or fitted.scale > PLAIN_SCALE or seen[0, 0] <= 0.0:
        return False
    u = hypot(1.0 / sqrt(seen[0, 0]), circumstances.gravity_u_mps2)
    return bool(
        abs(left[0] / seen[0, 0]) < PLAIN_SHARE * max(LEAST_SIGMAS * u, LEAST_SHARE * local)
    )


def explain(found: FreeGravity, assumed_fps: float) -> str:
    """Return a clause that names the likely cause of a gravity that is off.

    Where frames are really taken at f' but counted at f, times are stretched by f'/f and
    accelerations shrink by its square: g_fit = g (f / f')². Where what is called a metre is
    really L metres long, all lengths come out 1/L times theirs, and so g_fit = g / L.

    Parameters
    ----------
    found : FreeGravity
    assumed_fps : float
        Frames in a true second, as they were taken to be.
    """
    rate, length = assumed_fps / sqrt(found.share), 1.0 / found.share
    causes = []
    usual = min(RATES, key=lambda each: abs(log(each / rate)))
    if _near(rate / usual, found.u / 2.0) and not _near(assumed_fps / usual, 0.0):
        causes.append(
            f"the true frame rate is likely {usual:g} a second, not {assumed_fps:.4g} "
            "(see capture_fps)"
        )
    for name, metres in (("yards", YARD_M), ("feet", FOOT_M)):
        if _near(length / metres, found.u):
            causes.append(f"the markers are likely spaced in {name}, not metres")
    if not causes:
        causes.append(
            f"either the true frame rate is {rate:.3g} a second, not {assumed_fps:.4g} "
            f"(see capture_fps), or what is taped as 10 m is {10.0 * length:.3g} m"
        )
    return f"gravity comes out {_times(found.share)} what it is here: " + " or ".join(causes)


def _times(share: float) -> str:
    return f"{share:.2f} times" if share < 10.0 else f"{share:.0f} times"


def _near(ratio: float, u_log: float) -> bool:
    return abs(log(ratio)) < NEAR + 3.0 * u_log


def _start(circumstances: Circumstances, track: Track, used: NDArray[np.bool_]) -> Array:
    """Return a first state from the path in the upright plane of the firing line.

    The fitted flight was bent to explain the gravity that was assumed, and is no start. A
    cubic of time through the places on the plane takes nothing for granted but the camera.
    """
    state = circumstances.prior_mean()
    release = circumstances.release_m
    places = circumstances.camera.on_plane(track.pixels[used], release, (0.0, 1.0, 0.0))
    middle = float(np.mean(track.times_s[used]))
    since = track.times_s[used] - middle
    along = np.polynomial.Polynomial.fit(since, places[:, 0], 3)
    up = np.polynomial.Polynomial.fit(since, places[:, 2], 3)
    first = float(since.min())
    begin = first - (along(first) - release[0]) / along.deriv()(first)
    speed = np.array([along.deriv()(begin), 0.0, up.deriv()(begin)])
    drag = circumstances.forces.reach_per_m * circumstances.drag * np.linalg.norm(speed)
    gravity = max(-up.deriv(2)(begin) - drag * speed[2], 0.1)
    state[0], state[4:7] = begin + middle, speed
    state[GRAVITY_AT] = gravity - circumstances.forces.gravity_mps2
    return state


def _model(
    loose: Circumstances, track: Track, row_share: Array, used: NDArray[np.bool_], distance: Array
) -> Callable[[Array], tuple[Array, Array]]:
    """Return the whitened residuals and slopes of the used positions and of what is known.

    A position counts by its own uncertainty, by how much all of them scatter (the median of
    their whitened distances) and less where it lies far off (Huber).
    """
    instants = Instants(track.times_s[used], row_share[used], track.lean[used])
    scale = max(sigma_of_radii(distance), 0.5)
    weights = huber_weights(distance / scale, KNEE)
    roots = _roots(track, used) * (np.sqrt(weights) / scale)[:, None, None]
    mean, prior = loose.prior_mean(), prior_root(loose.prior_information())

    def model(at: Array) -> tuple[Array, Array]:
        pixels, jacobian, _ = predict(loose, at, instants)
        gap = np.einsum("nij,nj->ni", roots, track.pixels[used] - pixels).reshape(-1)
        slope = (roots @ jacobian).reshape(-1, len(PARAMETERS))
        return np.concatenate([gap, prior @ (mean - at)]), np.concatenate([slope, prior])

    return model


def _distances(
    loose: Circumstances, track: Track, row_share: Array, used: NDArray[np.bool_], at: Array
) -> Array:
    """Return how far the used positions lie off, in units of their own uncertainty."""
    instants = Instants(track.times_s[used], row_share[used], track.lean[used])
    missed = track.pixels[used] - predict(loose, at, instants)[0]
    far: Array = np.linalg.norm(np.einsum("nij,nj->ni", _roots(track, used), missed), axis=1)
    return far


def _roots(track: Track, used: NDArray[np.bool_]) -> Array:
    return np.linalg.inv(np.linalg.cholesky(track.covariances[used]))
