"""The frame of the clip with everything that was made of it drawn in."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tracker.records import FlightPath, MeasuredShot
from tracker.report.composite import Image, shrunk
from tracker.report.look import FITTED, INK, PAPER, UNUSED, USED, cased, places
from tracker.report.rounding import with_uncertainty

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Array = NDArray[np.float64]
Window = tuple[int, int, int, int]

LOWEST_ASPECT = 0.34
"""Height over width below which a window would be a slit."""


def window_around(measured: MeasuredShot, shape: tuple[int, ...]) -> Window:
    """Return the part of the frame that holds the whole shot: left, top, right, bottom.

    Parameters
    ----------
    measured : MeasuredShot
    shape : tuple of int
        Height and width of the frame.
    """
    height, width = shape[:2]
    seen = [places(measured, True), places(measured, False)]
    if measured.path is not None:
        seen.append(measured.path.pixels)
    every = np.concatenate(seen)
    every = every[np.all(np.isfinite(every), axis=1)]
    every = np.clip(every, (0, 0), (width - 1, height - 1))
    if not len(every):
        return 0, 0, width, height
    low, high = every.min(axis=0), every.max(axis=0)
    margin = 0.08 * width
    wide = float(max(high[0] - low[0] + 2 * margin, width / 2))
    tall = float(max(high[1] - low[1] + 2 * margin, LOWEST_ASPECT * wide))
    tall = min(tall, height)
    wide = min(max(wide, tall * width / height), width)
    middle = (low + high) / 2
    left = round(min(max(0.0, middle[0] - wide / 2), width - wide))
    top = round(min(max(0.0, middle[1] - tall / 2), height - tall))
    return left, top, left + int(wide), top + int(tall)


def draw_scene(
    axes: "Axes",
    measured: MeasuredShot,
    picture: Image,
    window: Window,
    markers: Sequence[tuple[str, tuple[float, float]]],
) -> None:
    """Draw frame, markers, places, fitted path and the three events into an area.

    Parameters
    ----------
    axes : Axes
        An area of the window's proportions.
    measured : MeasuredShot
    picture : ndarray of uint8, shape (H, W, 3)
        The whole frame, blue, green, red.
    window : tuple of int
        From `window_around`.
    markers : sequence of (str, (float, float))
        Names and pixels of the markers.
    """
    left, top, right, bottom = window
    part, extent = shrunk(picture[top:bottom, left:right, ::-1], (left, top))
    axes.imshow(part, extent=extent, aspect="auto", interpolation="antialiased")
    axes.set_axis_off()
    axes.set_xlim(left - 0.5, right - 0.5)
    axes.set_ylim(bottom - 0.5, top - 0.5)
    scale = (right - left) / 1920.0
    for name, (column, row) in markers:
        if left < column < right and top < row < bottom:
            place = (column - left) / (right - left)
            side = "left" if place < 0.04 else "right" if place > 0.96 else "center"
            _mark(axes, name, (column, row), scale, side)
    if measured.path is not None:
        _draw_path(axes, measured, measured.path, scale)
    _draw_places(axes, measured, scale)
    if measured.path is not None:
        _draw_events(axes, measured, measured.path, window)
    _draw_key(axes, measured)


def _mark(axes: "Axes", name: str, pixel: tuple[float, float], scale: float, side: str) -> None:
    """Draw a marker's place as an open corner below it, with its name to that side."""
    column, row = pixel
    arm = 9 * scale
    axes.plot(
        [column - arm, column, column + arm],
        [row + 1.7 * arm, row + 0.7 * arm, row + 1.7 * arm],
        color=PAPER,
        linewidth=1.2,
        path_effects=cased(2.6),
    )
    axes.text(
        column - {"left": arm, "center": 0.0, "right": -arm}[side],
        row + 2.2 * arm,
        name,
        color=PAPER,
        fontsize=7,
        ha=side,
        va="top",
        path_effects=cased(2.0),
        parse_math=False,
    )


def _draw_path(axes: "Axes", measured: MeasuredShot, path: FlightPath, scale: float) -> None:
    """Draw the fitted path, open around every place so that the ball stays in sight."""
    every = np.concatenate([places(measured, True), places(measured, False)])
    dense = _dense(path.pixels, step=scale)
    if len(every):
        apart = np.min(np.linalg.norm(dense[:, None, :] - every[None, :, :], axis=2), axis=1)
        dense[apart < 6.5 * scale] = np.nan
    axes.plot(
        dense[:, 0],
        dense[:, 1],
        color=FITTED,
        linewidth=1.0,
        path_effects=cased(2.4),
        solid_capstyle="butt",
    )


def _dense(pixels: Array, step: float) -> Array:
    """Return a polyline, shape (N, 2), with a vertex every `step` pixels."""
    kept = pixels[np.all(np.isfinite(pixels), axis=1)]
    if len(kept) < 2:
        return kept.copy()
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(kept, axis=0), axis=1))])
    fine = np.arange(0.0, along[-1] + step, step)
    return np.column_stack([np.interp(fine, along, kept[:, axis]) for axis in (0, 1)])


def _draw_places(axes: "Axes", measured: MeasuredShot, scale: float) -> None:
    """Draw two ticks across the path beside each used place, a cross on each unused one."""
    from matplotlib.collections import LineCollection

    used = places(measured, True)
    if len(used):
        across = _normals(used)
        ticks = [
            (place + side * inner * normal, place + side * outer * normal)
            for place, normal in zip(used, across, strict=True)
            for side, inner, outer in ((1, 6 * scale, 12 * scale), (-1, 6 * scale, 12 * scale))
        ]
        for colour, width in ((INK, 2.6), (USED, 1.4)):
            axes.add_collection(LineCollection(ticks, colors=colour, linewidths=width))
    unused = places(measured, False)
    axes.plot(
        unused[:, 0],
        unused[:, 1],
        "x",
        color=UNUSED,
        markersize=6.5,
        markeredgewidth=1.5,
        path_effects=cased(3.0),
    )


def _normals(pixels: Array) -> Array:
    """Return unit vectors across the way of a row of places, shape (N, 2)."""
    if len(pixels) < 2:
        return np.tile([0.0, 1.0], (len(pixels), 1))
    along = np.gradient(pixels, axis=0)
    length = np.linalg.norm(along, axis=1, keepdims=True)
    along = np.where(length > 1e-9, along / np.maximum(length, 1e-9), (1.0, 0.0))
    return np.column_stack([-along[:, 1], along[:, 0]])


def _draw_events(axes: "Axes", measured: MeasuredShot, path: FlightPath, window: Window) -> None:
    """Mark release, apex and landing with a shape and a label each."""
    shot = measured.shot
    carry = with_uncertainty(shot.carry_m, shot.carry_u_m)
    apex = with_uncertainty(shot.apex_m, shot.apex_u_m)
    speed = with_uncertainty(shot.exit_speed_mps, shot.exit_speed_u_mps)
    landing = "landing" if shot.landing_seen else "landing, not seen"
    events = (
        (path.release_px, "^", f"release, {speed} m/s", 46),
        (path.apex_px, "D", f"apex, {apex} m", -24),
        (path.landing_px, "v", f"{landing}, {carry} m", 46),
    )
    left, top, right, bottom = window
    for pixel, shape, label, drop in events:
        column, row = (float(value) for value in pixel)
        if not (left <= column <= right and top <= row <= bottom):
            continue
        axes.plot(
            column,
            row,
            shape,
            markersize=11,
            markerfacecolor="none",
            markeredgecolor=FITTED,
            markeredgewidth=1.6,
            path_effects=cased(3.4),
        )
        place = (column - left) / (right - left)
        side = "left" if place < 0.15 else "right" if place > 0.85 else "center"
        down = (row - top) / (bottom - top)
        if (drop > 0 and down > 0.9) or (drop < 0 and down < 0.1):
            drop = -drop
        axes.annotate(
            label,
            (column, row),
            xytext=(0, -drop),
            textcoords="offset points",
            ha=side,
            va="center",
            fontsize=9,
            color=INK,
            bbox={"boxstyle": "square,pad=0.3", "facecolor": PAPER, "edgecolor": INK, "lw": 0.8},
            arrowprops={"arrowstyle": "-", "color": PAPER, "lw": 1.0, "shrinkB": 7},
        )


def _draw_key(axes: "Axes", measured: MeasuredShot) -> None:
    """Say what the ticks, the crosses and the line are."""
    from matplotlib.lines import Line2D

    used = sum(point.used for point in measured.points)
    entries = [
        Line2D([], [], color=USED, marker="|", ls="", ms=9, mew=2, label=f"found and used, {used}"),
        Line2D([], [], color=FITTED, lw=1.2, label="fitted flight"),
    ]
    if used < len(measured.points):
        left_out = len(measured.points) - used
        label = f"found, not used, {left_out}"
        entries.insert(1, Line2D([], [], color=UNUSED, marker="x", ls="", ms=7, mew=2, label=label))
    axes.legend(
        handles=entries,
        loc="upper left",
        fontsize=8,
        facecolor=INK,
        edgecolor=INK,
        labelcolor=PAPER,
        framealpha=0.85,
        borderpad=0.6,
        fancybox=False,
        ncols=len(entries),
    )
