"""The light on a ball: one direction for a flight, seen from another side along it."""

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from tracker.records import Track

Array = NDArray[np.float64]


def light_in_picture(sights: Array) -> Array:
    """Return the columns' and the rows' part of a light along the camera's axes.

    By Lambert's law the brightness of a sphere slopes along a direction across the line of sight
    as the light has a part along it. In a wide view lines of sight differ by 70 degrees: light from
    behind the camera comes from the right at the left edge of the frame, and from the left at the
    right edge.

    Parameters
    ----------
    sights : ndarray, shape (N, 3)
        Lines of sight in the camera's axes (right, down, forward), of any length.

    Returns
    -------
    ndarray, shape (N, 2, 3)
    """
    unit = sights / np.linalg.norm(sights, axis=1, keepdims=True)
    # A step to the next column, or row, is one across the line of sight.
    steps = np.eye(3)[:2] - unit[:, :2, None] * unit[:, None, :]
    found: Array = steps / np.linalg.norm(steps, axis=2, keepdims=True)
    return found


def shift_by_light(camera: Camera, track: Track, light: Array) -> Array:
    """Return how far a light along the camera's axes moves the places of a track, px, (N, 2)."""
    sights = camera.rays(track.pixels) @ camera.rotation.T
    found: Array = track.lean[:, None] * (light_in_picture(sights) @ light)
    return found
