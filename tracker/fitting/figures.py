"""The figures of a shot, from its launch, with their covariance."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.fitting.circumstances import Circumstances
from tracker.fitting.model import flight_of
from tracker.fitting.parameters import (
    FLIGHT_AT,
    GRAVITY_AT,
    PARAMETERS,
    POSITION_AT,
    RELEASE_AT,
    VELOCITY_AT,
)
from tracker.flight.figures import FIGURES as FLIGHT_FIGURES
from tracker.flight.figures import figures, release_figures
from tracker.flight.trajectory import Trajectory

Array = NDArray[np.float64]

FIGURES = (*FLIGHT_FIGURES, "release_s")
"""Those of the flight, and the time of release on the track's clock, s."""


@dataclass(frozen=True)
class Figures:
    """What a shot did.

    Attributes
    ----------
    values : ndarray, shape (11,)
        In the order of `FIGURES`; NaN from the carry on for a flight that never comes down.
    jacobian : ndarray, shape (11, P)
        Derivative by the fit's `PARAMETERS`.
    """

    values: Array
    jacobian: Array

    def value(self, name: str) -> float:
        """Return one figure by its name."""
        return float(self.values[FIGURES.index(name)])

    def slope(self, name: str) -> Array:
        """Return the derivative of one figure by the parameters, shape (P,)."""
        slope: Array = self.jacobian[FIGURES.index(name)]
        return slope

    def u(self, covariance: Array) -> dict[str, float]:
        """Return every figure's standard uncertainty from the parameters' covariance (P, P)."""
        variance = np.einsum("fi,ij,fj->f", self.jacobian, covariance, self.jacobian)
        return dict(zip(FIGURES, np.sqrt(np.maximum(variance, 0.0)).tolist(), strict=True))


def figures_of(circumstances: Circumstances, parameters: Array) -> Figures:
    """Compute the figures of a shot and their derivatives.

    The landing is where the ball's lowest point comes down to the ground plane: the centre at
    the height of the radius above it.

    Parameters
    ----------
    circumstances : Circumstances
    parameters : ndarray, shape (P,)
        In the order of `tracker.fitting.parameters.PARAMETERS`.
    """
    values, jacobian = np.full(len(FIGURES), np.nan), np.zeros((len(FIGURES), len(PARAMETERS)))
    values[:3], jacobian[:3, VELOCITY_AT] = release_figures(parameters[VELOCITY_AT])
    flight = _until_down(circumstances, parameters, with_sensitivities=True)
    whole = figures(flight, circumstances.ball_radius_m, circumstances.ground)
    if whole is not None and whole.by_launch is not None:
        values[:-1], jacobian[:-1, FLIGHT_AT] = whole.values, whole.by_launch
    values[-1], jacobian[-1, RELEASE_AT] = parameters[RELEASE_AT], 1.0
    return Figures(values, jacobian)


def flight_time_of(circumstances: Circumstances, parameters: Array) -> float:
    """Return the flight time of `figures_of`, s, at half its cost; NaN without a landing."""
    flight = _until_down(circumstances, parameters, with_sensitivities=False)
    whole = figures(flight, circumstances.ball_radius_m, circumstances.ground)
    return float("nan") if whole is None else whole["flight_time_s"]


def _until_down(
    circumstances: Circumstances, parameters: Array, with_sensitivities: bool
) -> Trajectory:
    """Return a flight until it is below the ground, at most 15 s."""
    gravity = circumstances.forces.gravity_mps2 + parameters[GRAVITY_AT]
    height, climb = parameters[POSITION_AT][2], max(parameters[VELOCITY_AT][2], 0.0)
    longest = 2.5 * climb / gravity + np.sqrt(2.0 * max(height, 0.1) / gravity) + 1.0
    return flight_of(circumstances, parameters, float(min(longest, 15.0)), 0.02, with_sensitivities)
