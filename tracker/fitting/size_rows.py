"""How large the ball is seen, as observations of a flight's fit."""

import numpy as np
from numpy.typing import NDArray

from calibration.camera import by_turn
from tracker.fitting.circumstances import Circumstances
from tracker.fitting.observations import SeenSizes
from tracker.fitting.parameters import CAMERA_AT, FLIGHT_AT, PARAMETERS, RELEASE_AT
from tracker.flight.trajectory import Trajectory

Array = NDArray[np.float64]

FOCAL_AT = CAMERA_AT + 6
"""The camera's logarithmic focal length."""


def size_rows(
    circumstances: Circumstances, at: Array, trajectory: Trajectory, sizes: SeenSizes
) -> tuple[Array, Array]:
    """Return the whitened residuals of the ball's size in the frame, and the slopes.

    Its width is the focal length times its diameter over its distance along the line of sight.

    Parameters
    ----------
    circumstances : Circumstances
    at : ndarray, shape (P,)
    trajectory : Trajectory
        With sensitivities.
    sizes : SeenSizes

    Returns
    -------
    residuals : ndarray, shape (K,)
        Not finite where the ball would be behind the camera.
    slopes : ndarray, shape (K, P)
    """
    camera = circumstances.camera.perturbed(at[CAMERA_AT:])
    times = sizes.times_s - at[RELEASE_AT]
    states, by_flight = trajectory.positions_with_sensitivities(times)
    seen = camera.in_camera(states[:, :3])
    depth = np.where(seen[:, 2] > 0.0, seen[:, 2], np.nan)
    forward = camera.rotation[2]
    # The ratio of depth's change to depth makes a picture smaller.
    slope = np.zeros((len(times), len(PARAMETERS)))
    slope[:, FLIGHT_AT] = forward @ by_flight
    slope[:, RELEASE_AT] = -states[:, 3:6] @ forward
    turn = np.column_stack([seen[:, 1], -seen[:, 0], np.zeros(len(seen))])
    slope[:, CAMERA_AT : CAMERA_AT + 3] = turn @ by_turn(at[CAMERA_AT : CAMERA_AT + 3])
    slope[:, CAMERA_AT + 3 : CAMERA_AT + 6] = -forward
    slope = -slope / depth[:, None]
    slope[:, FOCAL_AT] += 1.0
    wide = np.log(2.0 * circumstances.ball_radius_m * camera.focal_px / depth)
    root = np.linalg.inv(np.linalg.cholesky(sizes.covariance))
    return root @ (sizes.log_px - wide), root @ slope
