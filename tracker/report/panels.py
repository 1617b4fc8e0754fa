"""The plates around the scene: heading, close-ups, figures, and what the fit misses."""

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import wrap

import numpy as np
from numpy.typing import NDArray

from tracker.records import MeasuredShot, Quality, Shot, TrackPoint
from tracker.report.composite import BallPatch
from tracker.report.labels import Box, box_about
from tracker.report.lettering import folded, line_inches, width_inches
from tracker.report.look import INK, PAPER, STAMPS, UNUSED, USED
from tracker.report.rounding import with_uncertainty
from tracker.report.sheet import Letters, Sheet

Array = NDArray[np.float64]

NAME_SIZE = 15.0
"""Size of the letters of a shot's name, points."""
STAMP_SIZE = 12.0
"""Size of the letters of its quality, points."""
PLACE_SIZE = 9.0
"""Size of the letters of its clip, points."""
REASON_SIZE = 9.5
"""Size of the letters of its reason, points."""

MARGIN_INCHES = 0.15
"""Around a heading."""
TEXT_INCHES = 12.5
"""Widest line of a heading."""
STAMP_INCHES = 1.3
"""Width beside the stamp that lines leave free."""


@dataclass(frozen=True)
class TextLine:
    """One line of text with the size, points, and the weight of its letters."""

    text: str
    size: float
    weight: str = "normal"


CLOSE_UP_HEIGHT = 1.24
"""Height of the strip of close-ups in widths of one: the picture, and its time below it."""


def heading_of(shot: Shot) -> list[TextLine]:
    """Return the lines above the picture: whose shot it is, and why it is not good."""
    name = f"Shot {shot.shot}, {shot.setup}" if shot.setup else f"Shot {shot.shot}"
    place = f"{shot.clip}, released {shot.release_s:.3f} s into the clip"
    written = (
        (name, NAME_SIZE, "bold", TEXT_INCHES - STAMP_INCHES),
        (place, PLACE_SIZE, "normal", TEXT_INCHES - STAMP_INCHES),
        (shot.reason, REASON_SIZE, "normal", TEXT_INCHES),
    )
    return [
        TextLine(line, size, weight)
        for text, size, weight, inches in written
        for line in folded(text, inches, size, weight)
    ]


def heading_inches(lines: Sequence[TextLine]) -> float:
    """Return the height of a heading with its margins."""
    return 2.0 * MARGIN_INCHES + sum(line_inches(line.size) for line in lines)


def draw_heading(part: Sheet, quality: Quality, lines: Sequence[TextLine], inches: float) -> None:
    """Write the lines of a heading one below the other, and how far the row may be believed.

    Parameters
    ----------
    part : Sheet
        As high as `heading_inches` says and as wide as the sheet.
    quality : Quality
    lines : sequence of TextLine
        From `heading_of`.
    inches : float
        Width of the sheet.
    """
    down = MARGIN_INCHES
    for line in lines:
        down += line_inches(line.size)
        middle = down - 0.5 * line_inches(line.size)
        part.write((MARGIN_INCHES, middle), line.text, Letters(line.size, line.weight))
    wide = width_inches(str(quality), STAMP_SIZE, "bold")
    stamp = Box(inches - wide - 0.29, 0.12, inches - 0.13, 0.43)
    part.fill(stamp, STAMPS[quality])
    part.write(stamp.middle, str(quality), Letters(STAMP_SIZE, "bold", PAPER, "center"))


def draw_close_ups(
    part: Sheet, measured: MeasuredShot, patches: Sequence[BallPatch], tiles: tuple[int, float]
) -> None:
    """Show single frames enlarged, pixel by pixel, evenly from the first place to the last.

    Parameters
    ----------
    part : Sheet
        As high as `CLOSE_UP_HEIGHT` tiles.
    measured : MeasuredShot
    patches : sequence of BallPatch
    tiles : tuple of int and float
        How many are shown at most, and the width of one, inches.
    """
    by_frame = {patch.frame: patch for patch in patches}
    points = [point for point in measured.points if point.frame in by_frame]
    if not points:
        part.write((MARGIN_INCHES, 0.5), "The frames could not be shown.", Letters(PLACE_SIZE))
        return
    count, wide = tiles
    kept = sorted({round(float(at)) for at in np.linspace(0, len(points) - 1, count)})
    began = release_time(measured)
    half = max(max(patch.image.shape[:2]) for patch in patches) / 2 - 0.5
    for tile, at in enumerate(kept):
        middle = wide * np.array([tile + 0.5, 0.5])
        _close_up(part, middle, (points[at], by_frame[points[at].frame]), (half, wide))
        _point_at(part, middle, points[at].used, wide)
        when = f"{points[at].time_s - began:.3f} s"
        unused = "" if points[at].used else ", not used"
        part.write((float(middle[0]), 1.1 * wide), when + unused, Letters(7.0, ha="center"))


def _close_up(
    part: Sheet, middle: Array, seen: tuple[TrackPoint, BallPatch], size: tuple[float, float]
) -> None:
    """Show one patch as a square about a place, by its half side in pixels and width in inches."""
    (point, patch), (half, wide) = seen, size
    side = 0.97 * wide
    tile = box_about((float(middle[0]), float(middle[1])), (side, side))
    part.fill(tile, INK)
    height, width = patch.image.shape[:2]
    place = np.array([point.column_px, point.row_px])
    corner = np.array(patch.corner) - 0.5
    low, high = (
        side * (0.5 + (corner + edge - place) / (2 * half)) for edge in (0, (width, height))
    )
    part.part(tile).lay(patch.image, Box(*low.tolist(), *high.tolist()))


def _point_at(part: Sheet, middle: Array, used: bool, wide: float) -> None:
    """Draw four ticks that point at the ball, upright where it was used."""
    angles = (0.0 if used else np.pi / 4) + np.arange(4) * np.pi / 2
    ways = wide * np.column_stack([np.cos(angles), np.sin(angles)])
    ticks = middle + np.stack([0.21 * ways, 0.36 * ways], axis=1)
    for shade, thickness in ((INK, 3.4), (USED if used else UNUSED, 1.6)):
        part.segments(ticks, shade, thickness)


def draw_figures(part: Sheet, measured: MeasuredShot) -> None:
    """Write the figures of the shot, each with its standard uncertainty."""
    shot = measured.shot
    rows = (
        ("exit speed", with_uncertainty(shot.exit_speed_mps, shot.exit_speed_u_mps), "m/s"),
        ("launch angle", with_uncertainty(shot.launch_angle_deg, shot.launch_angle_u_deg), "°"),
        ("azimuth", with_uncertainty(shot.azimuth_deg, shot.azimuth_u_deg), "°"),
        ("carry", with_uncertainty(shot.carry_m, shot.carry_u_m), "m"),
        ("apex", with_uncertainty(shot.apex_m, shot.apex_u_m), "m"),
        ("flight time", with_uncertainty(shot.flight_time_s, shot.flight_time_u_s), "s"),
        ("landing along", with_uncertainty(shot.landing_along_m, shot.landing_along_u_m), "m"),
        ("landing across", with_uncertainty(shot.landing_across_m, shot.landing_across_u_m), "m"),
    )
    for index, (name, figures, unit) in enumerate(rows):
        down = 0.26 + 0.27 * index
        size, weight = (12.0, "bold") if index in (0, 1, 3) else (10.0, "normal")
        part.write((MARGIN_INCHES, down), name, Letters(size))
        part.write((3.73, down), figures, Letters(size, weight, ha="right"))
        part.write((3.85, down), unit, Letters(size))
    seen = "the landing was seen" if shot.landing_seen else "the landing was not seen"
    used = sum(point.used for point in measured.points)
    note = (
        f"Found in {len(measured.points)} frames, {used} of them used; {seen}. "
        "± is one standard uncertainty; the truth lies within twice that in 19 of 20 shots."
    )
    for index, line in enumerate(wrap(note, 88)):
        part.write((MARGIN_INCHES, 2.43 + 0.16 * index), line, Letters(8.0))


def release_time(measured: MeasuredShot) -> float:
    """Return the true time of release from the clip's first frame, s."""
    if measured.path is not None and len(measured.path.times_s):
        return float(measured.path.times_s[0])
    return measured.points[0].time_s if measured.points else 0.0
