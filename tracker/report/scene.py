"""The frame of the clip with everything that was measured in it drawn in."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tracker.records import FlightPath, MeasuredShot
from tracker.report.composite import Image, shrunk
from tracker.report.labels import Box, box_about, place_label
from tracker.report.lettering import line_inches, width_inches
from tracker.report.look import FITTED, INK, PAPER, UNUSED, USED, across, cased, places
from tracker.report.raster import show
from tracker.report.rounding import with_uncertainty

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Array = NDArray[np.float64]
Window = tuple[int, int, int, int]
Markers = Sequence[tuple[str, tuple[float, float]]]

LOWEST_ASPECT = 0.34
"""Height over width below which a window would be a slit."""

MARGIN = 0.08
"""Picture around the shot, as a share of the frame's width; a matter of looks."""

USUAL_WIDTH_PX = 1920.0
"""Width of the window for which lengths on the picture are stated in pixels."""

OPEN_PX = 6.5
"""The path leaves a gap of this radius around each place, so that the ball stays in sight."""

TICK_PX = (6.0, 12.0)
"""Nearest and farthest end of a tick from its place."""

CROWDED_PX = 16.0
"""Places closer together than this have thinner ticks."""

MARKER_SIZE = 7.0
"""Size of the letters of a marker's name, points."""
EVENT_SIZE = 9.0
"""Size of the letters of an event's label, points."""
KEY_SIZE = 8.0
"""Size of the letters of the key, points."""

EVENT_INCHES = 0.2
"""Side of the square that the sign of an event takes up."""


@dataclass(frozen=True)
class SceneScale:
    """Where pixels of the frame lie on the printed picture.

    Attributes
    ----------
    window : tuple of int
        Left, top, right and bottom of the part of the frame that is shown.
    inches : float
        Width of the picture.
    """

    window: Window
    inches: float

    @property
    def scale(self) -> float:
        """Return the window's width over the usual one."""
        return (self.window[2] - self.window[0]) / USUAL_WIDTH_PX

    @property
    def bounds(self) -> Box:
        """Return the picture's own box, less a narrow margin."""
        left, top, right, bottom = self.window
        tall = self.inches * (bottom - top) / (right - left)
        return Box(0.06, 0.06, self.inches - 0.06, tall - 0.06)

    def at(self, pixels: Array) -> Array:
        """Return where pixels, shape (N, 2), lie, inches from the left and the top edge."""
        left, top, right, _ = self.window
        return (np.asarray(pixels, float) - (left, top)) * self.inches / (right - left)

    def pixel(self, place: tuple[float, float]) -> tuple[float, float]:
        """Return the pixel of a place on the picture."""
        left, top, right, _ = self.window
        per_inch = (right - left) / self.inches
        return left + place[0] * per_inch, top + place[1] * per_inch

    def shows(self, pixel: Array) -> bool:
        """Return whether a pixel lies in the window."""
        left, top, right, bottom = self.window
        return bool(left <= pixel[0] <= right and top <= pixel[1] <= bottom)


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
    margin = MARGIN * width
    wide = float(max(high[0] - low[0] + 2 * margin, width / 2))
    tall = float(max(high[1] - low[1] + 2 * margin, LOWEST_ASPECT * wide))
    tall = min(tall, height)
    wide = min(max(wide, tall * width / height), width)
    middle = (low + high) / 2
    left = round(min(max(0.0, middle[0] - wide / 2), width - wide))
    top = round(min(max(0.0, middle[1] - tall / 2), height - tall))
    return left, top, left + int(wide), top + int(tall)


def draw_scene(
    axes: "Axes", measured: MeasuredShot, picture: Image, sheet: SceneScale, markers: Markers
) -> None:
    """Draw frame, markers, places, fitted path and the three events into an area.

    Parameters
    ----------
    axes : Axes
        An area of the window's proportions.
    measured : MeasuredShot
    picture : ndarray of uint8, shape (H, W, 3)
        The whole frame, blue, green, red.
    sheet : SceneScale
        With the window from `window_around`.
    markers : sequence of (str, (float, float))
        Names and pixels of the markers.
    """
    left, top, right, bottom = sheet.window
    part, extent = shrunk(picture[top:bottom, left:right, ::-1], (left, top))
    show(axes, part, extent)
    axes.set_axis_off()
    axes.set_xlim(left - 0.5, right - 0.5)
    axes.set_ylim(bottom - 0.5, top - 0.5)
    taken = [_draw_key(axes, measured)]
    if measured.path is not None:
        _draw_path(axes, measured, measured.path, sheet.scale)
    _draw_places(axes, measured, sheet.scale)
    taken += _draw_markers(axes, markers, sheet, _events(measured, sheet))
    if measured.path is not None:
        _draw_events(axes, measured, measured.path, sheet, taken)


def _events(measured: MeasuredShot, sheet: SceneScale) -> list[Box]:
    """Return the boxes of the signs of release, apex and landing."""
    if measured.path is None:
        return []
    path = measured.path
    signs = [path.release_px, path.apex_px, path.landing_px]
    side = (EVENT_INCHES, EVENT_INCHES)
    return [
        box_about((float(across), float(down)), side)
        for across, down in (sheet.at(sign) for sign in signs if sheet.shows(sign))
    ]


def _draw_markers(
    axes: "Axes", markers: Markers, sheet: SceneScale, taken: Sequence[Box]
) -> list[Box]:
    """Draw every marker in the window with its name below it, and return what the names cover.

    A name that would cover another goes a line lower.
    """
    found = list(taken)
    arm = 9 * sheet.scale
    line = line_inches(MARKER_SIZE)
    for name, (column, row) in markers:
        if not sheet.shows(np.array([column, row])):
            continue
        axes.plot(
            [column - arm, column, column + arm],
            [row + 1.7 * arm, row + 0.7 * arm, row + 1.7 * arm],
            color=PAPER, linewidth=1.2, path_effects=cased(2.6),
        )  # fmt: skip
        size = (width_inches(name, MARKER_SIZE) + 0.08, line)
        across, down = sheet.at(np.array([column, row + 2.2 * arm])).tolist()
        rows = [box_about((across, down + (0.5 + i) * line), size) for i in range(6)]
        rows = [box.inside(sheet.bounds) for box in rows]
        box = min(rows, key=lambda one: sum(one.overlap(other) for other in found))
        found.append(box)
        axes.text(
            *sheet.pixel(box.middle), name, color=PAPER, fontsize=MARKER_SIZE, ha="center",
            va="center", path_effects=cased(2.0), parse_math=False,
        )  # fmt: skip
    return found


def _draw_path(axes: "Axes", measured: MeasuredShot, path: FlightPath, scale: float) -> None:
    """Draw the fitted path, open around every place so that the ball stays in sight."""
    every = np.concatenate([places(measured, True), places(measured, False)])
    dense = _dense(path.pixels, step=scale)
    if len(every):
        apart = np.min(np.linalg.norm(dense[:, None, :] - every[None, :, :], axis=2), axis=1)
        dense[apart < OPEN_PX * scale] = np.nan
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
        normals = across(used)
        near, far = (reach * scale for reach in TICK_PX)
        ticks = [
            (place + side * near * normal, place + side * far * normal)
            for place, normal in zip(used, normals, strict=True)
            for side in (1, -1)
        ]
        apart = np.linalg.norm(np.diff(used, axis=0), axis=1)
        crowded = len(apart) > 0 and float(np.median(apart)) < CROWDED_PX * scale
        widths = (1.7, 0.9) if crowded else (2.6, 1.4)
        for colour, width in zip((INK, USED), widths, strict=True):
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


def _draw_events(
    axes: "Axes",
    measured: MeasuredShot,
    path: FlightPath,
    sheet: SceneScale,
    taken: Sequence[Box],
) -> None:
    """Mark release, apex and landing with a sign each, and a label where there is room."""
    shot = measured.shot
    speed = with_uncertainty(shot.exit_speed_mps, shot.exit_speed_u_mps)
    apex = with_uncertainty(shot.apex_m, shot.apex_u_m)
    carry = with_uncertainty(shot.carry_m, shot.carry_u_m)
    landing = "landing" if shot.landing_seen else "landing, not seen"
    events = (
        (path.release_px, "^", f"release, {speed} m/s"),
        (path.apex_px, "D", f"apex, {apex} m"),
        (path.landing_px, "v", f"{landing}, {carry} m"),
    )
    lines = sheet.at(_dense(path.pixels, step=8.0 * sheet.scale))
    covered = list(taken)
    for pixel, sign, label in events:
        if not sheet.shows(pixel):
            continue
        across, down = sheet.at(pixel).tolist()
        size = (width_inches(label, EVENT_SIZE) + 0.16, line_inches(EVENT_SIZE) + 0.09)
        box = place_label((across, down), size, covered, lines, sheet.bounds)
        covered.append(box)
        _draw_event(axes, pixel, sign, (label, sheet.pixel(box.middle)))


def _draw_event(
    axes: "Axes", pixel: Array, sign: str, label: tuple[str, tuple[float, float]]
) -> None:
    """Draw the sign of an event, and its label with a leader."""
    axes.plot(
        *pixel, sign, markersize=11, markerfacecolor="none", markeredgecolor=FITTED,
        markeredgewidth=1.6, path_effects=cased(3.4),
    )  # fmt: skip
    axes.annotate(
        label[0],
        (float(pixel[0]), float(pixel[1])),
        xytext=label[1],
        textcoords="data",
        ha="center",
        va="center",
        fontsize=EVENT_SIZE,
        color=INK,
        bbox={"boxstyle": "square,pad=0.3", "facecolor": PAPER, "edgecolor": INK, "lw": 0.8},
        arrowprops={"arrowstyle": "-", "color": PAPER, "lw": 1.0, "shrinkB": 7},
    )


def _draw_key(axes: "Axes", measured: MeasuredShot) -> Box:
    """Say what the ticks, the crosses and the line are, and return what the key covers."""
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
        fontsize=KEY_SIZE,
        facecolor=INK,
        edgecolor=INK,
        labelcolor=PAPER,
        framealpha=0.85,
        borderpad=0.6,
        fancybox=False,
        ncols=len(entries),
    )
    # A sign and its spaces are about as wide as eight letters.
    wide = sum(width_inches(f"nnnnnnnn{each.get_label()}", KEY_SIZE) for each in entries)
    return Box(0.0, 0.0, wide + 0.15, 0.4)
