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

SPEED, ANGLE, CARRY = (
    FIGURES.index(name) for name in ("exit_speed_mps", "launch_angle_deg", "carry_m")
)
LANDING = [FIGURES.index(name) for name in ("landing_along_m", "landing_across_m")]

BENT = 0.75
"""Mean of the square of half a squared standard normal number: 3 / 4."""


STEP_S, LONGEST_S = 0.02, 15.0
"""Greatest step of the flight whose figures are taken, and the longest, s."""

USUAL_SHARE = 0.6
"""Share of the longest that a flight may last in which nearly every ball is down."""


@dataclass(frozen=True)
class Figures:
    """What a shot did.

    Attributes
    ----------
    values : ndarray, shape (11,)
        In the order of `FIGURES`; NaN from the carry on for a flight that never comes down.
    jacobian : ndarray, shape (11, P)
        Derivative by the fit's `PARAMETERS`.
    aside : ndarray, shape (11, P)
        Derivative of what lies square to a figure that is a length or has one in it: speed and
        carry grow with its square, the launch angle falls. Zero for the other figures.
    lengths : ndarray, shape (11,)
        That length, in the unit of `aside` times a parameter.
    """

    values: Array
    jacobian: Array
    aside: Array
    lengths: Array

    def value(self, name: str) -> float:
        """Return one figure by its name."""
        return float(self.values[FIGURES.index(name)])

    def slope(self, name: str) -> Array:
        """Return the derivative of one figure by the parameters, shape (P,)."""
        slope: Array = self.jacobian[FIGURES.index(name)]
        return slope

    def u(self, covariance: Array) -> dict[str, float]:
        """Return every figure's standard uncertainty from the parameters' covariance (P, P)."""
        variance = self.variances(covariance, covariance)
        return dict(zip(FIGURES, np.sqrt(variance).tolist(), strict=True))

    def variances(self, part: Array, whole: Array) -> Array:
        """Return what a part of the parameters' covariance adds to each figure's variance, (11,).

        A camera beside the line hardly sees how far a ball goes towards it. That moves a carry
        ``c`` by ``hypot(c, y) - c`` at a distance ``y`` aside, which no first derivative shows: of
        the second order is ``3 s^4 / (4 c^2)`` in the variance (JCGM 100:2008, 5.1.2, note), here
        ``3 s^4 / (4 c^2 + 3 s^2)``, whose limit is ``s^2`` for a carry of nothing.

        Parameters
        ----------
        part, whole : ndarray, shape (P, P)
            Parts that add up to the whole have variances that add up to the whole one's.
        """
        straight = np.einsum("fi,ij,fj->f", self.jacobian, part, self.jacobian)
        own, all_of_it = (
            np.maximum(np.einsum("fi,ij,fj->f", self.aside, each, self.aside), 0.0)
            for each in (part, whole)
        )
        below = self.lengths**2 + BENT * all_of_it
        bent = BENT * own * all_of_it / np.where(below > 0.0, below, 1.0)
        variance: Array = np.maximum(straight, 0.0) + bent
        return variance


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
    return Figures(values, jacobian, *_aside(parameters, values, jacobian))


def _aside(parameters: Array, values: Array, jacobian: Array) -> tuple[Array, Array]:
    """Return `Figures.aside` and `Figures.lengths`."""
    aside, lengths = np.zeros_like(jacobian), np.zeros(len(values))
    velocity = parameters[VELOCITY_AT]
    level, speed = float(np.hypot(velocity[0], velocity[1])), values[SPEED]
    if level > 0.0:
        aside[SPEED, VELOCITY_AT] = -velocity[1] / level, velocity[0] / level, 0.0
        lengths[SPEED] = speed
        by_level = np.degrees(velocity[2]) / speed**2
        aside[ANGLE], lengths[ANGLE] = by_level * aside[SPEED], abs(by_level) * level
    carry = values[CARRY]
    if carry > 0.0:
        run = jacobian[LANDING].copy()
        run[:, POSITION_AT.start : POSITION_AT.start + 2] -= np.eye(2)
        along, across = (values[LANDING] - parameters[POSITION_AT][:2]) / carry
        aside[CARRY], lengths[CARRY] = along * run[1] - across * run[0], carry
    return aside, lengths


def flight_time_of(circumstances: Circumstances, parameters: Array) -> float:
    """Return the flight time of `figures_of`, s, at half its cost; NaN without a landing."""
    flight = _until_down(circumstances, parameters, with_sensitivities=False)
    whole = figures(flight, circumstances.ball_radius_m, circumstances.ground)
    return float("nan") if whole is None else whole["flight_time_s"]


def _until_down(
    circumstances: Circumstances, parameters: Array, with_sensitivities: bool
) -> Trajectory:
    """Return a flight until it is below the ground, at most `LONGEST_S`."""
    gravity = circumstances.forces.gravity_mps2 + parameters[GRAVITY_AT]
    height, climb = parameters[POSITION_AT][2], max(parameters[VELOCITY_AT][2], 0.0)
    longest = 2.5 * climb / gravity + np.sqrt(2.0 * max(height, 0.1) / gravity) + 1.0
    whole_s = float(min(longest, LONGEST_S))
    most = int(np.ceil(whole_s / STEP_S))
    step_s = whole_s / most
    for steps in (int(np.ceil(USUAL_SHARE * most)), most):
        flight = flight_of(circumstances, parameters, steps * step_s, step_s, with_sensitivities)
        if circumstances.ground.above(flight.states[-1]) < 0.0:
            break
    return flight
