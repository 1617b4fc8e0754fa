"""The ball's picture measured along a hop, and the hop fitted to it."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment import NotDetermined
from calibration.adjustment.reweighted import Priors, ReweightedFit, adjust_reweighted
from tracker.fitting.light import shift_by_light
from tracker.following.hop import (
    AFTER_S,
    LEAST_HITS,
    TOUCH_U_S,
    Hop,
    PredictedLanding,
    hop_pixels,
    hop_states,
    prior_mean,
    prior_u,
)
from tracker.measurement.context import ClipContext
from tracker.measurement.sighting import ROW_ROUNDS, Course, in_frame, sighted
from tracker.records import Candidates, Track

Array = NDArray[np.float64]

MEETING_PX = 0.3
"""Standard deviation with which two arcs that are each known from many frames meet in the frame,
px. From drawn clips."""

MEASUREMENTS, ROUNDS = 2, 6
"""How often the pictures are measured along the fitted hop, and rounds of each fit."""

KNEE_U, CUT_U = 2.0, 4.0
"""Whitened residuals beyond which a position counts less, and is no longer counted as a hit."""

TIME_AT = 0
"""Where the moment of the bounce stands among a hop's parameters."""

MOST_U_S = 0.06
"""A moment that the hop alone determines no better than this is no observation, s."""

STEPS = np.array([1e-4, 1e-3, 1e-3, 1e-3])
"""Steps of the numerical derivatives by time (s), restitution, speed kept and sideways speed."""


@dataclass(frozen=True)
class MeasuredHop:
    """A hop fitted to measured positions.

    Attributes
    ----------
    hop : Hop
        With the fitted values.
    u_s : float
        Standard uncertainty of the moment of the bounce.
    frames : int
        Frames in which the ball was measured on it.
    """

    hop: Hop
    u_s: float
    frames: int


def measure_hop(
    context: ClipContext,
    landing: PredictedLanding,
    hop: Hop,
    frames: list[Candidates],
    picture: tuple[float | None, Array],
) -> MeasuredHop | None:
    """Measure the ball's picture along a hop that was found, and fit the hop to it.

    Parameters
    ----------
    context : ClipContext
    landing : PredictedLanding
    hop : Hop
    frames : list of Candidates
        About the landing.
    picture : tuple of float or None, and ndarray, shape (3,)
        Exposure and light of the ball's pictures in the flight.

    Returns
    -------
    MeasuredHop or None
        None when too few positions lie on it.
    """
    state = np.array([hop.time_s, hop.restitution, hop.speed_kept, hop.sideways_mps])
    exposure, light = picture
    for _ in range(MEASUREMENTS):
        shown, course = _course(context, landing, state, frames)
        if len(shown) < LEAST_HITS:
            return None
        track, _ = sighted(context, context.camera, course, shown, exposure, light)
        if len(track.frames) < LEAST_HITS:
            return None
        try:
            fit = fit_hop(context, landing, track, state, light)
        except NotDetermined:
            return None
        state = fit.state
    return measured_hop(fit, landing, hop)


def measured_hop(fit: ReweightedFit, landing: PredictedLanding, hop: Hop) -> MeasuredHop | None:
    """Return a fitted hop with the moment of the bounce, None when too few positions lie on it.

    The landing that the flight predicts is a prior of this fit, and the moment becomes an
    observation of the same flight. The prior's share is taken out, or it would count twice.
    """
    hits = int(np.sum(fit.distance < CUT_U))
    if hits < LEAST_HITS:
        return None
    scatter = float(np.sqrt(np.mean(np.minimum(fit.whitened**2, CUT_U**2))))
    time_s, variance = fit.without_prior(priors_of(landing), TIME_AT)
    u_s = float(np.hypot(np.sqrt(variance) * max(1.0, scatter), TOUCH_U_S))
    if u_s > MOST_U_S:
        return None
    _, restitution, speed_kept, sideways = fit.state.tolist()
    fitted = replace(
        hop,
        time_s=time_s,
        restitution=restitution,
        speed_kept=speed_kept,
        sideways_mps=sideways,
    )
    return MeasuredHop(fitted, u_s, hits)


def priors_of(landing: PredictedLanding) -> Priors:
    """Return the priors of a hop's four parameters."""
    return Priors(prior_mean(landing), prior_u(landing))


def fit_hop(
    context: ClipContext, landing: PredictedLanding, track: Track, state: Array, light: Array
) -> ReweightedFit:
    """Fit a hop to positions, from a first state (time, restitution, speed kept, sideways).

    Raises
    ------
    NotDetermined
        When too few positions lie on it.
    """
    priors = priors_of(landing)
    times = context.rows_s(track.times_s, track.pixels, landing.readout_s)
    centres = track.pixels - shift_by_light(context.camera, track, light)
    roots = np.linalg.inv(np.linalg.cholesky(track.covariances + MEETING_PX**2 * np.eye(2)))

    def model(at: Array) -> tuple[Array, Array]:
        gap = centres - hop_pixels(landing, at[None], times)[0]
        slope = np.stack([_slope(landing, at, times, index) for index in range(4)], axis=2)
        return np.einsum("nij,nj->ni", roots, gap), np.einsum("nij,njk->nik", roots, slope)

    return adjust_reweighted(model, state, priors, rounds=ROUNDS, knee=KNEE_U, least=LEAST_HITS)


def _slope(landing: PredictedLanding, state: Array, times: Array, at: int) -> Array:
    """Return the derivative of a hop's pixels by one of its four numbers, shape (N, 2)."""
    step = np.zeros(4)
    step[at] = STEPS[at]
    both = hop_pixels(landing, np.stack([state + step, state - step]), times)
    slope: Array = (both[0] - both[1]) / (2.0 * STEPS[at])
    return slope


def _course(
    context: ClipContext, landing: PredictedLanding, state: Array, frames: list[Candidates]
) -> tuple[list[Candidates], Course]:
    """Return the frames in which a hop shows, and where the ball is in them."""
    times = np.array([each.time_s for each in frames])
    pixels = hop_pixels(landing, state[None], times)[0]
    for _ in range(ROW_ROUNDS):
        rows_s = context.rows_s(times, np.nan_to_num(pixels), landing.readout_s)
        states = hop_states(landing, state[None], rows_s)[0]
        pixels = landing.camera.project(states[:, :3])
    during = (rows_s > state[0]) & (rows_s < state[0] + AFTER_S)
    shown = [each for each, is_in in zip(frames, during, strict=True) if is_in]
    return in_frame(landing.camera, shown, Course(times[during], states[during], pixels[during]))
