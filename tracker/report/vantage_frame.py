"""The frame as the camera will show it, and the ball on its pixels."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.site import visible
from tracker.report.comparison_picture import COLOURS
from tracker.report.look import FAINT, INK, PAPER, cased
from tracker.report.signs import EVENTS
from tracker.vantage import Moment, Vantage

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Array = NDArray[np.float64]

SKY, GROUND, FLIGHT = "#dbe6ee", "#dfeee2", COLOURS[1]

MOST_DOTS = 30
"""More dots than this along a flight run together."""

FAR_M = 1e5
"""Distance of what stands for the horizon, m: a phone's pixel spans more than the rest."""


def stride_of(vantage: Vantage) -> int:
    """Return of how many frames one is drawn as a dot."""
    return max(1, -(-len(vantage.field.frames_m) // MOST_DOTS))


def draw_frame(axes: "Axes", vantage: Vantage) -> None:
    """Draw what the camera will show."""
    camera, field = vantage.forecast.camera, vantage.field
    width, height = camera.size_px
    axes.set_facecolor(GROUND)
    horizon = _horizon(camera)
    if len(horizon):
        axes.fill_between(horizon[:, 0], -0.5, horizon[:, 1], color=SKY, lw=0, zorder=0)
        axes.plot(*horizon.T, color=FAINT, lw=1.0, zorder=1)
    reach = float(np.max(field.line_m[:, 0]))
    line = np.linspace(field.line_m[0, 0], reach, 200)
    ground = np.column_stack([line, np.zeros_like(line), np.zeros_like(line)])
    axes.plot(*_seen(camera, ground).T, color=INK, lw=1.2, zorder=2)
    for tens in np.arange(np.ceil(line[0] / 10.0) * 10.0, reach, 10.0):
        tick = _seen(camera, np.array([[tens, -0.4, 0.0], [tens, 0.4, 0.0]]))
        axes.plot(*tick.T, color=INK, lw=1.2, zorder=2)
    for flight in field.flights_m[1:]:
        axes.plot(*_seen(camera, flight).T, color=FLIGHT, lw=0.7, alpha=0.55, zorder=3)
    dots = _seen(camera, field.frames_m[:: stride_of(vantage)])
    axes.plot(*dots.T, "o", ms=3.6, color=FLIGHT, zorder=5)
    _draw_markers(axes, vantage)
    for one in vantage.forecast.moments:
        if one.margin_px > 0.0:
            _draw_moment(axes, one, width)
    axes.set_xlim(-0.5, width - 0.5)
    axes.set_ylim(height - 0.5, -0.5)
    axes.set_aspect("equal", anchor="C")
    axes.set_xticks([])
    axes.set_yticks([])
    for side in axes.spines.values():
        side.set_color(INK)


def _draw_markers(axes: "Axes", vantage: Vantage) -> None:
    """Draw markers as upright triangles with their names below."""
    camera = vantage.forecast.camera
    width = camera.size_px[0]
    for marker in vantage.stand.site.markers:
        pixel = _seen(camera, marker.ground_m[None, :])[0]
        if not np.all(np.isfinite(pixel)):
            continue
        share = pixel[0] / width
        side = "left" if share < 0.06 else "right" if share > 0.94 else "center"
        axes.plot(*pixel, "^", ms=7, mfc=PAPER, mec=INK, mew=1.3, zorder=4)
        axes.annotate(
            marker.name, (float(pixel[0]), float(pixel[1])), xytext=(0, -17),
            textcoords="offset points", fontsize=8, color=INK, ha=side, va="center",
            parse_math=False, path_effects=cased(2.4, PAPER), zorder=8,
        )  # fmt: skip


def _draw_moment(axes: "Axes", one: Moment, width: int) -> None:
    axes.plot(*one.pixel, EVENTS[one.name], ms=10, mfc="none", mec=INK, mew=1.5, zorder=6)
    share = float(one.pixel[0]) / width
    side = "left" if share < 0.16 else "right" if share > 0.84 else "center"
    column, row = (float(value) for value in one.pixel)
    # Below the ground line there is nothing but grass.
    above = one.name == "apex"
    axes.annotate(
        f"{one.name}: {one.diameter_px:.1f} px wide, {one.step_px:.0f} px a frame",
        (column, row),
        xytext=(0, 22) if above else (column, 0.05),
        textcoords="offset points" if above else ("data", "axes fraction"),
        ha=side,
        va="center",
        fontsize=8.5,
        color=INK,
        bbox={"boxstyle": "square,pad=0.25", "facecolor": PAPER, "edgecolor": INK, "lw": 0.7},
        arrowprops={"arrowstyle": "-", "color": INK, "lw": 0.8, "shrinkB": 6, "relpos": (
            {"left": 0.0, "center": 0.5, "right": 1.0}[side], 1.0 - above)},
        zorder=7,
    )  # fmt: skip


def draw_close_up(axes: "Axes", one: Moment, half: int, first: bool) -> None:
    """Draw the ball at one moment on the pixels of the frame, as wide and as smeared."""
    from matplotlib.patches import Circle

    axes.set_facecolor("#ffffff")
    for at in np.arange(-half, half + 1):
        axes.axhline(at - 0.5, color=FAINT, lw=0.4, alpha=0.6)
        axes.axvline(at - 0.5, color=FAINT, lw=0.4, alpha=0.6)
    ends = np.linspace(-0.5, 0.5, 25)[:, None] * one.streak_px * one.direction
    for column, row in ends:
        axes.add_patch(
            Circle((column, row), one.diameter_px / 2.0, color=FLIGHT, alpha=0.10, lw=0, zorder=2)
        )
    axes.add_patch(
        Circle((0.0, 0.0), one.diameter_px / 2.0, fill=False, color=INK, lw=1.4, zorder=3)
    )
    axes.set_xlim(-half - 0.5, half + 0.5)
    axes.set_ylim(half + 0.5, -half - 0.5)
    axes.set_aspect("equal")
    axes.set_xticks([])
    axes.set_yticks([])
    axes.set_xlabel(
        f"{one.name}: {one.diameter_px:.1f} px, streak {one.streak_px:.1f} px",
        fontsize=8,
        color=INK,
    )
    if first:
        axes.set_title("on the frame's pixels", fontsize=8.5, color=INK, pad=4)


def _horizon(camera: Camera) -> Array:
    """Return where the frame shows the horizon, shape (N, 2), from left to right."""
    heading = float(np.arctan2(camera.rotation[2, 1], camera.rotation[2, 0]))
    around = heading + np.radians(np.linspace(85.0, -85.0, 341))
    far = camera.position + FAR_M * np.column_stack(
        [np.cos(around), np.sin(around), np.zeros_like(around)]
    )
    pixels = camera.project(far)
    width = camera.size_px[0]
    near = np.isfinite(pixels).all(axis=1) & (np.abs(pixels[:, 0] - width / 2.0) < width)
    return pixels[near]


def _seen(camera: Camera, points: Array) -> Array:
    """Return the pixels of points, shape (N, 2); NaN for those that the frame does not show."""
    pixels = camera.project(points)
    pixels[~visible(camera, points)] = np.nan
    return pixels
