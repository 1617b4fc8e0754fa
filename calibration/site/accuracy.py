"""What a camera with a covariance allows on the ground and above the firing line."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.camera import Camera

Array = NDArray[np.float64]

BALL_PIXEL_U = 0.5
"""How well a landing ball of a few pixels is placed in the frame, px (common practice)."""


def ground_slopes(camera: Camera, points: ArrayLike) -> tuple[Array, Array]:
    """Differentiate the place where a fixed pixel's ray meets the level plane.

    Parameters
    ----------
    camera : Camera
    points : array_like, shape (N, 3)
        Points of level planes, m; each plane passes through its own point.

    Returns
    -------
    by_camera : ndarray, shape (N, 2, 14)
        Derivative of along and across by the camera's parameters; NaN where unseen.
    by_pixel : ndarray, shape (N, 2, 2)
        The same by column and row, m/px.
    """
    return plane_slopes(camera, points, (0, 1))


def plane_slopes(camera: Camera, points: ArrayLike, axes: tuple[int, int]) -> tuple[Array, Array]:
    """Differentiate the place where a fixed pixel's ray meets a plane of two ground axes.

    As `ground_slopes`; `axes` are the two that may change, ``(0, 2)`` for the upright plane
    along the firing line.
    """
    _, by_point, by_camera = camera.project_with_jacobians(points)
    free = by_point[:, :, list(axes)]
    determinant = free[:, 0, 0] * free[:, 1, 1] - free[:, 0, 1] * free[:, 1, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        by_pixel = (
            np.stack(
                [
                    np.stack([free[:, 1, 1], -free[:, 0, 1]], axis=1),
                    np.stack([-free[:, 1, 0], free[:, 0, 0]], axis=1),
                ],
                axis=1,
            )
            / determinant[:, None, None]
        )
    return -by_pixel @ by_camera, by_pixel


def ground_covariances(camera: Camera, points: ArrayLike, pixel_u: float = BALL_PIXEL_U) -> Array:
    """Return the covariance of ground points read from pixels, shape (N, 2, 2), m².

    Parameters
    ----------
    camera : Camera
        With its covariance.
    points : array_like, shape (N, 3)
        Ground coordinates, m.
    pixel_u : float
        Standard uncertainty of the pixel that is read; 0 for the camera's share alone.
    """
    by_camera, by_pixel = ground_slopes(camera, points)
    carried = by_camera @ camera.covariance @ by_camera.transpose(0, 2, 1)
    return carried + pixel_u**2 * by_pixel @ by_pixel.transpose(0, 2, 1)
