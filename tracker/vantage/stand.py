"""A place to film from: where the camera is, what it is, and what will be known of it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.site import Site, camera_at
from tracker.measurement.circumstances import ClipRequest

Array = NDArray[np.float64]

CONTRAST = 50.0
"""Ball less what lies behind it, luma steps, where nobody says. The medians of nine drawn sessions
lie from 23 (far off, before a pale sky) to 136 (close by, before a hedge), about 55."""

NOISE = 4.0
"""What sensor and encoder together do to a pixel, luma steps, where nobody says. What the places
found in nine drawn sessions scatter by tells 0 to 3 where the bit rate is ample, 4 to 6 for a
phone's usual one, 10 to 12 in a grainy clip or at 120 frames a second squeezed into it; their
median is 4."""

AIMINGS = 12

BESIDE_M = 2.0
"""Markers within this of the firing line count as part of what is filmed."""

FIRST_SHARE = 0.06
"""How far from the edge the release is kept where the flight does not fit, as a share of the
frame; what leaves less on both sides does not count as fitting."""


@dataclass(frozen=True)
class Stand:
    """A camera that could be set up.

    Attributes
    ----------
    site : Site
        What will be known of the camera; its markers without pixels.
    position_m : ndarray, shape (3,)
        Where it stands.
    target_m : ndarray, shape (3,), or None
        What it points at; None for the middle of all that must be in view.
    fps : float
        True frames a second.
    shutter_s : float
        For how long each row is exposed.
    contrast, noise : float
        See `CONTRAST` and `NOISE`.
    request : ClipRequest
        What will be known besides.
    """

    site: Site
    position_m: Array
    target_m: Array | None
    fps: float
    shutter_s: float
    contrast: float
    noise: float
    request: ClipRequest


def aimed(stand: Stand, points_m: Array) -> Camera:
    """Return the camera of a stand, without a covariance.

    Where no target is given it points so that what must be in view, `points_m`, shape (N, 3),
    and the markers along it leave the same margin left and right, and above and below. Where that
    does not fit, the first point, the release, and the markers are kept near the edge that the
    flight comes from: most of what a few metres tell, they tell of the release.
    """
    if stand.target_m is not None:
        return camera_at(stand.site, stand.position_m, stand.target_m)
    beside = _along(stand.site, points_m)
    target = points_m.mean(axis=0)
    camera = camera_at(stand.site, stand.position_m, target)
    if not np.all(np.isfinite(camera.project(points_m))):
        target = points_m[0]
        camera = camera_at(stand.site, stand.position_m, target)
    away = float(np.linalg.norm(target - stand.position_m))
    for _ in range(AIMINGS):
        off = _off(camera, points_m, beside)
        way = camera.rays(camera.centre_px + off)[0]
        if not np.all(np.isfinite(way)) or abs(way[2]) > 0.99:
            return camera
        camera = camera_at(stand.site, stand.position_m, stand.position_m + away * way)
        if np.abs(off).max() < 0.5:
            break
    return camera


def _along(site: Site, points_m: Array) -> Array:
    """Return the places of the markers that stand below the flights, shape (M, 3)."""
    first, last = points_m[:, 0].min() - BESIDE_M, points_m[:, 0].max() + BESIDE_M
    found = [
        marker.ground_m
        for marker in site.markers
        if first <= marker.ground_m[0] <= last
        and abs(marker.ground_m[1] - points_m[0, 1]) <= BESIDE_M
    ]
    return np.array(found).reshape(-1, 3)


def _off(camera: Camera, points_m: Array, beside_m: Array) -> Array:
    """Return by how many px what must be in view lies right of and below where it should."""
    frame = np.array(camera.size_px, float)
    pixels = camera.project(np.concatenate([points_m, beside_m]))
    first = np.concatenate([pixels[:1], camera.project(beside_m)])
    if not np.all(np.isfinite(first[0])):
        return np.zeros(2)
    hidden = not np.all(np.isfinite(pixels))
    off = np.zeros(2)
    for axis in (0, 1):
        off[axis] = _off_axis(pixels[:, axis], first[:, axis], frame[axis], hidden)
        # Far aside, rows run away: only what the frame's columns will hold has a say in them.
        for each in (pixels, first):
            aside = np.abs(each[:, 0] - off[0] - frame[0] / 2.0) > frame[0] / 2.0
            each[aside & (np.arange(len(each)) > 0), 1] = np.nan
        hidden = False
    # A step of more than half a frame may lead a wide lens astray.
    return np.clip(off, -0.5 * frame, 0.5 * frame)


def _off_axis(places: Array, first: Array, size: float, hidden: bool) -> float:
    """Return how far columns (or rows) must move: to the middle, or the first ones to the edge."""
    low, high = float(np.nanmin(places)), float(np.nanmax(places))
    if not hidden and high - low <= (1.0 - 2.0 * FIRST_SHARE) * size:
        return (low + high - size + 1.0) / 2.0
    if float(np.nanmean(places)) > places[0]:
        return float(np.nanmin(first)) - FIRST_SHARE * size
    return float(np.nanmax(first)) - (1.0 - FIRST_SHARE) * size
