"""The camera refined by how the background moves in its picture while it sways."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import PARAMETERS, Camera
from calibration.steadiness.motion import moved_pixels, slopes

Array = NDArray[np.float64]

COUNTED = 0.5
"""Share of the points' information that counts: an encoder's errors go together over neighbouring
frames and blocks. Common practice, no source."""

ROUNDS = 3
"""Gauss-Newton steps; the third is below a hundredth of a standard uncertainty."""

STEP_SHARE = 0.1
"""Step of a difference quotient, standard uncertainties of the camera's parameter."""


@dataclass(frozen=True)
class Sight:
    """Where a frame shows the points of the reference, and the motion fitted to them.

    Attributes
    ----------
    pixels : ndarray, shape (N, 2)
    share : ndarray, shape (N,)
        How far down the readout they are read, -0.5 to 0.5.
    weights : ndarray, shape (N,)
        Information of each coordinate, 1/px²; 0 for outliers.
    motion, mean, information : ndarray, shape (10,)
        The motion, its prior and the information of the prior.
    growth_m : ndarray, shape (3,)
        Growth of the shift while the frame is read.
    """

    pixels: Array
    share: Array
    weights: Array
    motion: Array
    mean: Array
    information: Array
    growth_m: Array


def refined_camera(
    camera: Camera, points: Callable[[Camera], Array], sights: Sequence[Sight]
) -> Camera:
    """Return the camera that explains the background's motion best, within its covariance.

    A turn of the camera moves the parts of the picture by amounts that depend on focal length,
    middle and distortion. One adjustment of the camera and of each frame's motion to all points;
    the motions are eliminated (Schur complement). The covariance is what is left of that of the
    calibration.

    Parameters
    ----------
    camera : Camera
        As calibrated, with its covariance.
    points : callable
        Gives the points of the reference in the axes of a camera, m, shape (N, 3).
    sights : sequence of Sight
    """
    known = camera.covariance
    change = np.zeros(len(PARAMETERS))
    motions, normal = [sight.motion for sight in sights], np.zeros((len(PARAMETERS),) * 2)
    for _ in range(ROUNDS):
        normal, right = np.zeros((len(PARAMETERS),) * 2), np.zeros(len(PARAMETERS))
        steps = []
        now = camera.perturbed(change)
        nearby = _nearby(camera, change, points)
        for sight, motion in zip(sights, motions, strict=True):
            inner, across, outer, pull, push = _equations(now, points(now), nearby, sight, motion)
            carried = np.linalg.solve(inner, np.column_stack([across, pull]))
            normal += outer - across.T @ carried[:, :-1]
            right += push - across.T @ carried[:, -1]
            steps.append((carried[:, -1], carried[:, :-1]))
        right = right + normal @ change
        fresh = known @ np.linalg.solve(np.eye(len(change)) + normal @ known, right)
        motions = [
            motion + own - by_camera @ (fresh - change)
            for motion, (own, by_camera) in zip(motions, steps, strict=True)
        ]
        change = fresh
    left = known @ np.linalg.inv(np.eye(len(change)) + normal @ known)
    return camera.perturbed(change).with_covariance(0.5 * (left + left.T))


def _nearby(
    camera: Camera, change: Array, points: Callable[[Camera], Array]
) -> list[tuple[int, float, Camera, Array]]:
    """Return parameter, step, camera and points for a small change of each that is not known."""
    sizes = STEP_SHARE * np.sqrt(np.diag(camera.covariance))
    found = []
    for place in np.flatnonzero(sizes > 0.0):
        moved = change.copy()
        moved[place] += sizes[place]
        other = camera.perturbed(moved)
        found.append((int(place), float(sizes[place]), other, points(other)))
    return found


def _equations(
    camera: Camera,
    seen: Array,
    nearby: list[tuple[int, float, Camera, Array]],
    sight: Sight,
    motion: Array,
) -> tuple[Array, Array, Array, Array, Array]:
    """Return a frame's normal equations in parts: motion, both, camera, and their right sides."""
    behind = sight.share[:, None] * sight.growth_m
    computed = moved_pixels(camera, motion, seen - behind, sight.share)
    by_camera = np.zeros((len(computed), 2, len(PARAMETERS)))
    for place, size, other, points in nearby:
        moved = moved_pixels(other, motion, points - behind, sight.share)
        by_camera[:, :, place] = (moved - computed) / size
    by_motion = slopes(camera, seen, sight.share)
    weights, gap = COUNTED * sight.weights, sight.pixels - computed
    inner = np.einsum("n,nij,nik->jk", weights, by_motion, by_motion) + np.diag(sight.information)
    inner += 1e-9 * np.diag(inner.diagonal())
    across = np.einsum("n,nij,nik->jk", weights, by_motion, by_camera)
    outer = np.einsum("n,nij,nik->jk", weights, by_camera, by_camera)
    pull = np.einsum("n,nij,ni->j", weights, by_motion, gap)
    pull += sight.information * (sight.mean - motion)
    return inner, across, outer, pull, np.einsum("n,nij,ni->j", weights, by_camera, gap)
