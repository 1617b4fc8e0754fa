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


def light_along(sights: Array, light: Array) -> Array:
    """Return how the light's parts in the picture change as a ball moves across it.

    Parameters
    ----------
    sights : ndarray, shape (N, 3)
        As of `light_in_picture`.
    light : ndarray, shape (3,)
        Along the camera's axes.

    Returns
    -------
    ndarray, shape (N, 2, 2)
        Derivative of the parts along columns and rows by the place at unit focal length.
    """
    seen = sights / np.where(sights[:, 2:] > 1e-6, sights[:, 2:], np.nan)
    length = np.linalg.norm(seen, axis=1)[:, None, None]
    unit = seen[:, :, None] / length
    # How the line of sight, of length 1, turns with each of the two coordinates.
    turn = (np.eye(3)[:, :2] - unit @ unit[:, :2].transpose(0, 2, 1)) / length
    toward = light @ unit
    across, across_turn = unit[:, :2], turn[:, :2]
    slant = np.sqrt(1.0 - across**2)
    part = light[:2, None] - across * toward[:, None]
    part_turn = -across_turn * toward[:, None] - across * (light @ turn)[:, None]
    found: Array = part_turn / slant + part * across * across_turn / slant**3
    return found


def shift_by_light(camera: Camera, track: Track, light: Array) -> Array:
    """Return how far a light along the camera's axes moves the places of a track, px, (N, 2)."""
    sights = camera.rays(track.pixels) @ camera.rotation.T
    found: Array = track.lean[:, None] * (light_in_picture(sights) @ light)
    return found
