"""Accuracy of ground points and flights that a camera with a covariance allows."""

from dataclasses import dataclass

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


@dataclass(frozen=True)
class Quantity:
    """A quantity of a flight, its uncertainty from the camera, and the one that is wanted.

    Attributes
    ----------
    name, unit : str
    u : float
        Standard uncertainty that comes from the camera.
    wanted : float
        What a good measurement needs.
    slope : ndarray, shape (14,)
        Derivative by the camera's parameters.
    """

    name: str
    unit: str
    u: float
    wanted: float
    slope: Array


def flight_quantities(camera: Camera, landing_m: float) -> tuple[Quantity, ...]:
    """Return the quantities of a flight along the firing line and their uncertainties.

    The flight leaves at 45 degrees from 1 m above the origin and lands at `landing_m`: its first
    two metres and its apex are read in the upright plane of the firing line, its landing on the
    ground. Quantities that the camera cannot see there are left out.

    Parameters
    ----------
    camera : Camera
    landing_m : float
    """
    muzzle = np.array([[0.0, 0.0, 1.0], [2.0**0.5, 0.0, 1.0 + 2.0**0.5]])
    start, early = plane_slopes(camera, muzzle, (0, 2))[0]
    turn, stretch = np.array([-1.0, 1.0]) / 2.0**0.5, np.array([1.0, 1.0]) / 2.0**0.5
    top = np.array([[landing_m / 2.0, 0.0, 1.0 + landing_m / 4.0]])
    apex = plane_slopes(camera, top, (0, 2))[0][0]
    landing = ground_slopes(camera, np.array([[landing_m, 0.0, 0.0]]))[0][0]
    degree = 180.0 / np.pi
    rows = (
        ("exit speed", "%", 0.5, 100.0 * stretch @ (early - start) / 2.0),
        ("launch angle", "°", 0.3, degree * turn @ (early - start) / 2.0),
        ("azimuth", "°", 0.5, degree * landing[1] / landing_m),
        ("apex", "m", 0.10, apex[1]),
        ("landing along", "m", 0.10, landing[0]),
        ("landing across", "m", 0.30, landing[1]),
    )
    return tuple(
        Quantity(name, unit, float(np.sqrt(slope @ camera.covariance @ slope)), wanted, slope)
        for name, unit, wanted, slope in rows
        if np.all(np.isfinite(slope))
    )


def bend(camera: Camera, landing_m: float) -> float:
    """Return how far a landing departs from linear propagation of uncertainty.

    The landing of one fixed pixel is computed anew with the camera moved by one standard
    uncertainty either way along the direction that moves the landing most.

    Returns
    -------
    float
        Largest deviation from the linear shift as a share of it; 0 where it is linear, infinite
        where the pixel no longer meets the ground.
    """
    point = np.array([[landing_m, 0.0, 0.0]])
    slope = ground_slopes(camera, point)[0][0]
    if not np.all(np.isfinite(slope)):
        return float("inf")
    values, vectors = np.linalg.eigh(slope @ camera.covariance @ slope.T)
    way = vectors[:, -1]
    sigma = float(np.sqrt(values[-1]))
    change = camera.covariance @ slope.T @ way / sigma
    pixel = camera.project(point)
    worst = 0.0
    for sign in (1.0, -1.0):
        shifted = camera.perturbed(sign * change).on_ground(pixel) - point
        share = float(shifted[0, :2] @ way) / (sign * sigma)
        worst = max(worst, abs(share - 1.0)) if np.isfinite(share) else float("inf")
    return worst
