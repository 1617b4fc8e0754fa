"""The picture of proposed markers: where they lie in the frame, and each one close up."""

from collections.abc import Sequence
from math import ceil
from typing import TYPE_CHECKING

import numpy as np

from calibration.markers import Proposal
from tracker.report.calibration_picture import TALLEST_SCENE_INCHES, short
from tracker.report.composite import Image, shrunk
from tracker.report.look import (
    DOTS_PER_INCH,
    INK,
    PAPER,
    UNUSED,
    USED,
    WIDTH_INCHES,
    as_jpeg,
    cased,
    empty,
)
from tracker.report.markers_words import distance_px
from tracker.report.raster import show
from tracker.session import MarkerEntry

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

COLUMNS = 6
"""Close-ups in a row; a matter of looks, as the next four."""
HEADING_INCHES, ROW_INCHES, RIM_INCHES = 0.95, 2.6, 0.15
"""Heights of the heading and of a row of close-ups, and the margin at the sides."""
ROOM_SHARE = 0.15
"""Room above and below the proposals, as a share of the frame's height."""
HALF_CLOSE_UP_PX = 20.0
"""Half the side of a close-up in a frame 1920 pixels wide, px."""


def markers_picture(
    markers: Sequence[MarkerEntry], proposals: Sequence[Proposal], frame: Image, title: str
) -> bytes:
    """Return the picture of proposed markers as a JPEG file.

    Parameters
    ----------
    markers : sequence of MarkerEntry
        With the pixels that were picked before.
    proposals : sequence of Proposal
    frame : ndarray of uint8, shape (H, W, 3)
        The frame in which they were looked for, blue, green, red.
    title : str
        The clip's name.

    Returns
    -------
    bytes
        The frame with a ring around each proposal; below it each of them close up.
    """
    from matplotlib.figure import Figure

    width = frame.shape[1]
    shown = _shown_rows(proposals, frame)
    height = shown[1] - shown[0]
    scene_width = min(WIDTH_INCHES, TALLEST_SCENE_INCHES * width / height)
    scene_height = scene_width * height / width
    rows = ceil(len(proposals) / COLUMNS)
    tall = HEADING_INCHES + scene_height + rows * ROW_INCHES + RIM_INCHES
    figure = Figure(figsize=(WIDTH_INCHES, tall), dpi=DOTS_PER_INCH, facecolor=PAPER)
    heading = figure.add_axes((0, 1 - HEADING_INCHES / tall, 1, HEADING_INCHES / tall))
    _draw_heading(heading, markers, proposals, title)
    side = (WIDTH_INCHES - scene_width) / 2.0 / WIDTH_INCHES
    bottom = 1 - (HEADING_INCHES + scene_height) / tall
    scene = figure.add_axes((side, bottom, 1 - 2 * side, scene_height / tall))
    _draw_scene(scene, proposals, frame, shown)
    picks = {marker.name: marker for marker in markers}
    for place, proposal in enumerate(proposals):
        axes = _close_up_axes(figure, place, bottom)
        words = _draw_close_up(axes, picks[proposal.name], proposal, frame)
        axes.set_xlabel(f"{place + 1}: {words}", fontsize=8, color=INK, parse_math=False)
    return as_jpeg(figure)


def _close_up_axes(figure: "Figure", place: int, top: float) -> "Axes":
    """Return the area of a close-up, square, in rows below the scene."""
    width, height = figure.get_size_inches()
    row, column = divmod(place, COLUMNS)
    pitch = (width - RIM_INCHES) / COLUMNS
    size = pitch - RIM_INCHES
    left = RIM_INCHES + column * pitch
    below = RIM_INCHES + row * ROW_INCHES + size
    return figure.add_axes((left / width, top - below / height, size / width, size / height))


def _draw_heading(
    axes: "Axes", markers: Sequence[MarkerEntry], proposals: Sequence[Proposal], title: str
) -> None:
    empty(axes)
    found = {proposal.name for proposal in proposals}
    missing = [short(marker.name) for marker in markers if marker.name not in found]
    heading = f"{title}: {len(found)} of {len(markers)} markers proposed"
    lines = (
        "Close-ups: the ring and its dot are the proposal, the cross the pixel that was picked, "
        "the dashes what was taken for the marker."
    )
    if missing:
        named = ", ".join(missing[:6]) + (" ..." if len(missing) > 6 else "")
        lines += f"\nNot found: {named}."
    axes.text(
        0.012, 0.75, heading, fontsize=11, color=INK, va="center", weight="bold", parse_math=False
    )
    axes.text(
        0.012, 0.3, lines, fontsize=9, linespacing=1.5, color=INK, va="center", parse_math=False
    )


def _shown_rows(proposals: Sequence[Proposal], frame: Image) -> tuple[int, int]:
    """Return the rows of the frame that are shown: the proposals with some room, not the sky."""
    height = frame.shape[0]
    rows = [float(proposal.pixel[1]) for proposal in proposals]
    if not rows:
        return 0, height
    first, after = min(rows) - ROOM_SHARE * height, max(rows) + ROOM_SHARE * height
    return max(0, round(first)), min(height, round(after))


def _draw_scene(
    axes: "Axes", proposals: Sequence[Proposal], frame: Image, shown_rows: tuple[int, int]
) -> None:
    """Draw a part of the frame with a numbered ring around each proposal."""
    height, width = frame.shape[:2]
    first, after = shown_rows
    shown, extent = shrunk(frame[:, :, ::-1])
    show(axes, shown, extent)
    axes.set_axis_off()
    for number, proposal in enumerate(proposals, start=1):
        column, row = (float(value) for value in proposal.pixel)
        axes.plot(
            [column], [row], "o", ms=22, mfc="none", mec=USED, mew=1.8, path_effects=cased(3.2)
        )
        upward = row > first + 0.12 * height
        axes.annotate(
            str(number),
            (column, row),
            xytext=(0, 20 if upward else -20),
            textcoords="offset points",
            color=PAPER,
            fontsize=10,
            weight="bold",
            ha="center",
            va="center",
            path_effects=cased(2.4),
        )
    axes.set_xlim(-0.5, width - 0.5)
    axes.set_ylim(after - 0.5, first - 0.5)


def _draw_close_up(axes: "Axes", marker: MarkerEntry, proposal: Proposal, frame: Image) -> str:
    """Draw a proposal large enough to judge a part of a pixel; return what to write below."""
    from matplotlib.patches import Rectangle

    height, width = frame.shape[:2]
    left, top, right, bottom = proposal.box_px
    away = distance_px(marker, proposal)
    column, row = (float(value) for value in proposal.pixel)
    reach = float(np.abs([left - column, right - column, top - row, bottom - row]).max())
    half = max(HALF_CLOSE_UP_PX * max(1.0, width / 1920.0), 1.25 * max(reach, away or 0.0))
    axes.set_facecolor(INK)
    axes.imshow(
        frame[:, :, ::-1],
        interpolation="nearest",
        extent=(-0.5, width - 0.5, height - 0.5, -0.5),
    )
    axes.add_patch(
        Rectangle(
            (left - 0.5, top - 0.5), right - left, bottom - top,
            fill=False, ec=PAPER, lw=1.0, ls=(0, (3, 3)),
        )
    )  # fmt: skip
    axes.plot([column], [row], "o", ms=16, mfc="none", mec=USED, mew=1.5, path_effects=cased(2.8))
    axes.plot([column], [row], "o", ms=2.5, color=USED, mec=INK, mew=0.5, zorder=4)
    if marker.pixel is not None:
        picked = marker.pixel
        axes.plot(
            [picked[0]], [picked[1]], "+", ms=15, mew=1.3, color=UNUSED, path_effects=cased(2.6),
            zorder=3,
        )  # fmt: skip
    axes.set_xlim(column - half, column + half)
    axes.set_ylim(row + half, row - half)
    axes.set_xticks([])
    axes.set_yticks([])
    apart = "not picked" if away is None else f"{away:.2f} px from the pick"
    return f"{short(marker.name)}\n{column:.1f}, {row:.1f} ±{proposal.pixel_u:.2f} px\n{apart}"
