"""The fit expected of a flight that has not been filmed yet."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.normal import inverse_of_normal
from tracker.fitting.circumstances import Circumstances
from tracker.fitting.figures import Figures, figures_of
from tracker.fitting.fit import FittedFlight
from tracker.fitting.model import STEP_S, flight_of, look
from tracker.fitting.observations import Instants
from tracker.fitting.parameters import FADE_AT, GRAVITY_AT, LIFT_AT, VELOCITY_AT
from tracker.flight.trajectory import Trajectory

Array = NDArray[np.float64]


@dataclass(frozen=True)
class ExpectedFlight:
    """An expected flight, and all of it that does not depend on the camera.

    Attributes
    ----------
    parameters : ndarray, shape (P,)
        In the order of `tracker.fitting.parameters.PARAMETERS`; released at time zero.
    trajectory : Trajectory
        With sensitivities, a little beyond the landing.
    figures : Figures
    lifted : Trajectory or None
        The same with the lift that is usual, whose sensitivity to the lift's fade counts. None
        where the flight's own does.
    """

    parameters: Array
    trajectory: Trajectory
    figures: Figures
    lifted: Trajectory | None = None

    @property
    def landing_s(self) -> float:
        """Time from release to the first bounce, s."""
        return self.figures.value("flight_time_s")

    def states(self, times_s: Array) -> Array:
        """Return position (m) and velocity (m/s) at times from release (s), shape (N, 6)."""
        return self.trajectory.at(times_s)


def expected_flight(circumstances: Circumstances, velocity_mps: Array) -> ExpectedFlight | None:
    """Return the flight of a ball that leaves the taped release with a velocity, shape (3,).

    All else is as it is expected: no lift, since its sign is open. Then the lift's fade would not
    count, as the derivative by it is proportional to the lift; in the quadratic mean over the
    prior it is that at one standard uncertainty. None for a ball that does not come down.
    """
    parameters = circumstances.prior_mean()
    parameters[VELOCITY_AT] = velocity_mps
    parameters[GRAVITY_AT] = 0.0
    figures = figures_of(circumstances, parameters)
    landing_s = figures.value("flight_time_s")
    if not np.isfinite(landing_s):
        return None
    lifted = parameters.copy()
    lifted[LIFT_AT.start] = circumstances.lift_u
    figures.jacobian[:, FADE_AT] = figures_of(circumstances, lifted).jacobian[:, FADE_AT]
    duration = landing_s + 4.0 * STEP_S
    trajectory, faded = (
        flight_of(circumstances, each, duration, STEP_S, with_sensitivities=True)
        for each in (parameters, lifted)
    )
    return ExpectedFlight(parameters, trajectory, figures, faded)


def expected_fit(
    circumstances: Circumstances, flight: ExpectedFlight, instants: Instants, covariances: Array
) -> FittedFlight:
    """Return the fit of a flight whose positions have given covariances.

    The covariance is the inverse of the Fisher information of the positions and of all priors, the
    camera's included (van Trees' form of the Cramér-Rao bound: H. L. van Trees, Detection,
    Estimation, and Modulation Theory, part I, 1968, 2.4).

    Parameters
    ----------
    circumstances : Circumstances
        Their camera is the planned one, with its predicted covariance.
    flight : ExpectedFlight
    instants : Instants
        Of the frames that will show the ball.
    covariances : ndarray, shape (N, 2, 2)
        Of each position, px².
    """
    camera = circumstances.camera
    _, jacobian = look(camera, flight.trajectory, flight.parameters, instants)
    if flight.lifted is not None:
        _, usual = look(camera, flight.lifted, flight.parameters, instants)
        jacobian[:, :, FADE_AT] = usual[:, :, FADE_AT]
    data_information = np.einsum(
        "nai,nab,nbj->ij", jacobian, np.linalg.inv(covariances), jacobian, optimize=True
    )
    information = data_information + circumstances.prior_information()
    count = len(instants.times_s)
    return FittedFlight(
        parameters=flight.parameters,
        covariance=inverse_of_normal(information),
        data_information=data_information,
        residuals_px=np.zeros((count, 2)),
        used=np.ones(count, bool),
        scale=1.0,
        trajectory=flight.trajectory,
        settled=True,
    )
