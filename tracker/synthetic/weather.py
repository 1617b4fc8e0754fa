"""What moves whole regions of the picture: trees in wind, shadows of clouds."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from tracker.synthetic.plate import Plate
from tracker.synthetic.scene import Scene, Tree
from tracker.synthetic.sprite import Box, even_box
from tracker.synthetic.texture import sample

Array = NDArray[np.float64]
Floats = NDArray[Any]
"""Single precision; OpenCV's own annotations are too wide to say so."""

FAR = 1e6
"""A depth behind everything, m."""
SHADOW_STEP = 16
"""Pixels from one point of the shadows' grid to the next: shadows are soft."""


class SwayingTrees:
    """Trees and hedge tops that bend and whose leaves flicker.

    Parameters
    ----------
    scene : Scene
    sway_m : float
        How far the top of a tree swings to either side.
    period_s : float
    """

    def __init__(self, scene: Scene, sway_m: float = 0.25, period_s: float = 2.2) -> None:
        self._scene = scene
        self._sway_m = sway_m
        self._period_s = period_s
        self._fields: dict[tuple[int, int, int, float], _Leaves] = {}

    def depth(self, camera: Camera, time_s: float) -> float:
        """Return that they are behind everything."""
        return FAR

    def draw(self, plate: Plate, camera: Camera, time_s: float) -> Sequence[Box]:
        """Bend the picture round each tree and return the boxes it touched."""
        boxes = []
        for tree in self._scene.trees:
            box, scale = self._place(tree, camera)
            if box is None:
                continue
            left, top, right, bottom = box
            key = (tree.seed, right - left, bottom - top, round(scale, 2))
            if key not in self._fields:
                self._fields[key] = _leaves(tree.seed, (bottom - top, right - left), scale)
            maps = self._bent(self._fields[key], tree.seed, scale, time_s)
            for plane, part in ((plate.luma, 1), (plate.blue, 2), (plate.red, 2)):
                region = np.s_[top // part : bottom // part, left // part : right // part]
                over, down = (each[::part, ::part] / np.float32(part) for each in maps)
                plane[region] = cv2.remap(
                    plane[region].copy(),
                    over,
                    down,
                    cv2.INTER_CUBIC,
                    borderMode=cv2.BORDER_REPLICATE,
                )
            boxes.append(box)
        return boxes

    def _place(self, tree: Tree, camera: Camera) -> tuple[Box | None, float]:
        """Return the box of a tree above half the hedge and the pixels to a metre."""
        side = np.sign(self._scene.hedge_across_m - camera.position[1])
        across = self._scene.hedge_across_m + 3.0 * side
        corners = np.array(
            [
                (tree.along_m + share * tree.width_m, across, up)
                for share in (-0.75, 0.75)
                for up in (0.55 * self._scene.hedge_height_m, 1.15 * tree.height_m)
            ]
        )
        pixels = camera.project(corners)
        if not np.all(np.isfinite(pixels)):
            return None, 1.0
        scale = camera.focal_px / float(camera.in_camera(corners[:1])[0, 2])
        return even_box(pixels, 0.0, camera.size_px), scale

    def _bent(
        self, leaves: "_Leaves", seed: int, scale: float, time_s: float
    ) -> tuple[Floats, Floats]:
        """Return where each pixel comes from: a swing that grows upward, a flutter in patches."""
        turn = 2.0 * np.pi * time_s / self._period_s + 0.7 * seed
        swing = self._sway_m * scale * (np.sin(turn) + 0.4 * np.sin(2.3 * turn + 1.0))
        beat = np.float32(5.1 * turn)
        flutter = np.float32(0.05 * scale) * np.sin(leaves.patches + beat)
        flutter *= leaves.hold
        return leaves.over + leaves.bend * np.float32(swing) + flutter, leaves.down + 0.6 * flutter


@dataclass(frozen=True)
class _Leaves:
    """What does not change of a tree's bending: coordinates, where it holds, its patches."""

    over: Floats
    down: Floats
    hold: Floats
    bend: Floats
    patches: Floats


def _leaves(seed: int, shape: tuple[int, int], scale: float) -> _Leaves:
    """Return the fields of a tree's box; nothing moves at the box's foot and sides."""
    down, over = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
    up = 1.0 - down / max(shape[0] - 1, 1)
    edge = np.minimum(over, shape[1] - 1 - over) / (0.2 * shape[1])
    hold = (np.clip(3.0 * up, 0.0, 1.0) * np.clip(edge, 0.0, 1.0)).astype(np.float32)
    leaf = 0.45 * scale
    patches = np.float32(2.5) * sample(seed, over / leaf, down / leaf, 2.0)
    return _Leaves(over, down, hold, (hold * up).astype(np.float32), patches)


class CloudShadows:
    """Shadows of clouds that drift over field and hedge; the sky keeps its light.

    Parameters
    ----------
    scene : Scene
    depth_share : float
        Share of the light that a shadow takes away.
    drift_mps : tuple of float
        Along and across.
    """

    def __init__(
        self, scene: Scene, depth_share: float = 0.35, drift_mps: tuple[float, float] = (5.0, 2.0)
    ) -> None:
        self._scene = scene
        self._share = depth_share
        self._drift = drift_mps
        self._places: tuple[Camera, Array] | None = None

    def depth(self, camera: Camera, time_s: float) -> float:
        """Return that they lie on everything that stands still, before anything else is drawn."""
        return 0.9 * FAR

    def draw(self, plate: Plate, camera: Camera, time_s: float) -> Sequence[Box]:
        """Darken luma below the horizon and return the box it touched."""
        width, height = camera.size_px
        # A swaying camera keeps the shadows of the steady one: they have no edges to betray it.
        if self._places is None:
            self._places = (camera, self._ground(camera))
        places = self._places[1]
        moved = places[..., :2] - np.array(self._drift) * time_s
        cloud = sample(
            self._scene.seed + 17,
            moved[..., 0].astype(np.float32),
            moved[..., 1].astype(np.float32),
            70.0,
        )
        shadow = self._share / (1.0 + np.exp(-4.0 * cloud)) * places[..., 2]
        factor = np.power(1.0 - shadow, 0.45).astype(np.float32)
        full = cv2.resize(factor, (width, height), interpolation=cv2.INTER_LINEAR)
        # The shading fades into the sky over the half cell above the first shaded one.
        first = int(np.argmax(places[..., 2].any(axis=1)))
        top = max(0, first * SHADOW_STEP - SHADOW_STEP // 2)
        plate.luma[top:] = 16.0 + (plate.luma[top:] - 16.0) * full[top:]
        return [(0, top, width, height)]

    def _ground(self, camera: Camera) -> Array:
        """Return along, across and whether the ground or hedge is seen, on a coarse grid."""
        width, height = camera.size_px
        columns = (np.arange(-(-width // SHADOW_STEP)) + 0.5) * SHADOW_STEP - 0.5
        rows = (np.arange(-(-height // SHADOW_STEP)) + 0.5) * SHADOW_STEP - 0.5
        grid = np.stack(np.meshgrid(columns, rows), axis=-1).reshape(-1, 2)
        hedge = (0.0, self._scene.hedge_across_m, 0.0)
        ground, wall = camera.on_ground(grid), camera.on_plane(grid, hedge, (0.0, 1.0, 0.0))
        side = np.sign(self._scene.hedge_across_m - camera.position[1])
        near = side * (ground[:, 1] - self._scene.hedge_across_m) < 0.0
        on_wall = ~near & (wall[:, 2] < self._scene.hedge_height_m)
        places = np.where(near[:, None], ground, wall)
        places[:, 2] = near | on_wall
        return np.nan_to_num(places).reshape(len(rows), len(columns), 3)
