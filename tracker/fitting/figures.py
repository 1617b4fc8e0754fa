"""The figures of a shot, from its launch, with their covariance."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.fitting.model import (
    GRAVITY_AT,
    GRAVITY_STEP_MPS2,
    PARAMETERS,
    Circumstances,
    forces_with,
)
from tracker.flight.figures import FIGURES as FLIGHT_FIGURES
from tracker.flight.figures import figures, release_figures
from tracker.flight.forces import Forces
from tracker.flight.trajectory import fly

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

    def u(self, covariance: Array) -> dict[str, float]:
        """Return every figure's standard uncertainty from the parameters' covariance (P, P)."""
        variance = np.einsum("fi,ij,fj->f", self.jacobian, covariance, self.jacobian)
        return dict(zip(FIGURES, np.sqrt(np.maximum(variance, 0.0)).tolist(), strict=True))


def figures_of(circumstances: Circumstances, parameters: Array) -> Figures:
    """Compute the figures of a shot and their derivatives.

    The landing is where the ball's lowest point comes down to the ground plane: the centre at
    the height of the radius.

    Parameters
    ----------
    circumstances : Circumstances
    parameters : ndarray, shape (P,)
        In the order of `tracker.fitting.model.PARAMETERS`.
    """
    launch = parameters[1:12]
    forces = forces_with(circumstances.forces, parameters[GRAVITY_AT])
    radius_m = circumstances.ball_radius_m
    values, by_launch = _of_launch(launch, forces, radius_m)
    heavier, _ = _of_launch(launch, forces_with(forces, GRAVITY_STEP_MPS2), radius_m)
    jacobian = np.zeros((len(FIGURES), len(PARAMETERS)))
    jacobian[:, 1:12] = by_launch
    jacobian[:, GRAVITY_AT] = (heavier - values) / GRAVITY_STEP_MPS2
    values[10], jacobian[10, 0], jacobian[10, GRAVITY_AT] = parameters[0], 1.0, 0.0
    return Figures(values, jacobian)


def _of_launch(launch: Array, forces: Forces, radius_m: float) -> tuple[Array, Array]:
    """Return the figures that the launch decides and their derivatives by it, shape (11, 11)."""
    values, by_launch = np.full(len(FIGURES), np.nan), np.zeros((len(FIGURES), 11))
    values[:3], by_launch[:3, 3:6] = release_figures(launch[3:6])
    gravity, climb = forces.gravity_mps2, max(launch[5], 0.0)
    longest = 2.5 * climb / gravity + np.sqrt(2.0 * max(launch[2], 0.1) / gravity) + 1.0
    flight = fly(launch, forces, float(min(longest, 15.0)), 0.02, sensitivities=True)
    whole = figures(flight, radius_m)
    if whole is not None and whole.by_launch is not None:
        values[:-1], by_launch[:-1] = whole.values, whole.by_launch
    return values, by_launch
