"""What a small motion of the camera does to the picture, and what is known of it beforehand."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera, distort, rotation_from_vector

Array = NDArray[np.float64]

TURN, SHEAR, SHIFT, ZOOM = slice(0, 3), slice(3, 6), slice(6, 9), 9
"""Where the parts of a motion stand in its parameters."""

SIZE = 10
"""Number of a motion's parameters."""

FAR_M = 60.0
"""Distance of background that is not known to be ground, m (common practice, no source)."""

NEAREST_M = 1.0
"""Nearest ground, m: before the tripod's feet."""

STILL_RAD = 5e-4
"""Amplitude of the turns of a camera that has not moved yet, rad: a tripod in the wind."""

SHEAR_SHARE, SHIFT_M_PER_RAD, ZOOM_PER_RAD = 0.4, 1.0, 0.05
"""Standard deviations for each rad of the turns' amplitude: of the turn while a frame is read (3 Hz
and 20 ms), of the shift (a lever of a metre: arm and trunk), of the relative zoom. Common practice,
no source."""


ZOOMED_U = 0.5
"""Standard deviation of the logarithm of the focal length's ratio where somebody zooms (common
practice, no source)."""

LEAST_INFORMATION = 1.0
"""Least information of points on each part of the turn, 1/rad²: known to a rad, it is not known."""


@dataclass(frozen=True)
class Motion:
    """The camera's motion since the reference frame.

    Attributes
    ----------
    parameters : ndarray, shape (10,)
        Rotation vector about the camera's own axes (right, down, forward), applied after the
        reference's rotation, when the middle row is read, rad; by how much the turn grows from the
        first row to the last, rad; shift along the camera's axes of the reference, m; logarithm of
        the focal length's ratio. Exactly zero where the motion is not significant.
    covariance : ndarray, shape (10, 10)
    significant : bool
        Whether the camera has moved at all.
    shift_px : float
        Root mean square shift of the picture over the followed points, as measured.
    agreement : float
        Share of the followed points that stand still in this motion, 0 to 1.
    lost : bool
        Too few points were followed; the motion is then the last known one.
    """

    parameters: Array
    covariance: Array
    significant: bool
    shift_px: float
    agreement: float
    lost: bool = False

    @property
    def turn_rad(self) -> Array:
        """The turn when the middle row is read, shape (3,)."""
        return self.parameters[TURN]


def still(shift_px: float, agreement: float) -> Motion:
    """Return that the camera has not moved."""
    return Motion(np.zeros(SIZE), np.zeros((SIZE, SIZE)), False, shift_px, agreement)


def moved_pixels(camera: Camera, parameters: Array, seen: Array, share: Array) -> Array:
    """Return where the moved camera sees points, shape (N, 2).

    Parameters
    ----------
    camera : Camera
        The reference's.
    parameters : ndarray, shape (10,)
    seen : ndarray, shape (N, 3)
        Points in the reference's camera axes, m.
    share : ndarray, shape (N,)
        How far down the readout each point's row is read, -0.5 to 0.5.
    """
    shifted = seen - parameters[SHIFT]
    turned = shifted @ rotation_from_vector(parameters[TURN]).T
    # The turn while the frame is read is small: the cross product carries it.
    turned = turned + share[:, None] * np.cross(parameters[SHEAR], turned)
    bent = distort(turned[:, :2] / np.maximum(turned[:, 2:], 1e-3), camera.distortion)
    focal_px = camera.focal_px * float(np.exp(parameters[ZOOM]))
    return np.asarray(focal_px * bent + camera.centre_px, float)


def slopes(camera: Camera, seen: Array, share: Array) -> Array:
    """Return the derivatives of `moved_pixels` at rest, shape (N, 2, 10)."""
    own = replace(camera, rotation=np.eye(3), position=np.zeros(3))
    _, by_point, by_camera = own.project_with_jacobians(seen)
    found = np.empty((len(seen), 2, SIZE))
    found[:, :, TURN] = by_camera[:, :, :3]
    found[:, :, SHEAR] = share[:, None, None] * by_camera[:, :, :3]
    found[:, :, SHIFT] = -by_point
    found[:, :, ZOOM] = by_camera[:, :, 6]
    return found


def turned_by(shift_px: Array, focal_px: float) -> Array:
    """Return the motion that is the turn which shifts the picture's middle so, shape (10,)."""
    found = np.zeros(SIZE)
    found[TURN] = np.array([-shift_px[1], shift_px[0], 0.0]) / focal_px
    return found


def prior_information(amplitude_rad: float, zooms: bool = False) -> Array:
    """Return the inverse variances of a motion's parameters, shape (10,); none for the turn.

    Parameters
    ----------
    amplitude_rad : float
        Of the camera's turns.
    zooms : bool
        Whether somebody zooms, too.
    """
    size = max(amplitude_rad, STILL_RAD)
    found = np.zeros(SIZE)
    found[SHEAR] = 1.0 / (SHEAR_SHARE * size) ** 2
    found[SHIFT] = 1.0 / (SHIFT_M_PER_RAD * size) ** 2
    found[ZOOM] = 1.0 / np.hypot(ZOOM_PER_RAD * size, ZOOMED_U if zooms else 0.0) ** 2
    return found


def determines_turn(normal: Array) -> bool:
    """Return whether points determine the turn, of which nothing is known beforehand.

    Parameters
    ----------
    normal : ndarray, shape (10, 10)
        Information that the points give of the motion.
    """
    turn = normal[TURN, TURN].diagonal()
    return bool(np.all(np.isfinite(turn)) and np.all(turn > LEAST_INFORMATION))


def background(camera: Camera, pixels: Array) -> Array:
    """Return the background's points at pixels, in the camera's axes, m, shape (N, 3).

    Below the horizon it is the ground, up to a distance; elsewhere it is that far. NaN where a
    pixel has no line of sight.
    """
    rays = camera.rays(pixels)
    with np.errstate(divide="ignore", invalid="ignore"):
        down = -camera.position[2] / rays[:, 2]
    distance = np.where(down > NEAREST_M, np.minimum(down, FAR_M), FAR_M)
    found: Array = (distance[:, None] * rays) @ camera.rotation.T
    return found
