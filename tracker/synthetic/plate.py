"""The empty field, drawn once through the camera by casting a ray for every pixel."""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera, undistort
from tracker.synthetic import colour
from tracker.synthetic.scene import Scene, Tree
from tracker.synthetic.texture import Octave, layered, sample

Array = NDArray[np.float64]
Floats = NDArray[Any]
"""Single precision; OpenCV's own annotations are too wide to say so."""

SUBROWS = 2
"""Rays down each pixel; across it the texture is filtered instead."""
BAND = 60
"""Rows that are drawn at once, to save memory."""
COARSE = 8
"""Pixels between exact lines of sight; those between them are interpolated."""
FARTHEST_M = 400.0
"""Beyond this distance grass is not drawn, m."""

TURF = [Octave(9.0, 0.10), Octave(2.7, 0.08), Octave(0.7, 0.10), Octave(0.19, 0.16)]
TURF += [Octave(0.06, 0.22), Octave(0.02, 0.25)]
LEAVES = [Octave(2.2, 0.16), Octave(0.7, 0.24), Octave(0.24, 0.30), Octave(0.08, 0.30)]
CLOUDS = [Octave(3.1, 0.5), Octave(1.4, 0.30), Octave(0.6, 0.16), Octave(0.25, 0.08)]
"""Wavelengths (m on grass and leaves, units of sight on clouds) and strengths, chosen by eye."""


@dataclass
class Plate:
    """A picture in codes: luma at full size, two colour differences at half size (4:2:0)."""

    luma: Floats
    blue: Floats
    red: Floats

    def copy(self) -> "Plate":
        """Return a plate that can be drawn on."""
        return Plate(self.luma.copy(), self.blue.copy(), self.red.copy())


def draw_plate(scene: Scene, camera: Camera, psf_px: float) -> Plate:
    """Draw grass, hedge, trees and sky as the camera sees them.

    Parameters
    ----------
    scene : Scene
    camera : Camera
        Its lens distortion is honoured; width and height must be even.
    psf_px : float
        Standard deviation of the lens's point spread, px.
    """
    width, height = camera.size_px
    sight = _lines_of_sight(camera)
    rgb = np.empty((height, width, 3), np.float32)
    for top in range(0, height, BAND):
        rows = min(BAND, height - top)
        band = sight[top * SUBROWS : (top + rows) * SUBROWS]
        light = _radiance(scene, camera, band)
        rgb[top : top + rows] = light.reshape(rows, SUBROWS, width, 3).mean(axis=1)
    rgb *= _tufts(scene, camera, sight[::SUBROWS, :, 2])[..., None]
    cv2.GaussianBlur(rgb, (0, 0), psf_px, dst=rgb)
    return from_light(rgb)


def from_light(rgb: Floats) -> Plate:
    """Return the plate of linear light, shape (height, width, 3)."""
    luma, blue, red = colour.luma_chroma(rgb)
    half = (rgb.shape[1] // 2, rgb.shape[0] // 2)
    return Plate(
        luma.astype(np.float32),
        cv2.resize(blue.astype(np.float32), half, interpolation=cv2.INTER_AREA),
        cv2.resize(red.astype(np.float32), half, interpolation=cv2.INTER_AREA),
    )


def _lines_of_sight(camera: Camera) -> Floats:
    """Return ground-axis directions with unit length, shape (height * SUBROWS, width, 3).

    The lens is undone on a coarse grid and interpolated: its bending changes slowly.
    """
    width, height = camera.size_px
    columns = np.arange(-1, width // COARSE + 2) * COARSE + (COARSE - 1) / 2.0
    rows = np.arange(-1, height // COARSE + 2) * COARSE + (COARSE - 1) / 2.0
    grid = np.stack(np.meshgrid(columns, rows), axis=-1)
    flat = undistort((grid.reshape(-1, 2) - camera.centre_px) / camera.focal_px, camera.distortion)
    flat = flat.reshape(grid.shape)
    fine_column = (np.arange(width) - columns[0]) / COARSE
    fine_row = ((np.arange(height * SUBROWS) + 0.5) / SUBROWS - 0.5 - rows[0]) / COARSE
    maps = np.meshgrid(fine_column.astype(np.float32), fine_row.astype(np.float32))
    seen = np.ones((height * SUBROWS, width, 3), np.float32)
    for axis in (0, 1):
        plane = flat[..., axis].astype(np.float32)
        seen[..., axis] = cv2.remap(plane, maps[0], maps[1], cv2.INTER_LINEAR)
    sight = seen @ camera.rotation.astype(np.float32)
    found: Floats = sight / np.linalg.norm(sight, axis=-1, keepdims=True)
    return found


def _radiance(scene: Scene, camera: Camera, sight: Floats) -> Floats:
    """Return the linear light that comes back along lines of sight, shape (rows, width, 3)."""
    eye = camera.position
    gap = scene.hedge_across_m - eye[1]
    with np.errstate(divide="ignore", invalid="ignore"):
        to_hedge = np.where(sight[..., 1] * gap > 0, gap / sight[..., 1], np.inf)
        to_ground = np.where(sight[..., 2] < 0, -eye[2] / sight[..., 2], np.inf)
    near_ground = to_ground < to_hedge
    lawn = np.where(near_ground, to_ground, np.inf)
    if np.all(lawn < FARTHEST_M):
        rgb = np.empty(sight.shape, np.float32)
    else:
        rgb = _sky(scene, sight)
        if np.any(np.isfinite(to_hedge)):
            _paint_trees(scene, camera, sight, rgb)
            _paint_hedge(scene, camera, sight, np.where(near_ground, np.inf, to_hedge), rgb)
    if np.any(near_ground):
        _paint_grass(scene, camera, sight, lawn, rgb)
    return rgb


def _sky(scene: Scene, sight: Floats) -> Floats:
    """Return the light of the sky: a gradient under layers of soft cloud."""
    up = np.maximum(sight[..., 2], 0.0)
    reach = 1.0 / (up + 0.22)
    clouds = layered(scene.seed + 7, (sight[..., 0] * reach, sight[..., 1] * reach), CLOUDS)
    cover = scene.cloud_cover
    mist = np.clip(0.5 + 0.9 * clouds + 1.6 * (cover - 0.5), 0.0, 1.0)
    clear = np.array([0.50, 0.70, 1.05], np.float32)
    high = np.array([0.24, 0.42, 0.85], np.float32)
    height = np.clip(up / 0.7, 0.0, 1.0)[..., None] ** 0.7
    blue = clear * (1.0 - height) + high * height
    # An overcast sky is brighter overhead than at the horizon (Moon and Spencer, 1942).
    overcast = (1.0 + 0.7 * up) * (1.0 + 0.10 * clouds)
    cloud = overcast[..., None] * np.array([1.0, 1.02, 1.06], np.float32)
    mixed = blue * (1.0 - mist[..., None]) + cloud * mist[..., None]
    return (scene.sky_level * mixed).astype(np.float32)


def _paint_grass(scene: Scene, camera: Camera, sight: Floats, reach: Floats, rgb: Floats) -> None:
    """Paint turf wherever a line of sight meets the ground within `reach`."""
    hit = reach < FARTHEST_M
    rows = np.flatnonzero(hit.any(axis=1))
    part = slice(rows[0], rows[-1] + 1) if len(rows) else slice(0, 0)
    reach, hit = np.where(hit, reach, 1.0)[part], hit[part]
    along = (camera.position[0] + reach * sight[part][..., 0]).astype(np.float32)
    across = (camera.position[1] + reach * sight[part][..., 1]).astype(np.float32)
    width = reach / camera.focal_px
    depth = reach * width / camera.position[2] / SUBROWS
    tone = layered(scene.seed, (along, across), TURF, (width, depth))
    stripes = 0.05 * np.tanh(6.0 * np.sin(2.0 * np.pi * across / 2.6))
    worn = sample(scene.seed + 4, along, across, 14.0) + sample(scene.seed + 5, along, across, 3.0)
    worn = np.clip((worn - 1.5) * 0.35, 0.0, 0.45)[..., None]
    shade = np.clip(1.0 + tone + stripes, 0.25, 2.0)[..., None]
    green = np.array(scene.grass, np.float32)
    earth = np.array([0.17, 0.145, 0.085], np.float32)
    dry = sample(scene.seed + 6, along, across, 5.0)[..., None] * np.float32(0.10)
    green = green * (1.0 + dry * np.array([1.0, 0.3, 0.2], np.float32))
    light = scene.light.on_level() * shade * (green * (1.0 - worn) + earth * worn)
    rgb[part] = np.where(hit[..., None], light, rgb[part])


def _paint_hedge(scene: Scene, camera: Camera, sight: Floats, reach: Floats, rgb: Floats) -> None:
    """Paint the hedge on its upright plane, soft along its top."""
    hit = np.isfinite(reach)
    reach = np.where(hit, reach, 1.0)
    along = (camera.position[0] + reach * sight[..., 0]).astype(np.float32)
    up = (camera.position[2] + reach * sight[..., 2]).astype(np.float32)
    if not np.any(hit & (up < 2.0 * scene.hedge_height_m)):
        return
    outline = layered(
        scene.seed + 11, (along, np.zeros_like(along)), [Octave(6.0, 0.35), Octave(1.3, 0.13)]
    ) + layered(scene.seed + 12, (along, up), [Octave(0.5, 0.12), Octave(0.2, 0.08)])
    pixel = reach / camera.focal_px
    cover = np.clip((scene.hedge_height_m + outline - up) / pixel + 0.5, 0.0, 1.0) * hit
    tone = layered(scene.seed + 13, (along, up), LEAVES, (pixel, 0.0))
    lit = 0.45 + 0.55 * np.clip(up / scene.hedge_height_m, 0.0, 1.1) ** 1.5
    face = scene.light.on(_facing(camera, scene))
    leaf = np.array([0.060, 0.085, 0.030], np.float32)
    light = (face * 1.7 * lit * np.clip(1.0 + 1.3 * tone, 0.12, 2.6))[..., None] * leaf
    rgb += cover[..., None].astype(np.float32) * (light.astype(np.float32) - rgb)


def _paint_trees(scene: Scene, camera: Camera, sight: Floats, rgb: Floats) -> None:
    """Paint the trees on an upright plane behind the hedge."""
    side = np.sign(scene.hedge_across_m - camera.position[1])
    gap = scene.hedge_across_m + 3.0 * side - camera.position[1]
    with np.errstate(divide="ignore", invalid="ignore"):
        reach = np.where(sight[..., 1] * gap > 0, gap / sight[..., 1], 1e6).astype(np.float32)
    along = camera.position[0] + reach * sight[..., 0]
    up = camera.position[2] + reach * sight[..., 2]
    for tree in scene.trees:
        _paint_tree(scene, tree, camera, (along - tree.along_m, up, reach), rgb)


def _paint_tree(
    scene: Scene, tree: Tree, camera: Camera, place: tuple[Floats, Floats, Floats], rgb: Floats
) -> None:
    """Paint a tree, lobes of leaves over a trunk, given along, up and reach of every pixel."""
    along, up, reach = place
    near = (np.abs(along) < tree.width_m) & (up < 1.2 * tree.height_m) & (up > -1.0)
    columns, rows = np.flatnonzero(near.any(axis=0)), np.flatnonzero(near.any(axis=1))
    if len(columns) == 0 or len(rows) == 0:
        return
    part = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    along, up, reach = along[part], up[part], reach[part]
    body = np.full(along.shape, -9.0, np.float32)
    rng = np.random.default_rng([tree.seed, 5])
    for lobe in range(17):
        turn, out = 2.4 * lobe + rng.uniform(-0.4, 0.4), 0.31 * np.sqrt(lobe / 16.0)
        middle = (out * np.cos(turn) * tree.width_m, (0.60 + 0.9 * out * np.sin(turn)))
        size = rng.uniform(0.15, 0.22) * tree.width_m
        far = np.hypot(along - middle[0], up - middle[1] * tree.height_m)
        body = np.maximum(body, (size - far).astype(np.float32))
    ragged = layered(tree.seed, (along, up), [Octave(1.1, 0.25), Octave(0.35, 0.22)])
    pixel = reach / camera.focal_px
    cover = np.clip((body + ragged) / (2.5 * pixel) + 0.5, 0.0, 1.0)
    trunk = np.clip((0.02 * tree.height_m - np.abs(along)) / pixel + 0.5, 0.0, 1.0)
    trunk = trunk * (up < 0.6 * tree.height_m)
    tone = layered(tree.seed + 1, (along, up), LEAVES, (pixel, 0.0))
    lit = 0.6 + 0.5 * np.clip(up / tree.height_m, 0.0, 1.0)
    face = scene.light.on(_facing(camera, scene))
    leaf = np.array([0.075, 0.100, 0.040], np.float32)
    light = (face * 1.6 * lit * np.clip(1.0 + 1.2 * tone, 0.15, 2.5))[..., None] * leaf
    bark = np.array([0.05, 0.042, 0.034], np.float32) * scene.light.on_level()
    patch = rgb[part]
    patch += trunk[..., None].astype(np.float32) * (bark - patch)
    patch += cover[..., None].astype(np.float32) * (light.astype(np.float32) - patch)


def _facing(camera: Camera, scene: Scene) -> Array:
    """Return the level unit normal of the hedge's side that the camera sees."""
    return np.array([0.0, np.sign(camera.position[1] - scene.hedge_across_m), 0.0])


def _tufts(scene: Scene, camera: Camera, rise: Floats) -> Floats:
    """Return the fine relief of standing blades, which no flat texture has, as a factor."""
    rng = np.random.default_rng([scene.seed, 21])
    width, height = camera.size_px
    grain = rng.standard_normal((height, width), dtype=np.float32)
    # Long grass stands in taller, deeper tufts.
    tall = 1.0 + 4.0 * scene.grass_height_m
    cv2.GaussianBlur(grain, (0, 0), sigmaX=0.8, sigmaY=1.1 * tall, dst=grain)
    relief = np.float32(np.sqrt(tall))
    grain *= relief
    strength = np.clip(-rise * 1.6, 0.0, 0.22) * relief
    found: Floats = 1.0 + strength * np.clip(grain * 3.0, -2.5, 2.5)
    return found
