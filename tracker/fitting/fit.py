"""Least-squares fit of a flight to the positions of one track, with every prior as observation."""

from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment import Adjustment, Limits, NotDetermined, adjust
from calibration.adjustment.normal import inverse_of_normal
from tracker.fitting.circumstances import Circumstances
from tracker.fitting.gustiness import gustiness
from tracker.fitting.observations import Observations
from tracker.fitting.parameters import CAMERA_AT, LAUNCH_AT, LIGHT_AT, RELEASE_AT
from tracker.fitting.residuals import FlightResiduals
from tracker.fitting.weighting import Weighting, correlation_factor
from tracker.flight.trajectory import Trajectory

Array = NDArray[np.float64]

LEAST_POSITIONS, LEAST_PICKED = 3, 2
"""Fewest positions of a fit: six numbers for the six of a launch in a known place. A person's
picks are no chance finds: with the priors, four numbers fix a release time and a velocity."""

ROUNDS = 5
"""Reweightings at most. Common practice, no source: two to three suffice nearly always."""

LIMITS = Limits(iterations=25, step=3e-2, damping=0.0, halvings=4)
"""Of one least-squares adjustment: it ends when a step is below 3 % of a standard uncertainty.
Distance and focal length trade along a valley that bends: steps follow it by halvings."""


@dataclass(frozen=True)
class FittedFlight:
    """A fitted shot.

    Attributes
    ----------
    parameters : ndarray, shape (P,)
        In the order of `tracker.fitting.parameters.PARAMETERS`.
    covariance : ndarray, shape (P, P)
    data_information : ndarray, shape (P, P)
        The part of the inverse covariance that comes from the clip: positions and bounce.
    residuals_px : ndarray, shape (N, 2)
        Observed less predicted positions.
    used : ndarray of bool, shape (N,)
        False for outliers.
    scale : float
        Median ratio of the positions' scatter to their own standard uncertainties.
    trajectory : Trajectory
        From release to the last position, with sensitivities.
    settled : bool
        Whether the iteration converged.
    correlation_factor : float
        Factor on the positions' variance for the correlation of neighbouring residuals.
    gust_u_mps : float or None
        Standard deviation of the gusts estimated from the flight, with which it was fitted; None
        when that of the circumstances was used.
    """

    parameters: Array
    covariance: Array
    data_information: Array
    residuals_px: Array
    used: NDArray[np.bool_]
    scale: float
    trajectory: Trajectory
    settled: bool
    correlation_factor: float = 1.0
    gust_u_mps: float | None = None

    @property
    def light(self) -> Array:
        """Brightness slope across the ball along the camera's axes, luma steps, shape (3,)."""
        return self.parameters[LIGHT_AT]

    def with_gusts(self, circumstances: Circumstances) -> Circumstances:
        """Return the circumstances of the shot with the gusts that it was fitted with."""
        if self.gust_u_mps is None:
            return circumstances
        return replace(circumstances, gust_u_mps=self.gust_u_mps)


def fit_flight(
    circumstances: Circumstances, observed: Observations, release_s: float, launch: Array
) -> FittedFlight:
    """Fit release, launch, readout and camera to a track.

    Least squares over the whitened residuals of the positions and the whitened departures from
    every prior, so the covariance of the result includes the camera's, the air's and the ball's
    (JCGM 100:2008, 5.2; the estimate is the maximum a posteriori one). The strength of the gusts
    is estimated from a first fit with the usual one, then used in a second.

    Parameters
    ----------
    circumstances : Circumstances
    observed : Observations
    release_s : float
        First guess, on the track's clock.
    launch : ndarray, shape (11,)
        First guess.

    Returns
    -------
    FittedFlight

    Raises
    ------
    NotDetermined
        When the track does not fix a flight.
    """
    start = initial_parameters(circumstances, release_s, launch)
    return refit_gusts(circumstances, observed, fit_given_gusts(circumstances, observed, start))


def initial_parameters(circumstances: Circumstances, release_s: float, launch: Array) -> Array:
    """Return the parameters, shape (P,), from which a fit with this first guess begins."""
    start = circumstances.prior_mean()
    start[RELEASE_AT], start[LAUNCH_AT] = release_s, launch
    # The fit begins at the camera as given, whatever its prior expects.
    start[CAMERA_AT:] = 0.0
    return start


def refit_gusts(
    circumstances: Circumstances, observed: Observations, fitted: FittedFlight
) -> FittedFlight:
    """Estimate the gusts from a fit with the usual ones, and fit again with them."""
    departure = fitted.parameters - circumstances.prior_mean()
    gust_u = gustiness(circumstances, fitted.data_information, departure, fitted.correlation_factor)
    gusty = replace(circumstances, gust_u_mps=gust_u)
    again = fit_given_gusts(gusty, observed, fitted.parameters, near=True)
    return replace(again, gust_u_mps=gust_u)


def fit_given_gusts(
    circumstances: Circumstances, observed: Observations, start: Array, near: bool = False
) -> FittedFlight:
    """Fit a track with the gusts of the circumstances.

    Parameters
    ----------
    circumstances : Circumstances
    observed : Observations
    start : ndarray, shape (P,)
        Parameters from which the iteration begins.
    near : bool
        Whether `start` comes from a similar fit: the positions are weighted by their residuals
        about it from the first round on.

    Raises
    ------
    NotDetermined
        When the track does not fix a flight.
    """
    least = LEAST_POSITIONS if observed.given is None else LEAST_PICKED
    if len(observed.track.times_s) < least:
        raise NotDetermined("fewer than three positions do not fix a flight")
    flight = FlightResiduals(circumstances, observed)
    state = start
    white = flight.white(state)
    weighting = Weighting.of(white) if near else Weighting.even(white)
    for round_ in range(ROUNDS):
        factor = weighting.factor
        result = adjust(
            partial(flight.weighted, factor=factor),
            state,
            np.ones(flight.count),
            limits=LIMITS,
        )
        state = result.state
        fresh = Weighting.of(flight.white(state))
        steady = weighting.agrees_with(fresh)
        weighting = fresh
        if steady and result.settled and (near or round_ > 0):
            break
    if np.sum(weighting.used) < least:
        raise NotDetermined("fewer than three positions agree with one flight")
    return _fitted(flight, result, weighting)


def _fitted(flight: FlightResiduals, result: Adjustment, weighting: Weighting) -> FittedFlight:
    """Return the fit that an adjustment ended with."""
    prediction, used = flight.predict(result.state), weighting.used
    white = flight.white(result.state)[used] / weighting.scale[used, None]
    factor = correlation_factor(white)
    data_information = flight.data_information(result.whitened_jacobian, factor)
    prior = flight.prior.information(result.state)
    return FittedFlight(
        parameters=result.state,
        covariance=inverse_of_normal(data_information + prior),
        data_information=data_information,
        residuals_px=flight.observed.track.pixels - prediction.pixels,
        used=used,
        scale=float(np.median(weighting.scale)),
        trajectory=prediction.trajectory,
        settled=result.settled,
        correlation_factor=factor,
    )
