"""The plates around the scene: heading, close-ups, figures, and what the fit misses."""

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import wrap
from typing import TYPE_CHECKING, Any

import numpy as np

from tracker.records import MeasuredShot, Quality, Shot, TrackPoint
from tracker.report.composite import BallPatch
from tracker.report.lettering import folded, line_inches
from tracker.report.look import FAINT, INK, PAPER, STAMPS, UNUSED, USED, empty
from tracker.report.raster import show
from tracker.report.rounding import with_uncertainty

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.gridspec import SubplotSpec


NAME_SIZE = 15.0
"""Size of the letters of a shot's name, points."""
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

MANY_PLACES = 60
"""Places above which the dots of the misses are small."""


@dataclass(frozen=True)
class TextLine:
    """One line of text with the size, points, and the weight of its letters."""

    text: str
    size: float
    weight: str = "normal"


UPWARDS = "#b35c00"
NOT_USED = "#0b7dbd"

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


def draw_heading(axes: "Axes", quality: Quality, lines: Sequence[TextLine], inches: float) -> None:
    """Write the lines of a heading one below the other, and how far the row may be believed.

    Parameters
    ----------
    axes : Axes
        An area as high as `heading_inches` says and as wide as the sheet.
    quality : Quality
    lines : sequence of TextLine
        From `heading_of`.
    inches : float
        Width of the sheet.
    """
    empty(axes)
    tall = heading_inches(lines)
    axes.set_xlim(0.0, inches)
    axes.set_ylim(tall, 0.0)
    down = MARGIN_INCHES
    for line in lines:
        down += line_inches(line.size)
        axes.text(
            MARGIN_INCHES, down - 0.5 * line_inches(line.size), line.text, fontsize=line.size,
            weight=line.weight, color=INK, va="center", parse_math=False,
        )  # fmt: skip
    stamp = {"boxstyle": "square,pad=0.45", "facecolor": STAMPS[quality], "edgecolor": "none"}
    axes.text(
        inches - 0.2, MARGIN_INCHES + 0.05, str(quality), fontsize=12, weight="bold", color=PAPER,
        ha="right", va="top", bbox=stamp,
    )  # fmt: skip


def draw_close_ups(
    axes: "Axes", measured: MeasuredShot, patches: Sequence[BallPatch], count: int
) -> None:
    """Show single frames enlarged, pixel by pixel, evenly from the first place to the last.

    Parameters
    ----------
    axes : Axes
        An area `count` times as wide as a close-up and somewhat higher than one.
    measured : MeasuredShot
    patches : sequence of BallPatch
    count : int
        How many are shown at most.
    """
    empty(axes)
    by_frame = {patch.frame: patch for patch in patches}
    points = [point for point in measured.points if point.frame in by_frame]
    if not points:
        axes.text(0.012, 0.5, "The frames could not be shown.", fontsize=9, color=INK)
        return
    axes.set_xlim(0, count)
    axes.set_ylim(CLOSE_UP_HEIGHT, 0)
    kept = sorted({round(float(at)) for at in np.linspace(0, len(points) - 1, count)})
    began = _release_time(measured)
    half = max(max(patch.image.shape[:2]) for patch in patches) / 2 - 0.5
    for tile, at in enumerate(kept):
        _close_up(axes, tile, points[at], by_frame[points[at].frame], half)
        when = f"{points[at].time_s - began:.3f} s"
        unused = "" if points[at].used else ", not used"
        axes.text(tile + 0.5, 1.06, when + unused, fontsize=7, color=INK, ha="center", va="top")
    _point_at(axes, [points[at] for at in kept])


def _close_up(axes: "Axes", tile: int, point: TrackPoint, patch: BallPatch, half: float) -> None:
    """Show one patch as a square of side 1."""
    from matplotlib.patches import Rectangle

    side = 0.97
    middle = np.array([tile + 0.5, 0.5])
    place = np.array([point.column_px, point.row_px])
    height, width = patch.image.shape[:2]
    corner = np.array(patch.corner) - 0.5
    low, high = (
        middle + side * (corner + edge - place) / (2 * half) for edge in (0, (width, height))
    )
    left, top = middle - side / 2
    axes.add_patch(Rectangle((left, top), side, side, facecolor=INK, edgecolor="none", zorder=-1))
    show(
        axes,
        patch.image[:, :, ::-1],
        (low[0], high[0], high[1], low[1]),
        within=(left, left + side, top + side, top),
    )


def _point_at(axes: "Axes", points: Sequence[TrackPoint]) -> None:
    """Draw four ticks in every close-up that point at the ball, upright where it was used."""
    from matplotlib.collections import LineCollection

    for used, colour in ((True, USED), (False, UNUSED)):
        angles = (0.0 if used else np.pi / 4) + np.arange(4) * np.pi / 2
        ways = np.column_stack([np.cos(angles), np.sin(angles)])
        tiles = [tile for tile, point in enumerate(points) if point.used is used]
        middles = [np.array([tile + 0.5, 0.5]) for tile in tiles]
        ticks = [(m + 0.21 * way, m + 0.36 * way) for m in middles for way in ways]
        for shade, thickness in ((INK, 3.4), (colour, 1.6)):
            axes.add_collection(LineCollection(ticks, colors=shade, linewidths=thickness))


def draw_figures(axes: "Axes", measured: MeasuredShot) -> None:
    """Write the figures of the shot, each with its standard uncertainty."""
    empty(axes)
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
        height = 0.905 - index * 0.098
        size = 12 if index in (0, 1, 3) else 10
        weight = "bold" if index in (0, 1, 3) else "normal"
        axes.text(0.026, height, name, fontsize=size, color=INK, va="center")
        axes.text(
            0.62, height, figures, fontsize=size, weight=weight, color=INK, va="center", ha="right"
        )
        axes.text(0.64, height, unit, fontsize=size, color=INK, va="center")
    seen = "the landing was seen" if shot.landing_seen else "the landing was not seen"
    used = sum(point.used for point in measured.points)
    note = (
        f"Found in {len(measured.points)} frames, {used} of them used; {seen}. "
        "± is one standard uncertainty; the truth lies within twice that in 19 of 20 shots."
    )
    axes.text(
        0.026, 0.085, "\n".join(wrap(note, 88)), fontsize=8, color=INK, va="center", linespacing=1.4
    )


def draw_misses(figure: "Figure", area: "SubplotSpec", measured: MeasuredShot) -> None:
    """Plot how far each place lies from the fitted flight, against the time since release."""
    inset = area.subgridspec(3, 3, width_ratios=(0.09, 0.87, 0.04), height_ratios=(0.13, 0.67, 0.2))
    axes = figure.add_subplot(inset[1, 1])
    axes.axhline(0, color=INK, linewidth=0.8)
    _draw_dots(axes, measured)
    axes.set_title(
        "from the fitted flight to each place, px", fontsize=8.5, color=INK, loc="left", pad=5
    )
    axes.set_xlabel("time since release, s", fontsize=8, color=INK, labelpad=2)
    axes.set_facecolor(PAPER)
    axes.tick_params(labelsize=8, colors=INK, length=3)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(FAINT)
    if measured.points:
        axes.legend(
            loc="lower right",
            bbox_to_anchor=(1.0, 0.99),
            ncols=3,
            fontsize=7.5,
            frameon=False,
            labelcolor=INK,
            borderaxespad=0.1,
            handletextpad=0.1,
            columnspacing=1.0,
            markerscale=1.6 if len(measured.points) > MANY_PLACES else 1.0,
        )


def _draw_dots(axes: "Axes", measured: MeasuredShot) -> None:
    """Draw the misses of used places to the right and upwards, and where others lie."""
    times = np.array([point.time_s for point in measured.points]) - _release_time(measured)
    columns = np.array([point.residual_column_px for point in measured.points])
    rises = np.array([-point.residual_row_px for point in measured.points])
    used = np.array([point.used for point in measured.points], bool)
    many = len(measured.points) > MANY_PLACES
    style: dict[str, Any] = {
        "linestyle": "none",
        "markeredgewidth": 0.8,
        "markersize": 2.4 if many else 4.5,
    }
    if used.any():
        axes.plot(times[used], columns[used], "o", color=INK, label="to the right", **style)
        axes.plot(
            times[used], rises[used], "s", markerfacecolor="none", markeredgecolor=UPWARDS,
            label="upwards", **style,
        )  # fmt: skip
    reach = np.concatenate([columns[used], rises[used]])
    reach = reach[np.isfinite(reach)]
    limit = max(1.0, 1.15 * float(np.abs(reach).max())) if len(reach) else 1.0
    axes.set_ylim(-limit, limit)
    beyond = ~used & np.isfinite(rises)
    if beyond.any():
        held = np.clip(rises[beyond], -0.95 * limit, 0.95 * limit)
        axes.plot(times[beyond], held, "x", color=NOT_USED, ms=5, mew=1.2, label="not used")


def _release_time(measured: MeasuredShot) -> float:
    """Return the true time of release from the clip's first frame, s."""
    if measured.path is not None and len(measured.path.times_s):
        return float(measured.path.times_s[0])
    return measured.points[0].time_s if measured.points else 0.0
