"""Whitened residuals of one flight: its positions, its bounce, what is given, every prior."""

import numpy as np
from numpy.typing import NDArray

from tracker.fitting.circumstances import GROUND_U_M, Circumstances
from tracker.fitting.end_rows import given_rows
from tracker.fitting.model import Prediction, predict
from tracker.fitting.observations import Observations
from tracker.fitting.parameters import (
    DRAG_AT,
    FLIGHT_AT,
    LIFT_AT,
    PARAMETERS,
    RELEASE_AT,
    SLOPE_AT,
    VELOCITY_AT,
)
from tracker.fitting.size_rows import size_rows
from tracker.flight.trajectory import Trajectory

Array = NDArray[np.float64]

FASTEST_MPS = 200.0
LONGEST_BEFORE_S = 15.0
MOST_COEFFICIENT = 20.0
"""Bounds of speed (m/s), time from release to the first position (s), and drag, lift and drag slope
(no unit) beyond which an iteration has strayed: some times what any thrown ball has."""

LEAST_FALL_MPS = 1.0
"""Speed of fall that is taken where a ball hardly falls when it lands, m/s."""


class FlightResiduals:
    """Residuals of positions, priors and bounce as functions of the parameters.

    Predictions are kept for the last parameters, since the same ones are asked for again by the
    next round of a fit.

    Parameters
    ----------
    circumstances : Circumstances
    observed : Observations
    """

    def __init__(self, circumstances: Circumstances, observed: Observations) -> None:
        self.circumstances, self.observed = circumstances, observed
        self.roots = observed.roots
        self.prior = circumstances.prior()
        self._instants = observed.instants
        self._last: tuple[bytes, Prediction] | None = None

    @property
    def count(self) -> int:
        """Number of residuals."""
        bounces = int(self.observed.landed_s is not None)
        given = 0 if self.observed.given is None else self.observed.given.count
        sizes = 0 if self.observed.sizes is None else len(self.observed.sizes.times_s)
        return 2 * len(self.roots) + self.prior.count + bounces + given + sizes

    def predict(self, at: Array) -> Prediction:
        """Return what parameters, shape (P,), predict."""
        key = at.tobytes()
        if self._last is None or self._last[0] != key:
            self._last = key, predict(self.circumstances, at, self._instants)
        return self._last[1]

    def white(self, at: Array) -> Array:
        """Return the positions' whitened residuals, shape (N, 2)."""
        residual = self.observed.track.pixels - self.predict(at).pixels
        white: Array = np.einsum("nij,nj->ni", self.roots, residual)
        return white

    def weighted(self, at: Array, factor: Array) -> tuple[Array, Array]:
        """Return all whitened residuals and the slopes of what is computed.

        Parameters
        ----------
        at : ndarray, shape (P,)
        factor : ndarray, shape (N,)
            Multiplies each position's residual and slope.

        Returns
        -------
        residuals : ndarray, shape (M,)
            Not finite where the parameters are none that a thrown ball can have.
        slopes : ndarray, shape (M, P)
        """
        if not self._plausible(at):
            return np.full(self.count, np.nan), np.full((self.count, len(PARAMETERS)), np.nan)
        prediction = self.predict(at)
        white = self.roots * factor[:, None, None]
        gap = np.einsum("nij,nj->ni", white, self.observed.track.pixels - prediction.pixels)
        slope = (white @ prediction.jacobian).reshape(-1, len(PARAMETERS))
        departure, by_departure = self.prior.rows(at)
        residuals = [gap.reshape(-1), departure]
        slopes = [slope, by_departure]
        if self.observed.landed_s is not None:
            bounce, by_bounce = ground_residual(
                self.circumstances, at, prediction.trajectory, self.observed.landed_s
            )
            residuals.append(bounce)
            slopes.append(by_bounce)
        if self.observed.given is not None:
            stated, by_stated = given_rows(self.circumstances, at, self.observed.given)
            residuals.append(stated)
            slopes.append(by_stated)
        if self.observed.sizes is not None:
            wide, by_wide = size_rows(
                self.circumstances, at, prediction.trajectory, self.observed.sizes
            )
            residuals.append(wide)
            slopes.append(by_wide)
        return np.concatenate(residuals), np.concatenate(slopes)

    def data_information(self, whitened_jacobian: Array, correlation_factor: float) -> Array:
        """Return the information of positions, bounce and what is given, shape (P, P)."""
        places = 2 * len(self.roots)
        seen = whitened_jacobian[:places]
        ends = whitened_jacobian[places + self.prior.count :]
        information: Array = seen.T @ seen / correlation_factor + ends.T @ ends
        return information

    def _plausible(self, at: Array) -> bool:
        times_s = self.observed.track.times_s
        return bool(
            np.all(np.isfinite(at))
            and np.linalg.norm(at[VELOCITY_AT]) < FASTEST_MPS
            and times_s[0] - LONGEST_BEFORE_S < at[RELEASE_AT] < times_s[-1]
            and abs(at[DRAG_AT]) < MOST_COEFFICIENT
            and np.all(np.abs(at[LIFT_AT]) < MOST_COEFFICIENT)
            and abs(at[SLOPE_AT]) < MOST_COEFFICIENT
        )


def ground_residual(
    circumstances: Circumstances, at: Array, trajectory: Trajectory, landed_s: tuple[float, float]
) -> tuple[Array, Array]:
    """Return the whitened height above the ground at the bounce, and its slope.

    Parameters
    ----------
    circumstances : Circumstances
    at : ndarray, shape (P,)
    trajectory : Trajectory
        With sensitivities.
    landed_s : tuple of float
        Time of the bounce and its standard uncertainty, s.

    Returns
    -------
    residual : ndarray, shape (1,)
    slope : ndarray, shape (1, P)
    """
    time = landed_s[0] - at[RELEASE_AT]
    states, by_launch = trajectory.at_with_sensitivities(np.array([time]))
    upward = circumstances.ground.upward
    climb = float(upward @ states[0, 3:])
    u = np.hypot(max(abs(climb), LEAST_FALL_MPS) * landed_s[1], GROUND_U_M)
    slope = np.zeros((1, len(PARAMETERS)))
    slope[0, RELEASE_AT] = -climb
    slope[0, FLIGHT_AT] = upward @ by_launch[0, :3]
    residual = circumstances.ball_radius_m - circumstances.ground.above(states)
    return residual / u, slope / u
