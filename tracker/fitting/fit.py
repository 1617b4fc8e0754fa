"""The launch that explains a track best, with everything else that is known as observations."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment import Limits, NotDetermined, adjust
from calibration.adjustment.normal import inverse_of_normal
from calibration.adjustment.robust import huber_weights, sigma_of_radii
from tracker.fitting.gustiness import gustiness
from tracker.fitting.model import (
    CAMERA_AT,
    DRAG_AT,
    FLIGHT_AT,
    GRAVITY_AT,
    LIFT_AT,
    LIGHT_AT,
    PARAMETERS,
    SLOPE_AT,
    Circumstances,
    Instants,
    predict,
)
from tracker.flight.trajectory import Trajectory
from tracker.records import Track

Array = NDArray[np.float64]

LEAST_POSITIONS = 3
FASTEST_MPS = 200.0
LONGEST_BEFORE_S = 15.0

KNEE = 2.0
"""Whitened distance beyond which a position counts less (Huber, Ann. Math. Stat. 35, 73, 1964)."""

CUT = 6.0
"""Whitened distance beyond which a position is not used at all."""


@dataclass(frozen=True)
class FittedFlight:
    """A fitted shot.

    Attributes
    ----------
    parameters : ndarray, shape (P,)
        In the order of `tracker.fitting.model.PARAMETERS`.
    covariance : ndarray, shape (P, P)
    shown : ndarray, shape (P, P)
        The part of the inverse covariance that the clip itself brought: positions and bounce.
    residuals_px : ndarray, shape (N, 2)
        Seen less foretold.
    used : ndarray of bool, shape (N,)
    scale : float
        By how much the positions scatter more than their own uncertainties say.
    trajectory : Trajectory
        From release on, until the last position used.
    settled : bool
    spread : float
        By how much the variance of the positions counts more as neighbours' residuals agree.
    gust_u_mps : float or None
        Standard deviation of the gusts that the flight itself made likely, with which it was
        fitted; None where it was not asked.
    """

    parameters: Array
    covariance: Array
    shown: Array
    residuals_px: Array
    used: NDArray[np.bool_]
    scale: float
    trajectory: Trajectory
    settled: bool
    spread: float = 1.0
    gust_u_mps: float | None = None

    @property
    def light(self) -> Array:
        """How unevenly the ball was lit, along columns and rows, luma steps, shape (2,)."""
        return self.parameters[LIGHT_AT:GRAVITY_AT]

    def known(self, circumstances: Circumstances) -> Circumstances:
        """Return the circumstances of the shot with the gusts that it was fitted with."""
        if self.gust_u_mps is None:
            return circumstances
        return replace(circumstances, gust_u_mps=self.gust_u_mps)


def fit_flight(
    circumstances: Circumstances,
    track: Track,
    row_share: Array,
    release_s: float,
    launch: Array,
    *,
    landed_s: tuple[float, float] | None = None,
) -> FittedFlight:
    """Fit release, launch, readout and camera to a track.

    The residuals of the pixels and the departures from what is known are made small together,
    each in units of its standard uncertainty, so the covariance of the result holds the
    camera's, the air's and the ball's (JCGM 100:2008, 5.2; the estimate is the maximum a
    posteriori one). How gusty the air was is told by the flight itself: it is fitted with the
    usual gusts first, and then with those that it made likely.

    Parameters
    ----------
    circumstances : Circumstances
    track : Track
        Positions before the first bounce.
    row_share : ndarray, shape (N,)
        See `tracker.fitting.model.Instants`.
    release_s : float
        First guess, on the track's clock.
    launch : ndarray, shape (11,)
        First guess.
    landed_s : tuple of float, optional
        Time at which the first bounce was seen and its standard uncertainty, s; the ball's
        lowest point was on the ground then.

    Returns
    -------
    FittedFlight

    Raises
    ------
    NotDetermined
        When the track does not fix a flight.
    """
    usual = fit_in_usual_gusts(
        circumstances, track, row_share, first_state(circumstances, release_s, launch), landed_s
    )
    return with_likely_gusts(circumstances, track, row_share, usual, landed_s)


def first_state(circumstances: Circumstances, release_s: float, launch: Array) -> Array:
    """Return the parameters, shape (P,), from which a fit with this first guess begins."""
    start = circumstances.prior_mean()
    start[0], start[1:12] = release_s, launch
    # The fit begins at the camera as given, whatever else may be expected of it.
    start[CAMERA_AT:] = 0.0
    return start


def with_likely_gusts(
    circumstances: Circumstances,
    track: Track,
    row_share: Array,
    usual: FittedFlight,
    landed_s: tuple[float, float] | None = None,
) -> FittedFlight:
    """Fit a flight again with the gusts that it made likely when it was fitted with usual ones."""
    away = usual.parameters - circumstances.prior_mean()
    likely = gustiness(circumstances, usual.shown, away, usual.spread)
    told = replace(circumstances, gust_u_mps=likely)
    fitted = fit_in_usual_gusts(told, track, row_share, usual.parameters, landed_s, near=True)
    return replace(fitted, gust_u_mps=likely)


def fit_in_usual_gusts(
    circumstances: Circumstances,
    track: Track,
    row_share: Array,
    start: Array,
    landed_s: tuple[float, float] | None = None,
    near: bool = False,
) -> FittedFlight:
    """Fit a track from a first state, shape (P,), with gusts as the circumstances have them.

    Everything else is as in `fit_flight`, whose first half this is. `near` says that the first
    state is a fit to nearly the same: positions then count as they do about it from the start.
    """
    if len(track.times_s) < LEAST_POSITIONS:
        raise NotDetermined("fewer than three positions do not fix a flight")
    instants = Instants(track.times_s, row_share, track.lean)
    roots = _roots(track.covariances)
    mean = circumstances.prior_mean()
    known_root = prior_root(circumstances.prior_information())
    weights = np.ones(len(track.times_s))
    state = start
    scale = np.ones(len(track.times_s))

    count = 2 * len(weights) + len(known_root) + (landed_s is not None)

    def model(at: Array) -> tuple[Array, Array]:
        if not _sane(at, track.times_s):
            return np.full(count, np.nan), np.full((count, len(PARAMETERS)), np.nan)
        pixels, jacobian, trajectory = predict(circumstances, at, instants)
        white = roots * (np.sqrt(weights) / scale)[:, None, None]
        gap = np.einsum("nij,nj->ni", white, track.pixels - pixels).reshape(-1)
        slope = (white @ jacobian).reshape(-1, len(PARAMETERS))
        parts = [gap, known_root @ (mean - at)]
        slopes = [slope, known_root]
        if landed_s is not None:
            bounce, by_bounce = _bounce(circumstances, at, trajectory, landed_s)
            parts.append(bounce)
            slopes.append(by_bounce)
        return np.concatenate(parts), np.concatenate(slopes)

    # Distance and focal length trade along a valley that bends: steps follow it by halvings.
    limits = Limits(iterations=25, step=3e-2, damping=0.0, halvings=4)
    if near:
        white = np.einsum(
            "nij,nj->ni", roots, track.pixels - predict(circumstances, state, instants)[0]
        )
        scale, weights, _ = _counted(white)
    for round_ in range(5):
        result = adjust(model, state, np.ones(count), limits=limits)
        state = result.state
        pixels, _, trajectory = predict(circumstances, state, instants)
        residuals = track.pixels - pixels
        white = np.einsum("nij,nj->ni", roots, residuals)
        fresh, changed, relative = _counted(white)
        steady = bool(np.all(np.abs(fresh - scale) < 0.1 * scale))
        steady = steady and bool(np.all(np.abs(changed - weights) < 0.1))
        scale, weights = fresh, changed
        if steady and result.settled and (near or round_ > 0):
            break
    used = relative <= CUT
    if np.sum(used) < 3:
        raise NotDetermined("fewer than three positions agree with one flight")
    spread = _clustering(white[used] / scale[used, None])
    seen = result.whitened_jacobian[: 2 * len(weights)]
    known = result.whitened_jacobian[2 * len(weights) :]
    bounce = known[len(known_root) :]
    shown = seen.T @ seen / spread + bounce.T @ bounce
    covariance = inverse_of_normal(shown + known_root.T @ known_root)
    return FittedFlight(
        parameters=state,
        covariance=covariance,
        shown=shown,
        residuals_px=residuals,
        used=used,
        scale=float(np.median(scale)),
        trajectory=trajectory,
        settled=result.settled,
        spread=spread,
    )


def _counted(white: Array) -> tuple[Array, Array, Array]:
    """Return how positions count by their whitened residuals, shape (N, 2).

    Their scatter beside their own uncertainty, their weight, and their distance in units of that
    scatter, each shape (N,).
    """
    distance = np.sqrt(np.sum(white**2, axis=1))
    scale = _scale(distance) * _unrest(distance)
    relative = distance / scale
    return scale, huber_weights(relative, KNEE, CUT), relative


def _sane(at: Array, times_s: Array) -> bool:
    """Tell whether parameters are any that a thrown ball could have; an iteration may stray."""
    return bool(
        np.all(np.isfinite(at))
        and np.linalg.norm(at[4:7]) < FASTEST_MPS
        and times_s[0] - LONGEST_BEFORE_S < at[0] < times_s[-1]
        and abs(at[DRAG_AT]) < 20.0
        and np.all(np.abs(at[LIFT_AT]) < 20.0)
        and abs(at[SLOPE_AT]) < 20.0
    )


def _bounce(
    circumstances: Circumstances, at: Array, trajectory: Trajectory, landed_s: tuple[float, float]
) -> tuple[Array, Array]:
    """Return the departure from 'on the ground when it bounced' and its slope, whitened."""
    time = landed_s[0] - at[0]
    states, by_launch = trajectory.at_with_sensitivities(np.array([time]))
    fall = max(abs(states[0, 5]), 1.0)
    spread = np.hypot(fall * landed_s[1], 0.02)
    slope = np.zeros((1, len(PARAMETERS)))
    slope[0, 0] = -states[0, 5]
    slope[0, FLIGHT_AT] = by_launch[0, 2]
    gap = np.array([circumstances.ball_radius_m - states[0, 2]])
    return gap / spread, slope / spread


def _scale(distance: Array) -> float:
    """Return the factor between the scatter seen and the scatter foretold, from the median.

    With few positions the figure is drawn towards one.
    """
    count = len(distance)
    seen = sigma_of_radii(distance)
    return float(np.sqrt((count * seen**2 + 5.0) / (count + 5.0)))


def _unrest(distance: Array) -> Array:
    """Return, for each position, how much more its neighbours scatter than the rest, shape (N,).

    A flight crosses still sky and moving leaves, and in front of leaves every position is
    worse than its own pixels tell. The median of fifteen neighbours is drawn towards the
    median of all, as if eight more neighbours lay there; no stretch counts as better than it.
    """
    count = len(distance)
    usual = max(float(np.median(distance)), 1e-9)
    # At either end the stretch slides inward: an end repeated would be its own neighbour.
    first = np.clip(np.arange(count) - 7, 0, max(count - 15, 0))
    near = np.minimum(first[:, None] + np.arange(15), count - 1)
    local = (15.0 * np.median(distance[near], axis=1) + 8.0 * usual) / 23.0
    unrest: Array = np.maximum(1.0, local / usual)
    return unrest


def _clustering(white: Array) -> float:
    """Return by how much the variance of a mean grows because neighbouring residuals agree.

    For residuals with correlation r from one to the next it is (1 + r) / (1 - r) (G. V. Bayley
    and J. M. Hammersley, J. R. Stat. Soc. Suppl. 8, 184, 1946). Never below one.
    """
    if len(white) < 12:
        return 1.0
    ratios = []
    for part in white.T:
        part = np.clip(part, -4.0, 4.0)
        ratios.append(float(np.sum(part[1:] * part[:-1]) / max(np.sum(part * part), 1e-12)))
    correlation = float(np.clip(np.mean(ratios), 0.0, 0.8))
    return (1.0 + correlation) / (1.0 - correlation)


def _roots(covariances: Array) -> Array:
    """Return matrices that take residuals to unit variance, shape (N, 2, 2)."""
    return np.linalg.inv(np.linalg.cholesky(covariances))


def prior_root(information: Array) -> Array:
    """Return R with R^T R the information, one row a parameter that something is known of."""
    values, vectors = np.linalg.eigh(_scaled(information))
    kept = values > 1e-14
    length = np.sqrt(np.maximum(np.diag(information), 1e-300))
    return (np.sqrt(values[kept])[:, None] * vectors[:, kept].T) * length


def _scaled(information: Array) -> Array:
    length = np.sqrt(np.maximum(np.diag(information), 1e-300))
    return information / np.outer(length, length) * (np.diag(information) > 0)
