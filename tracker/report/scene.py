"""The frame of the clip with everything that was measured in it drawn in."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.records import FlightPath, MeasuredShot
from tracker.report.composite import Image, shrunk
from tracker.report.labels import Box, box_about, place_label
from tracker.report.lettering import line_inches, width_inches
from tracker.report.look import FITTED, INK, PAPER, UNUSED, USED, across, places, spaced
from tracker.report.rounding import with_uncertainty
from tracker.report.sheet import Letters, Sheet, crosses, outline
from tracker.report.signs import EVENTS

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

APART_PX = 8.0
"""Least way along the flight from one place with ticks to the next: nearer ones run together."""

CROWDED_PX = 16.0
"""Places closer together than this have thinner ticks."""

MARKER_SIZE = 7.0
"""Size of the letters of a marker's name, points."""
EVENT_SIZE = 9.0
"""Size of the letters of an event's label, points."""
KEY_SIZE = 8.0
"""Size of the letters of the key, points."""

NAME_CASING = 1.0
"""Outline of a marker's name, points; a matter of looks, as the next three."""
EVENT_SIGN, CROSS_SIZE = 11.0, 6.5
"""Width of an event's sign, and of the cross on a place that is not used, points."""
SIGN_INCHES = 0.1
"""Distance from an event at which its leader begins."""

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
        # A pixel's middle is whole, and the picture begins at the edge of its first pixel.
        corner = (left - 0.5, top - 0.5)
        return (np.asarray(pixels, float) - corner) * self.inches / (right - left)

    def shows(self, pixel: Array) -> bool:
        """Return whether a pixel lies in the window."""
        left, top, right, bottom = self.window
        return bool(left <= pixel[0] <= right and top <= pixel[1] <= bottom)


def window_around(measured: MeasuredShot, shape: tuple[int, ...], markers: Markers = ()) -> Window:
    """Return the part of the frame that holds the whole shot: left, top, right, bottom.

    The markers are part of it: they fix the scale.

    Parameters
    ----------
    measured : MeasuredShot
    shape : tuple of int
        Height and width of the frame.
    markers : sequence of (str, (float, float))
        Names and pixels.
    """
    height, width = shape[:2]
    seen = [places(measured, True), places(measured, False)]
    if measured.path is not None:
        seen.append(measured.path.pixels)
    seen.append(np.array([pixel for _, pixel in markers], float).reshape(-1, 2))
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
    part: Sheet, measured: MeasuredShot, picture: Image, scale: SceneScale, markers: Markers
) -> None:
    """Draw frame, markers, places, fitted path and the three events.

    Parameters
    ----------
    part : Sheet
        A part of a sheet with the window's proportions.
    measured : MeasuredShot
    picture : ndarray of uint8, shape (H, W, 3)
        The whole frame, blue, green, red.
    scale : SceneScale
        With the window from `window_around`.
    markers : sequence of (str, (float, float))
        Names and pixels of the markers.
    """
    left, top, right, bottom = scale.window
    shown, (first, after, low, high) = shrunk(picture[top:bottom, left:right], (left, top))
    corners = scale.at(np.array([[first, high], [after, low]]))
    part.lay(shown, Box(*corners.ravel().tolist()))
    if measured.path is not None:
        _draw_path(part, measured, measured.path, scale)
    _draw_places(part, measured, scale)
    taken = [_draw_key(part, measured)]
    taken += _draw_markers(part, markers, scale, [*taken, *_events(measured, scale)])
    if measured.path is not None:
        _draw_events(part, measured, measured.path, (scale, taken))


def _events(measured: MeasuredShot, scale: SceneScale) -> list[Box]:
    """Return the boxes of the signs of release, apex and landing."""
    if measured.path is None:
        return []
    path = measured.path
    signs = [path.release_px, path.apex_px, path.landing_px]
    side = (EVENT_INCHES, EVENT_INCHES)
    return [
        box_about((float(across), float(down)), side)
        for across, down in (scale.at(sign) for sign in signs if scale.shows(sign))
    ]


def _draw_markers(
    part: Sheet, markers: Markers, scale: SceneScale, taken: Sequence[Box]
) -> list[Box]:
    """Draw every marker in the window with its name below it; return what is taken and the names.

    A name that would cover another, or the sign of any marker, goes a line lower.
    """
    arm = 9 * scale.scale
    found = [*taken, *(_roof_box(pixel, arm, scale) for _, pixel in markers)]
    line = line_inches(MARKER_SIZE)
    letters = Letters(MARKER_SIZE, colour=PAPER, ha="center", casing=NAME_CASING)
    for name, (column, row) in markers:
        if not scale.shows(np.array([column, row])):
            continue
        roof = np.array([[-arm, 1.7 * arm], [0.0, 0.7 * arm], [arm, 1.7 * arm]])
        for colour, width in ((INK, 2.6), (PAPER, 1.2)):
            part.line(scale.at(np.array([column, row]) + roof), colour, width)
        size = (width_inches(name, MARKER_SIZE) + 0.08, line)
        across, down = scale.at(np.array([column, row + 2.2 * arm])).tolist()
        rows = [box_about((across, down + (0.5 + i) * line), size) for i in range(6)]
        rows = [box.inside(scale.bounds) for box in rows]
        box = min(rows, key=lambda one: sum(one.overlap(other) for other in found))
        found.append(box)
        part.write(box.middle, name, letters)
    return found


def _roof_box(pixel: tuple[float, float], arm: float, scale: SceneScale) -> Box:
    """Return the box of a marker's sign."""
    column, row = pixel
    corners = np.array([[column - arm, row + 0.7 * arm], [column + arm, row + 1.7 * arm]])
    return Box(*scale.at(corners).ravel().tolist())


def _draw_path(part: Sheet, measured: MeasuredShot, path: FlightPath, scale: SceneScale) -> None:
    """Draw the fitted path, open around every place so that the ball stays in sight."""
    every = np.concatenate([places(measured, True), places(measured, False)])
    dense = _dense(path.pixels, step=scale.scale)
    if len(every):
        apart = [(dense[:, axis, None] - every[None, :, axis]) ** 2 for axis in (0, 1)]
        near = np.min(apart[0] + apart[1], axis=1) < (OPEN_PX * scale.scale) ** 2
        dense[near] = np.nan
    for colour, width in ((INK, 2.4), (FITTED, 1.0)):
        part.line(scale.at(dense), colour, width)


def _dense(pixels: Array, step: float) -> Array:
    """Return a polyline, shape (N, 2), with a vertex every `step` pixels."""
    kept = pixels[np.all(np.isfinite(pixels), axis=1)]
    if len(kept) < 2:
        return kept.copy()
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(kept, axis=0), axis=1))])
    fine = np.arange(0.0, along[-1] + step, step)
    return np.column_stack([np.interp(fine, along, kept[:, axis]) for axis in (0, 1)])


def _draw_places(part: Sheet, measured: MeasuredShot, scale: SceneScale) -> None:
    """Draw two ticks across the path beside the used places, a cross on each unused one.

    Of places that crowd, as at many frames a second, some have no ticks.
    """
    used = places(measured, True)
    if len(used):
        kept = spaced(used, APART_PX * scale.scale)
        used, normals = used[kept], across(used)[kept]
        reach = np.array([side * far * scale.scale for side in (1, -1) for far in TICK_PX])
        ends = used[:, None, :] + reach[None, :, None] * normals[:, None, :]
        apart = np.linalg.norm(np.diff(used, axis=0), axis=1)
        crowded = len(apart) > 0 and float(np.median(apart)) < CROWDED_PX * scale.scale
        widths = (1.7, 0.9) if crowded else (2.6, 1.4)
        for colour, width in zip((INK, USED), widths, strict=True):
            part.segments(scale.at(ends).reshape(-1, 2, 2), colour, width)
    strokes = crosses(scale.at(places(measured, False)), CROSS_SIZE)
    for colour, width in ((INK, 3.0), (UNUSED, 1.5)):
        part.segments(strokes, colour, width)


def _draw_events(
    part: Sheet, measured: MeasuredShot, path: FlightPath, around: tuple[SceneScale, Sequence[Box]]
) -> None:
    """Mark release, apex and landing with a sign each, and a label where there is room."""
    scale, taken = around
    shot = measured.shot
    speed = with_uncertainty(shot.exit_speed_mps, shot.exit_speed_u_mps)
    apex = with_uncertainty(shot.apex_m, shot.apex_u_m)
    carry = with_uncertainty(shot.carry_m, shot.carry_u_m)
    landing = "landing" if shot.landing_seen else "landing, not seen"
    events = (
        (path.release_px, EVENTS["release"], f"release, {speed} m/s"),
        (path.apex_px, EVENTS["apex"], f"apex, {apex} m"),
        (path.landing_px, EVENTS["landing"], f"{landing}, {carry} m"),
    )
    lines = scale.at(_dense(path.pixels, step=8.0 * scale.scale))
    covered = list(taken)
    for pixel, sign, label in events:
        if not scale.shows(pixel):
            continue
        place = scale.at(pixel)
        size = (width_inches(label, EVENT_SIZE) + 0.16, line_inches(EVENT_SIZE) + 0.09)
        box = place_label((float(place[0]), float(place[1])), size, covered, lines, scale.bounds)
        covered.append(box)
        _draw_event(part, place, sign, (label, box))


def _draw_event(part: Sheet, place: Array, sign: str, label: tuple[str, Box]) -> None:
    """Draw the sign of an event, and its label with a leader."""
    text, box = label
    way = np.array(box.middle) - place
    far = float(np.linalg.norm(way))
    if far > SIGN_INCHES:
        ends = np.array([place + SIGN_INCHES * way / far, box.middle])
        part.line(ends, PAPER, 1.0)
    corners = outline(sign, place, EVENT_SIGN)
    for colour, width in ((INK, 3.4), (FITTED, 1.6)):
        part.line(corners, colour, width, closed=True)
    part.fill(box, PAPER)
    part.frame(box, INK, 0.8)
    part.write(box.middle, text, Letters(EVENT_SIZE, ha="center"))


def _draw_key(part: Sheet, measured: MeasuredShot) -> Box:
    """Say what the ticks, the crosses and the line are, and return what the key covers."""
    used = sum(point.used for point in measured.points)
    entries = [("tick", f"found and used, {used}")]
    if used < len(measured.points):
        entries.append(("cross", f"found, not used, {len(measured.points) - used}"))
    entries.append(("line", "fitted flight"))
    # Sign, space and margin of an entry are half an inch beside its words.
    widths = [0.55 + width_inches(label, KEY_SIZE) for _, label in entries]
    key = Box(0.05, 0.05, 0.1 + sum(widths), 0.31)
    part.fill(key, INK, 0.85)
    left, middle = key.left, 0.5 * (key.top + key.bottom)
    for (sign, label), wide in zip(entries, widths, strict=True):
        place = np.array([left + 0.25, middle])
        if sign == "tick":
            part.segments(place + np.array([[[0.0, -0.06], [0.0, 0.06]]]), USED, 2.0)
        elif sign == "cross":
            part.segments(crosses(place[None], CROSS_SIZE), UNUSED, 2.0)
        else:
            part.segments(place + np.array([[[-0.12, 0.0], [0.12, 0.0]]]), FITTED, 1.2)
        part.write((left + 0.45, middle), label, Letters(KEY_SIZE, colour=PAPER))
        left += wide
    return Box(0.0, 0.0, key.right + 0.1, key.bottom + 0.1)
