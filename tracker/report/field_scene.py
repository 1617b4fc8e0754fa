"""A calibrated field as lines over a frame, for a screen that redraws them at every pick."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.ground import LEVEL, Ground
from calibration.site import Calibration, Drawing, draw, visible
from tracker.session import MarkerEntry

Array = NDArray[np.float64]
Pixel = tuple[float, float]

KEPT = 8
"""One of so many points of a line on the ground is drawn: 2 m apart, where a lens bends a line by
less than a tenth of a pixel."""


@dataclass(frozen=True)
class SceneLabel:
    """A text at a place of the frame."""

    text: str
    pixel: Pixel


@dataclass(frozen=True)
class SceneArrow:
    """A residual, from the picked pixel on, as an SVG path."""

    name: str
    path: str


@dataclass(frozen=True)
class FieldScene:
    """Lines over a frame as SVG paths in its pixels.

    Attributes
    ----------
    grid, firing_line, ticks, ellipses : str
        SVG path data.
    labels : tuple of SceneLabel
        Metres along the firing line, at its ticks.
    arrows : tuple of SceneArrow
    scale : float
        How many times the arrows are longer than the residuals.
    spacing_m : float
        Between the lines of the grid.
    """

    grid: str
    firing_line: str
    ticks: str
    ellipses: str
    labels: tuple[SceneLabel, ...]
    arrows: tuple[SceneArrow, ...]
    scale: float
    spacing_m: float


def field_scene(calibration: Calibration, ground: Ground = LEVEL) -> FieldScene:
    """Return the lines that a calibration draws over its frame, on the ground of the field."""
    drawing: Drawing = draw(calibration, ground=ground)
    return FieldScene(
        grid=_path(_thinned(line) for line in drawing.grid),
        firing_line=_path(_thinned(line) for line in drawing.firing_line),
        ticks=_path(tick.ends_px for tick in drawing.ticks),
        ellipses=_path(ellipse.outline_px for ellipse in drawing.ellipses),
        labels=tuple(SceneLabel(f"{t.along_m:g} m", _pixel(t.ends_px[1])) for t in drawing.ticks),
        arrows=tuple(
            SceneArrow(each.name, _path([np.array([each.picked_px, each.tip_px])]))
            for each in drawing.arrows
        ),
        scale=drawing.scale,
        spacing_m=drawing.spacing_m,
    )


def expected_pixels(camera: Camera, markers: Iterable[MarkerEntry]) -> dict[str, Pixel]:
    """Return by name where a camera shows markers' taped places, those in the frame only."""
    wanted = tuple(markers)
    if not wanted:
        return {}
    places = np.array([marker.ground_m for marker in wanted], float)
    shown = visible(camera, places)
    pixels = camera.project(places)
    return {
        marker.name: _pixel(pixel)
        for marker, pixel, seen in zip(wanted, pixels, shown, strict=True)
        if seen
    }


def residual_words(calibration: Calibration) -> dict[str, str]:
    """Return by marker its residual in words, in pixels and on the ground."""
    return {
        name: f"{math.hypot(*px):.1f} px ({100.0 * math.hypot(*ground):.0f} cm) off"
        for name, px, ground in zip(
            calibration.markers,
            calibration.residuals_px,
            calibration.ground_residuals_m,
            strict=True,
        )
    }


def _thinned(line: Array) -> Array:
    """Return every so many points of a line, its last one always."""
    return np.concatenate([line[:-1:KEPT], line[-1:]])


def _path(lines: Iterable[Array]) -> str:
    """Return lines as SVG path data; what is not finite is left out."""
    found = []
    for line in lines:
        points = [f"{x:.1f} {y:.1f}" for x, y in line if math.isfinite(x) and math.isfinite(y)]
        if len(points) > 1:
            found.append("M" + "L".join(points))
    return "".join(found)


def _pixel(pixel: Array) -> Pixel:
    return round(float(pixel[0]), 2), round(float(pixel[1]), 2)
