"""Lines of the ground in the frame, for a picture of a calibration."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.ground import LEVEL, Ground
from calibration.site.accuracy import BALL_PIXEL_U, ground_covariances
from calibration.site.solution import Calibration

Array = NDArray[np.float64]

RADIUS_95 = 2.447747
"""Radius of the 95 % ellipse of two normal variables, in standard deviations."""

STEP_M = 0.25
"""Between the points of a line on the ground, m: no bend shows between them."""

GRID_M, WIDE_GRID_M, WIDE_FIELD_M = 5.0, 10.0, 60.0
"""Spacing of the grid, m, and that on fields longer than the third."""

ARROW_SHARE = 0.05
"""Length of the longest residual's arrow as a share of the frame's longer side."""


@dataclass(frozen=True)
class Tick:
    """A metre tick of the firing line.

    Attributes
    ----------
    along_m : float
    ends_px : ndarray, shape (2, 2)
        From the line outwards to where a label belongs.
    """

    along_m: float
    ends_px: Array


@dataclass(frozen=True)
class Arrow:
    """A marker and the residual of its pixel.

    Attributes
    ----------
    name : str
    picked_px, tip_px : ndarray, shape (2,)
        Where it was picked, and that place moved by the residual times `Drawing.scale`.
    """

    name: str
    picked_px: Array
    tip_px: Array


@dataclass(frozen=True)
class Ellipse:
    """The 95 % ellipse of a ground point that is read from its pixel.

    Attributes
    ----------
    ground_m : ndarray, shape (3,)
    outline_m : ndarray, shape (K, 2)
        Along and across, for a plan of the field.
    outline_px : ndarray, shape (K, 2)
        The same in the frame.
    """

    ground_m: Array
    outline_m: Array
    outline_px: Array


@dataclass(frozen=True)
class Drawing:
    """Lines for a picture of the calibrated frame, all in pixels and inside the frame.

    Attributes
    ----------
    grid, firing_line : tuple of ndarray, each of shape (K, 2)
        Broken where the ground leaves the frame.
    spacing_m : float
        Between the lines of the grid.
    ticks : tuple of Tick
    arrows : tuple of Arrow
    scale : float
        How many times the arrows are longer than the residuals.
    ellipses : tuple of Ellipse
    """

    grid: tuple[Array, ...]
    firing_line: tuple[Array, ...]
    spacing_m: float
    ticks: tuple[Tick, ...]
    arrows: tuple[Arrow, ...]
    scale: float
    ellipses: tuple[Ellipse, ...]


def draw(
    calibration: Calibration, pixel_u: float = BALL_PIXEL_U, ground: Ground = LEVEL
) -> Drawing:
    """Return what a picture of a calibration shows.

    Parameters
    ----------
    calibration : Calibration
    pixel_u : float
        How well the ground point's pixel is known for its ellipse.
    ground : Ground
        What the lines lie on.
    """
    camera = calibration.camera
    points = calibration.points_m
    first = float(np.floor((min(0.0, points[:, 0].min()) + 0.5) / 10.0) * 10.0)
    last = float(np.ceil((max(10.0, points[:, 0].max()) - 0.5) / 10.0) * 10.0)
    spacing = GRID_M if last - first <= WIDE_FIELD_M else WIDE_GRID_M
    half = 2.0 * spacing
    along = np.arange(first, last + 0.5 * STEP_M, STEP_M)
    across = np.arange(-half, half + 0.5 * STEP_M, STEP_M)
    lines = [
        _laid(ground, along, np.full_like(along, side))
        for side in np.arange(-half, half + 0.1, spacing)
    ]
    lines += [
        _laid(ground, np.full_like(across, at), across)
        for at in np.arange(first, last + 0.1, spacing)
    ]
    line = _laid(ground, along, np.zeros_like(along))
    near = -0.5 if camera.position[1] < 0 else 0.5
    fives = np.arange(first, last + 0.1, 5.0)
    tens = fives[fives % 10 == 0]
    residuals = calibration.residuals_px
    longest = float(np.linalg.norm(residuals, axis=1).max())
    scale = _round_scale(ARROW_SHARE * max(camera.size_px) / max(longest, 1e-6))
    return Drawing(
        grid=_in_frame(camera, lines),
        firing_line=_in_frame(camera, [line]),
        spacing_m=spacing,
        ticks=_ticks(camera, ground, fives, near),
        arrows=tuple(
            Arrow(name, picked, picked + scale * residual)
            for name, picked, residual in zip(
                calibration.markers, calibration.pixels, residuals, strict=True
            )
        ),
        scale=scale,
        ellipses=ground_ellipses(camera, _laid(ground, tens, np.zeros_like(tens)), pixel_u, ground),
    )


def _laid(ground: Ground, along: Array, across: Array) -> Array:
    """Return points of the ground, shape (N, 3), by their coordinates along and across."""
    places = np.stack([along, across], axis=-1)
    return np.concatenate([places, ground.height_m(places)[..., None]], axis=-1)


def ground_ellipses(
    camera: Camera, points: Array, pixel_u: float = BALL_PIXEL_U, ground: Ground = LEVEL
) -> tuple[Ellipse, ...]:
    """Return the 95 % ellipses of ground points, shape (N, 3), that the frame shows."""
    angle = np.linspace(0.0, 2.0 * np.pi, 73)
    circle = RADIUS_95 * np.column_stack([np.cos(angle), np.sin(angle)])
    found = []
    spreads = ground_covariances(camera, points, pixel_u)
    for point, spread, seen in zip(points, spreads, visible(camera, points), strict=True):
        if not (seen and np.all(np.isfinite(spread))):
            continue
        values, vectors = np.linalg.eigh(spread)
        around = point[:2] + circle @ (vectors * np.sqrt(np.maximum(values, 0.0))).T
        around = _laid(ground, around[:, 0], around[:, 1])
        found.append(Ellipse(point, around[:, :2], camera.project(around)))
    return tuple(found)


def _ticks(camera: Camera, ground: Ground, places: Array, near: float) -> tuple[Tick, ...]:
    ends = _laid(ground, *np.broadcast_arrays(places[:, None], np.array([0.0, near])))
    seen = visible(camera, ends.reshape(-1, 3)).reshape(-1, 2).all(axis=1)
    pixels = camera.project(ends.reshape(-1, 3)).reshape(-1, 2, 2)
    return tuple(Tick(float(places[i]), pixels[i]) for i in np.flatnonzero(seen))


def _in_frame(camera: Camera, lines: Sequence[Array]) -> tuple[Array, ...]:
    """Return the pieces of lines of ground points that the frame shows."""
    points = np.concatenate(lines)
    seen = visible(camera, points)
    pixels = camera.project(points)
    ends = np.cumsum([len(line) for line in lines])[:-1]
    breaks = np.union1d(np.flatnonzero(np.diff(seen.astype(int))) + 1, ends)
    pieces = np.split(np.arange(len(points)), breaks)
    return tuple(pixels[piece] for piece in pieces if seen[piece[0]] and len(piece) > 1)


def visible(camera: Camera, points: Array) -> NDArray[np.bool_]:
    """Return which points the frame shows.

    A strong lens folds points from far aside back into the frame; their rays differ.
    """
    pixels = camera.project(points)
    width, height = camera.size_px
    with np.errstate(invalid="ignore"):
        inside = (
            (pixels[:, 0] >= -0.5)
            & (pixels[:, 0] <= width - 0.5)
            & (pixels[:, 1] >= -0.5)
            & (pixels[:, 1] <= height - 0.5)
        )
    ways = points - camera.position
    ways = ways / np.linalg.norm(ways, axis=1, keepdims=True)
    same = np.zeros(len(points), bool)
    if np.any(inside):
        same[inside] = np.sum(camera.rays(pixels[inside]) * ways[inside], axis=1) > 1.0 - 1e-6
    return inside & same


def _round_scale(wish: float) -> float:
    """Return the largest of 1, 2, 5, 10, 20 ... that is not above the wish, at least 1."""
    if wish <= 1.0:
        return 1.0
    power = 10.0 ** np.floor(np.log10(wish))
    return float(max(step * power for step in (1.0, 2.0, 5.0) if step * power <= wish))
