"""Flat shapes in front of the field: people, animals, markers, the launcher."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.camera import Camera
from tracker.synthetic import colour
from tracker.synthetic.plate import Plate

Array = NDArray[np.float64]
Floats = NDArray[Any]
"""Single precision; OpenCV's own annotations are too wide to say so."""
Box = tuple[int, int, int, int]

FINE = 4
"""Drawn cells along a pixel's edge."""


@dataclass(frozen=True)
class Shape:
    """A filled polygon in ground coordinates, shape (N, 3) in m, and its linear light (3,)."""

    corners: Array
    light: Array


@dataclass(frozen=True)
class Sprite:
    """A piece of picture with its cover, ready to be laid over a plate.

    ``luma`` is linear light and ``blue``, ``red`` are codes less 128, all already multiplied
    by the cover. The box is left, top, right, bottom in pixels, even throughout.
    """

    box: Box
    cover: Floats
    luma: Floats
    blue: Floats
    red: Floats


def paint(shapes: Sequence[Shape], camera: Camera, psf_px: float) -> Sprite | None:
    """Draw shapes in order, later ones over earlier ones; None where they are out of sight."""
    ends = np.cumsum([len(shape.corners) for shape in shapes])[:-1]
    pixels = np.split(camera.project(np.vstack([shape.corners for shape in shapes])), ends)
    outlines = [
        (shape, line)
        for shape, line in zip(shapes, pixels, strict=True)
        if np.all(np.isfinite(line))
    ]
    if not outlines:
        return None
    box = even_box(np.vstack([line for _, line in outlines]), 3.0 * psf_px + 1.0, camera.size_px)
    if box is None:
        return None
    left, top, right, bottom = box
    size = ((right - left) * FINE, (bottom - top) * FINE)
    canvas = np.zeros((size[1], size[0], 4), np.float32)
    for shape, line in outlines:
        luma, blue, red = colour.luma_chroma(shape.light)
        paint_value = (float(colour.decode(luma)), float(blue) - 128.0, float(red) - 128.0, 1.0)
        cells = (line - (left, top) + 0.5) * FINE - 0.5
        cv2.fillPoly(canvas, [np.round(cells * 16).astype(np.int32)], paint_value, shift=4)
    full = cv2.resize(canvas, (right - left, bottom - top), interpolation=cv2.INTER_AREA)
    if psf_px > 0:
        full = cv2.GaussianBlur(full, (0, 0), psf_px)
    half = cv2.resize(
        full, (size[0] // FINE // 2, size[1] // FINE // 2), interpolation=cv2.INTER_AREA
    )
    return Sprite(
        box,
        np.ascontiguousarray(full[..., 3]),
        np.ascontiguousarray(full[..., 0]),
        np.ascontiguousarray(half[..., 1]),
        np.ascontiguousarray(half[..., 2]),
    )


def lay(plate: Plate, patch: Sprite) -> None:
    """Lay a patch over a plate: light adds linearly, so luma is decoded and coded again."""
    left, top, right, bottom = patch.box
    part = np.s_[top:bottom, left:right]
    behind = colour.decode(plate.luma[part])
    plate.luma[part] = colour.encode(behind * (1.0 - patch.cover) + patch.luma)
    half = np.s_[top // 2 : bottom // 2, left // 2 : right // 2]
    cover = cv2.resize(patch.cover, patch.blue.shape[::-1], interpolation=cv2.INTER_AREA)
    for plane, over in ((plate.blue, patch.blue), (plate.red, patch.red)):
        plane[half] += over - cover * (plane[half] - 128.0)


def even_box(points: Array, margin: float, size_px: tuple[int, int]) -> Box | None:
    """Return the even pixel box round points, cut to the frame; None where nothing is left."""
    low = np.floor((points.min(axis=0) - margin) / 2.0) * 2.0
    high = np.ceil((points.max(axis=0) + margin + 1.0) / 2.0) * 2.0
    left, top = (int(max(value, 0)) for value in low)
    right, bottom = (int(min(value, size)) for value, size in zip(high, size_px, strict=True))
    return (left, top, right, bottom) if right - left >= 2 and bottom - top >= 2 else None


def upright(anchor: ArrayLike, ahead: ArrayLike, flat: Iterable[ArrayLike]) -> Array:
    """Return ground points of a flat upright figure.

    Parameters
    ----------
    anchor : array_like, shape (3,)
        The figure's origin, m.
    ahead : array_like, shape (3,)
        Unit level direction of the figure's first axis; its second axis is up.
    flat : iterable of (forward, up), m
    """
    points = np.asarray(list(flat), float)
    rise = np.array([0.0, 0.0, 1.0])
    found: Array = (
        np.asarray(anchor, float) + points[:, :1] * np.asarray(ahead, float) + points[:, 1:] * rise
    )
    return found


def disc(middle: ArrayLike, radii: Sequence[float], count: int = 18) -> Array:
    """Return the outline of an ellipse, shape (count, 2)."""
    turn = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
    spokes = np.column_stack([np.cos(turn), np.sin(turn)])
    found: Array = np.asarray(middle, float) + np.asarray(radii) * spokes
    return found


def limb(start: ArrayLike, end: ArrayLike, thick: float) -> Array:
    """Return the outline of a bar with round ends from `start` to `end`, shape (14, 2)."""
    first, last = np.asarray(start, float), np.asarray(end, float)
    turn = np.arctan2(*(last - first)[::-1])
    round_end = np.linspace(-np.pi / 2, np.pi / 2, 7)
    cap = np.column_stack([np.cos(turn + round_end), np.sin(turn + round_end)])
    return np.vstack([last + 0.5 * thick * cap, first - 0.5 * thick * cap])
