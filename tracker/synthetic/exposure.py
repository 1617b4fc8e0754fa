"""A moving ball on the pixels: its disc, lit from above, blurred over the exposure and the lens."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from tracker.synthetic.flight import FlownBall
from tracker.synthetic.scene import Light
from tracker.synthetic.sensor import Sensor
from tracker.synthetic.sprite import Box, even_box
from tracker.synthetic.sway import FrameCamera

Array = NDArray[np.float64]
Floats = NDArray[Any]
"""Single precision; OpenCV's own annotations are too wide to say so."""

FINE = 5
"""Drawn cells along a pixel's edge: finer cells cost time."""


@dataclass(frozen=True)
class BallLook:
    """Reflectance of the ball (linear, luma) and its colour differences in codes less 128."""

    reflectance: float = 0.62
    blue: float = -52.0
    red: float = 2.0


@dataclass(frozen=True)
class Streak:
    """One ball in one frame, noiseless.

    Attributes
    ----------
    box : tuple of int
        Left, top, right, bottom of the arrays below in the frame.
    cover : ndarray
        Share of the exposure in which the ball lies on each pixel.
    light : ndarray
        Linear light of the ball on each pixel, already multiplied by the cover.
    cover_slopes, light_slopes : ndarray, shape (2, height, width)
        Derivatives by the column and the row of the ball, 1/px.
    """

    box: Box
    cover: Floats
    light: Floats
    cover_slopes: Floats
    light_slopes: Floats


def row_times(
    sensor: Sensor, size_px: tuple[int, int], where: Callable[[Array], Array], times_s: Array
) -> Array:
    """Return when the row that holds the ball is exposed, given the frame's moments.

    Parameters
    ----------
    where : callable
        Pixels of the ball, shape (N, 2), at times, shape (N,).
    times_s : ndarray, shape (N,)
        Moments on the middle row's clock.
    """
    times = times_s.copy()
    if sensor.readout_s == 0.0:
        return times
    for _ in range(3):
        share = sensor.row_share(where(times), size_px)
        times = times_s + sensor.readout_s * np.where(np.isfinite(share), share, 0.0)
    return times


def disc_axes(camera: Camera, centre: Array, diameter_m: float) -> Array:
    """Return the matrix, shape (2, 2), that takes the unit disc to the ball's outline in pixels.

    The sphere is seen as the disc across the line of sight through its centre; its own
    perspective within the disc is left out (relative size of the ball's angle squared).
    """
    _, by_point, _ = camera.project_with_jacobians(centre)
    found: Array = by_point[0] @ _across_sight(camera, centre).T * (0.5 * diameter_m)
    return found


def ball_light(camera: Camera, centre: Array, light: Light, count: int) -> Array:
    """Return irradiance over the unit disc as seen, shape (count, count), its edge carried on."""
    back = camera.position - centre
    back = back / np.linalg.norm(back)
    return light.on(_hemisphere(count) @ np.vstack([_across_sight(camera, centre), back]))


@lru_cache(maxsize=4)
def _hemisphere(count: int) -> Array:
    """Return unit normals of a sphere seen from afar: rightward, downward, backward."""
    axis = (np.arange(count) + 0.5) / count * 2.0 - 1.0
    first, second = np.meshgrid(axis, axis)
    depth = np.sqrt(np.maximum(1.0 - first**2 - second**2, 0.0))
    normals = np.stack([first, second, depth], axis=-1)
    found: Array = normals / np.linalg.norm(normals, axis=-1, keepdims=True)
    return found


def streak(
    shot: FlownBall,
    view: FrameCamera,
    sensor: Sensor,
    lighting: tuple[Light, BallLook],
    time_s: float,
) -> Streak | None:
    """Expose one ball in the frame taken at `time_s`; None where it is not in the picture."""
    camera = view.middle

    def where(times: Array) -> Array:
        return view.project(shot.positions(np.maximum(times, shot.launch.release_s)), times)

    ends = np.array([-0.5, 0.5]) * sensor.exposure_s + time_s
    opened, closed = row_times(sensor, camera.size_px, where, ends)
    first = max(opened, shot.launch.release_s)
    if closed <= first or not np.all(np.isfinite(where(np.array([first, closed])))):
        return None
    swept = where(np.array([first, closed]))
    count = int(np.clip(np.hypot(*(swept[1] - swept[0])) * 4.0, 8, 400))
    moments = first + (np.arange(count) + 0.5) / count * (closed - first)
    pixels = where(moments)
    middle = shot.positions(np.array([0.5 * (first + closed)]))[0]
    axes = disc_axes(camera, middle, shot.ball.diameter_m)
    reach = float(np.linalg.norm(axes, 2)) + 4.5 * sensor.psf_px + 1.0
    # Cells outside the frame are drawn too: light from there reaches the edge by the blur.
    wide = (10**6, 10**6)
    whole = even_box(pixels + 10**5, reach, wide)
    if whole is None:
        return None
    box = tuple(edge - 10**5 for edge in whole)
    kept = _cut(box, camera.size_px)
    if kept is None:
        return None
    share = (closed - first) / sensor.exposure_s / count
    cover, glow = _expose(pixels, share, box, axes, ball_light(camera, middle, lighting[0], 64))
    part = np.s_[kept[1] - box[1] : kept[3] - box[1], kept[0] - box[0] : kept[2] - box[0]]
    smooth = [cv2.GaussianBlur(cells, (0, 0), sensor.psf_px * FINE) for cells in (cover, glow)]
    reflectance = lighting[1].reflectance
    planes, slopes = [], []
    for cells, factor in zip(smooth, (1.0, reflectance), strict=True):
        planes.append(_pixels(cells)[part] * np.float32(factor))
        steep = np.gradient(cells * np.float32(factor), 1.0 / FINE)
        slopes.append(np.stack([-_pixels(steep[1])[part], -_pixels(steep[0])[part]]))
    return Streak(kept, planes[0], planes[1], slopes[0], slopes[1])


def _across_sight(camera: Camera, centre: Array) -> Array:
    """Return two unit ground axes across the line of sight: rightward and downward, (2, 3)."""
    toward = centre - camera.position
    toward = toward / np.linalg.norm(toward)
    right = np.cross(toward, [0.0, 0.0, 1.0])
    right = right / np.linalg.norm(right)
    return np.stack([right, np.cross(toward, right)])


def _cut(box: tuple[int, ...], size_px: tuple[int, int]) -> Box | None:
    """Return the part of a box that lies in the frame."""
    left, top = max(box[0], 0), max(box[1], 0)
    right, bottom = min(box[2], size_px[0]), min(box[3], size_px[1])
    return (left, top, right, bottom) if right - left >= 2 and bottom - top >= 2 else None


def _expose(
    pixels: Array, share: float, box: tuple[int, ...], axes: Array, lit: Array
) -> tuple[Floats, Floats]:
    """Return cover and irradiance on fine cells: the path of the centre, widened by the disc."""
    wide, tall = (box[2] - box[0]) * FINE, (box[3] - box[1]) * FINE
    path = np.zeros((tall, wide), np.float32)
    cells = (pixels - box[:2] + 0.5) * FINE - 0.5
    corner = np.floor(cells).astype(int)
    beyond = cells - corner
    for down in (0, 1):
        for right in (0, 1):
            weight = np.abs(1 - right - beyond[:, 0]) * np.abs(1 - down - beyond[:, 1])
            np.add.at(path, (corner[:, 1] + down, corner[:, 0] + right), weight * share)
    disc, glow = _kernels(axes, lit)
    return (
        cv2.filter2D(path, -1, disc, borderType=cv2.BORDER_CONSTANT),
        cv2.filter2D(path, -1, glow, borderType=cv2.BORDER_CONSTANT),
    )


def _kernels(axes: Array, lit: Array) -> tuple[Floats, Floats]:
    """Return the disc and the lit disc on fine cells, edges softened, flipped for filter2D.

    A ball that stands still covers a cell by the share of the cell inside the outline.
    """
    finer = 4
    half = int(np.ceil(np.linalg.norm(axes, 2) * FINE)) + 1
    count = (2 * half + 1) * finer
    axis = ((np.arange(count) + 0.5) / finer - half - 0.5) / FINE
    place = np.stack(np.meshgrid(axis, axis), axis=-1)
    unit = place @ np.linalg.inv(axes).T
    inside = (np.sum(unit**2, axis=-1) <= 1.0).astype(np.float32)
    grid = ((unit + 1.0) * 0.5 * len(lit) - 0.5).astype(np.float32)
    glow = cv2.remap(
        lit.astype(np.float32),
        grid[..., 0],
        grid[..., 1],
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    small = (2 * half + 1, 2 * half + 1)
    disc = cv2.resize(inside, small, interpolation=cv2.INTER_AREA)
    glow = cv2.resize(inside * glow, small, interpolation=cv2.INTER_AREA)
    # The outline's area is kept exactly, so that the light does not depend on the raster.
    scale = np.pi * abs(np.linalg.det(axes)) * FINE**2 / float(disc.sum())
    return disc[::-1, ::-1] * np.float32(scale), glow[::-1, ::-1] * np.float32(scale)


def _pixels(cells: Floats) -> Floats:
    """Return the mean over each pixel's cells."""
    size = (cells.shape[1] // FINE, cells.shape[0] // FINE)
    return cv2.resize(cells, size, interpolation=cv2.INTER_AREA)
