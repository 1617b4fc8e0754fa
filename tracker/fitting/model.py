"""The pixels that a flight, a camera and a shutter predict."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment import NotDetermined
from calibration.camera import Camera, by_turn
from tracker.fitting.circumstances import Circumstances
from tracker.fitting.light import light_in_picture
from tracker.fitting.observations import Instants
from tracker.fitting.parameters import (
    CAMERA_AT,
    FLIGHT_AT,
    GRAVITY_AT,
    LAUNCH_AT,
    LIGHT_AT,
    PARAMETERS,
    READOUT_AT,
    RELEASE_AT,
)
from tracker.flight.integration import fly
from tracker.flight.trajectory import Trajectory

Array = NDArray[np.float64]

LONGEST_S = 60.0
"""Longest flight that is integrated, s: some times that of any thrown ball."""

STEP_S, LONGEST_STEP_S = 0.04, 0.1
"""Usual and longest step of the fitted flight, s: the error stays below a hundredth of a millimetre
for a tennis ball or a heavier one, and a lighter ball takes shorter steps."""


class Prediction(NamedTuple):
    """What parameters predict.

    Attributes
    ----------
    pixels : ndarray, shape (N, 2)
    jacobian : ndarray, shape (N, 2, P)
        Derivative of the pixels by the parameters.
    trajectory : Trajectory
        The flight, with sensitivities.
    """

    pixels: Array
    jacobian: Array
    trajectory: Trajectory


def predict(circumstances: Circumstances, parameters: Array, instants: Instants) -> Prediction:
    """Return the pixels that the parameters predict.

    Parameters
    ----------
    circumstances : Circumstances
    parameters : ndarray, shape (P,)
        In the order of `PARAMETERS`.
    instants : Instants

    Raises
    ------
    NotDetermined
        When the positions lie further from the release than any flight lasts.
    """
    camera = circumstances.camera.perturbed(parameters[CAMERA_AT:])
    times = instants.times_s + parameters[READOUT_AT] * instants.row_share - parameters[RELEASE_AT]
    duration = float(max(times.max(initial=0.0) + 2.0 * STEP_S, 4.0 * STEP_S))
    if not duration <= LONGEST_S:
        raise NotDetermined(f"the positions lie more than {LONGEST_S:g} s from the release")
    # The error goes with the fourth power of step times speed times braking.
    reach = max(circumstances.forces.reach_per_m, 1e-9)
    step = float(np.clip(1.0 / (300.0 * reach), STEP_S, LONGEST_STEP_S))
    trajectory = flight_of(circumstances, parameters, duration, step, with_sensitivities=True)
    pixels, jacobian = look(camera, trajectory, parameters, instants)
    # The camera differentiates by a further small turn, not by more of the turn it has made.
    turned = by_turn(parameters[CAMERA_AT : CAMERA_AT + 3])
    turns = slice(CAMERA_AT, CAMERA_AT + 3)
    jacobian[:, :, turns] = jacobian[:, :, turns] @ turned
    return Prediction(pixels, jacobian, trajectory)


def look(
    camera: Camera, trajectory: Trajectory, parameters: Array, instants: Instants
) -> tuple[Array, Array]:
    """Return where a camera sees a flight.

    Parameters
    ----------
    camera : Camera
        As it truly stands, the moves among the parameters included.
    trajectory : Trajectory
        With sensitivities, as `flight_of` makes it.
    parameters : ndarray, shape (P,)
        Those with which it was flown.
    instants : Instants

    Returns
    -------
    pixels : ndarray, shape (N, 2)
    jacobian : ndarray, shape (N, 2, P)
        Derivative by the parameters, by the camera's turn as a further small one.
    """
    times = instants.times_s + parameters[READOUT_AT] * instants.row_share - parameters[RELEASE_AT]
    states, by_flight = trajectory.positions_with_sensitivities(times)
    pixels, by_point, by_camera = camera.project_with_jacobians(states[:, :3])
    lit = instants.lean[:, None, None] * light_in_picture(camera.in_camera(states[:, :3]))
    pixels = pixels + lit @ parameters[LIGHT_AT]
    speed_px = np.einsum("nij,nj->ni", by_point, states[:, 3:6])
    jacobian = np.empty((len(times), 2, len(PARAMETERS)))
    jacobian[:, :, RELEASE_AT] = -speed_px
    jacobian[:, :, FLIGHT_AT] = by_point @ by_flight
    jacobian[:, :, READOUT_AT] = speed_px * instants.row_share[:, None]
    jacobian[:, :, LIGHT_AT] = lit
    jacobian[:, :, CAMERA_AT:] = by_camera
    return pixels, jacobian


def flight_of(
    circumstances: Circumstances,
    parameters: Array,
    duration_s: float,
    step_s: float,
    with_sensitivities: bool = False,
) -> Trajectory:
    """Return the flight that a fit's parameters make, its sensitivities as `FLIGHT_AT` orders."""
    return fly(
        parameters[LAUNCH_AT],
        circumstances.forces,
        duration_s,
        step_s,
        with_sensitivities,
        parameters[GRAVITY_AT:CAMERA_AT],
    )
