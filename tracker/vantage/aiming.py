"""Where a camera points when nobody says: at the middle of all that must be in view."""

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.site import Site, camera_at
from tracker.vantage.stand import Stand

Array = NDArray[np.float64]

AIMINGS = 12
"""Corrections of the aim at most (common practice, no source)."""

SETTLED_PX = 0.5
"""A correction below this ends the search, px."""

BESIDE_M = 2.0
"""Markers within this of the firing line count as part of what is filmed, m (common practice, no
source)."""

FIRST_SHARE = 0.06
"""Distance of the release from the edge where the flight does not fit, as a share of the frame; a
flight that leaves less on both sides counts as not fitting (common practice, no source)."""

STEEPEST_SINE = 0.99
"""Sine of the pitch beyond which "level" loses its meaning, and the aim is left as it is."""


def aimed(stand: Stand, points_m: Array) -> Camera:
    """Return the camera of a stand, without a covariance.

    Without a target it points so that `points_m`, shape (N, 3), which must be in view, and the
    markers along them leave the same margin left and right, and above and below. Where they do not
    fit, the first point, the release, and the markers are kept near the edge that the flight comes
    from: the first metres carry most of what is learned of the release.
    """
    if stand.target_m is not None:
        return camera_at(stand.site, stand.position_m, stand.target_m)
    beside = _markers_beside(stand.site, points_m)
    target = points_m.mean(axis=0)
    camera = camera_at(stand.site, stand.position_m, target)
    if not np.all(np.isfinite(camera.project(points_m))):
        target = points_m[0]
        camera = camera_at(stand.site, stand.position_m, target)
    away = float(np.linalg.norm(target - stand.position_m))
    for _ in range(AIMINGS):
        shift = _shift(camera, points_m, beside)
        ray = camera.rays(camera.centre_px + shift)[0]
        if not np.all(np.isfinite(ray)) or abs(ray[2]) > STEEPEST_SINE:
            return camera
        camera = camera_at(stand.site, stand.position_m, stand.position_m + away * ray)
        if np.abs(shift).max() < SETTLED_PX:
            break
    return camera


def _markers_beside(site: Site, points_m: Array) -> Array:
    """Return the places of the markers that stand below the flights, shape (M, 3)."""
    first, last = points_m[:, 0].min() - BESIDE_M, points_m[:, 0].max() + BESIDE_M
    found = [
        marker.ground_m
        for marker in site.markers
        if first <= marker.ground_m[0] <= last
        and abs(marker.ground_m[1] - points_m[0, 1]) <= BESIDE_M
    ]
    return np.array(found).reshape(-1, 3)


def _shift(camera: Camera, points_m: Array, beside_m: Array) -> Array:
    """Return how far right of and below its best place all lies, shape (2,), px."""
    frame = np.array(camera.size_px, float)
    pixels = camera.project(np.concatenate([points_m, beside_m]))
    first = np.concatenate([pixels[:1], camera.project(beside_m)])
    if not np.all(np.isfinite(first[0])):
        return np.zeros(2)
    hidden = not np.all(np.isfinite(pixels))
    shift = np.zeros(2)
    for axis in (0, 1):
        shift[axis] = _shift_along(pixels[:, axis], first[:, axis], frame[axis], hidden)
        # Far aside, rows diverge: only points within the frame's columns count for them.
        for each in (pixels, first):
            aside = np.abs(each[:, 0] - shift[0] - frame[0] / 2.0) > frame[0] / 2.0
            each[aside & (np.arange(len(each)) > 0), 1] = np.nan
        hidden = False
    # A step of more than half a frame may lead a wide lens astray.
    return np.clip(shift, -0.5 * frame, 0.5 * frame)


def _shift_along(places: Array, first: Array, size: float, hidden: bool) -> float:
    """Return the shift of columns (or rows): to the middle, or the first ones to the edge."""
    low, high = float(np.nanmin(places)), float(np.nanmax(places))
    if not hidden and high - low <= (1.0 - 2.0 * FIRST_SHARE) * size:
        return (low + high - size + 1.0) / 2.0
    if float(np.nanmean(places)) > places[0]:
        return float(np.nanmin(first)) - FIRST_SHARE * size
    return float(np.nanmax(first)) - (1.0 - FIRST_SHARE) * size
