"""The picture of a calibration: the ground as the camera sees it, and what it can tell of it."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from calibration.ground import LEVEL, Ground
from calibration.site import ALARM, Calibration, Drawing, draw
from tracker.records import Quality
from tracker.report.composite import Image, shrunk
from tracker.report.look import (
    DOTS_PER_INCH,
    FAINT,
    INK,
    PAPER,
    STAMPS,
    UNUSED,
    USED,
    WIDTH_INCHES,
    as_jpeg,
    cased,
    empty,
)
from tracker.report.raster import show

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Array = NDArray[np.float64]

CLOSE_UPS = 10
"""Close-ups that are shown at most; a matter of looks."""
FEWEST_COLUMNS = 6
"""Fewest columns of their row, so that few are not too large; a matter of looks."""
HALF_CLOSE_UP_PX = 24
"""Half the side of a close-up in a frame 1920 pixels wide, px; a matter of looks."""
PLAN_INCHES = (11.8, 1.9)
"""Width and height of the field from above."""
TALLEST_SCENE_INCHES = 10.0
"""Greatest height of the frame."""
PLAN_MARGIN_M = 2.0
"""Ground around what the plan shows, m; a matter of looks."""
SCENE_MARGIN = 0.07
"""Picture above and below what is drawn, as a share of the frame's width; a matter of looks."""
HEADING_INCHES = 1.28
"""Height of the heading: the verdict and three lines."""
ARROW_POINTS = 12
"""Points of an arrow at which a label is kept off it."""
LABEL_PX, MOST_STEPS = 22.0, 8
"""Distance of a label from its tick on the sheet, px, and half steps by which it is put lower."""
LOWEST_ASPECT = 0.26
"""Height over width below which the scene would be a slit; a matter of looks."""
GROUND = "#dfeee2"
ELLIPSE = "#c2571a"


def calibration_picture(
    calibration: Calibration, frame: Image, title: str, ground: Ground = LEVEL
) -> bytes:
    """Return the picture of a calibration as a JPEG file.

    Parameters
    ----------
    calibration : Calibration
    frame : ndarray of uint8, shape (H, W, 3)
        A frame of the clip, blue, green, red.
    title : str
        The clip's name.
    ground : Ground
        What its grid lies on.

    Returns
    -------
    bytes
        The frame with the ground grid, the firing line with its metre ticks, the markers with
        their residuals and the 95 % ellipses; below it each marker close up, and the field from
        above with the same ellipses.
    """
    return as_jpeg(_laid_out(calibration, draw(calibration, ground=ground), frame, title))


def _laid_out(calibration: Calibration, drawing: Drawing, frame: Image, title: str) -> "Figure":
    from matplotlib.figure import Figure

    width = frame.shape[1]
    top, bottom = _shown_rows(drawing, frame.shape)
    scene_width = min(WIDTH_INCHES, TALLEST_SCENE_INCHES * width / (bottom - top))
    count = max(1, min(len(calibration.markers), CLOSE_UPS))
    heights = [HEADING_INCHES, scene_width * (bottom - top) / width, 2.35, PLAN_INCHES[1] + 1.0]
    figure = Figure(figsize=(WIDTH_INCHES, sum(heights)), dpi=DOTS_PER_INCH, facecolor=PAPER)
    grid = figure.add_gridspec(
        4, 1, height_ratios=heights, left=0, right=1, top=1, bottom=0, hspace=0
    )
    _draw_heading(figure.add_subplot(grid[0]), calibration, drawing, title)
    side = (WIDTH_INCHES - scene_width) / 2.0
    scene = grid[1].subgridspec(1, 3, width_ratios=(side, scene_width, side), wspace=0)
    _draw_scene(figure.add_subplot(scene[1]), drawing, frame, (top, bottom))
    inner = grid[2].subgridspec(1, 3, width_ratios=(0.15, WIDTH_INCHES - 0.3, 0.15), wspace=0)
    strip = inner[1].subgridspec(1, max(count, FEWEST_COLUMNS), wspace=0.05)
    for place in range(count):
        _draw_close_up(figure.add_subplot(strip[place]), calibration, frame, place)
    whole = sum(heights)
    plan = figure.add_axes(
        (0.06, 0.55 / whole, PLAN_INCHES[0] / WIDTH_INCHES, PLAN_INCHES[1] / whole)
    )
    _draw_plan(plan, calibration, drawing)
    return figure


def _draw_heading(axes: "Axes", calibration: Calibration, drawing: Drawing, title: str) -> None:
    empty(axes)
    axes.text(
        0.012, 0.8, f"{title}: {verdict(calibration)}", fontsize=11, va="center",
        color=INK if calibration.p_value >= ALARM else STAMPS[Quality.REJECTED], weight="bold",
        parse_math=False,
    )  # fmt: skip
    axes.text(
        0.012,
        0.36,
        f"Known to: {calibration.summary}.\n"
        f"Grid of {drawing.spacing_m:g} m. Arrows: residuals, {drawing.scale:g} times as long as "
        "they are. Ellipses, 95 %: where a ball that landed there would be measured.\n"
        "Close-ups: the cross is the pixel that was picked, the ring where the camera expects "
        "the taped marker.",
        fontsize=9,
        linespacing=1.5,
        color=INK,
        va="center",
    )


def verdict(calibration: Calibration) -> str:
    """Return in a few words whether the markers are to be believed."""
    if calibration.suspects:
        names = dict.fromkeys(short(one.name) for one in calibration.suspects)
        return f"the markers do not agree; look at {', '.join(names)}"
    if calibration.p_value < ALARM:
        return "the observations do not agree"
    if not calibration.dof:
        return "the camera is fixed, and nothing checks it: mark one more"
    return "the markers agree with each other"


def _shown_rows(drawing: Drawing, shape: tuple[int, ...]) -> tuple[int, int]:
    """Return the first row of the frame that is shown and the one after the last.

    The ground and what is drawn on it, with a margin of sky; never a slit.
    """
    height, width = shape[:2]
    drawn = [line[:, 1] for line in (*drawing.grid, *drawing.firing_line)]
    drawn += [ellipse.outline_px[:, 1] for ellipse in drawing.ellipses]
    drawn += [np.array([arrow.tip_px[1], arrow.picked_px[1]]) for arrow in drawing.arrows]
    drawn += [tick.ends_px[:, 1] for tick in drawing.ticks]
    rows = np.concatenate([np.zeros(0), *drawn])
    rows = np.clip(rows[np.isfinite(rows)], 0, height)
    if not len(rows):
        return 0, height
    margin = SCENE_MARGIN * width
    tall = min(max(float(np.ptp(rows)) + 2.0 * margin, LOWEST_ASPECT * width), float(height))
    middle = 0.5 * float(rows.min() + rows.max())
    top = round(min(max(0.0, middle - 0.5 * tall), height - tall))
    return top, top + round(tall)


def _draw_scene(axes: "Axes", drawing: Drawing, frame: Image, rows: tuple[int, int]) -> None:
    """Draw the rows of the frame that hold the ground, with the ground's grid over them."""
    width = frame.shape[1]
    first, after = rows
    scale = width / (axes.get_position().width * WIDTH_INCHES * DOTS_PER_INCH)
    shown, extent = shrunk(frame[first:after, :, ::-1], (0, first))
    show(axes, shown, extent)
    axes.set_axis_off()
    for line in drawing.grid:
        axes.plot(*line.T, color=PAPER, lw=0.8, alpha=0.75)
    for line in drawing.firing_line:
        axes.plot(*line.T, color=PAPER, lw=1.6, path_effects=cased(3.0))
    for ellipse in drawing.ellipses:
        axes.fill(*ellipse.outline_px.T, facecolor="none", edgecolor=ELLIPSE, lw=1.6, zorder=4)
    for tick in drawing.ticks:
        axes.plot(*tick.ends_px.T, color=PAPER, lw=1.6, path_effects=cased(3.0))
        column = float(np.clip(tick.ends_px[1, 0], 34 * scale, width - 34 * scale))
        axes.text(
            column,
            min(_below(tick.ends_px, drawing, scale), after - 20 * scale),
            f"{tick.along_m:g} m",
            color=PAPER,
            fontsize=8,
            ha="center",
            va="center",
            path_effects=cased(2.2),
            zorder=8,
        )
    for arrow in drawing.arrows:
        axes.annotate(
            "",
            (float(arrow.tip_px[0]), float(arrow.tip_px[1])),
            (float(arrow.picked_px[0]), float(arrow.picked_px[1])),
            arrowprops={
                "arrowstyle": "-|>", "color": USED, "lw": 1.8, "shrinkA": 0, "shrinkB": 0,
                "path_effects": cased(3.4),
            },
            zorder=6,
        )  # fmt: skip
        axes.plot(
            *arrow.picked_px, "o", ms=5, mfc="none", mec=UNUSED, mew=1.5, path_effects=cased(3.0),
            zorder=7,
        )  # fmt: skip
    axes.set_xlim(-0.5, width - 0.5)
    axes.set_ylim(after - 0.5, first - 0.5)


def _below(ends_px: Array, drawing: Drawing, scale: float) -> float:
    """Return the row of a tick's label: close below it, and clear of the residuals' arrows."""
    column, foot = float(ends_px[1, 0]), float(ends_px[:, 1].max())
    share = np.linspace(0.0, 1.0, ARROW_POINTS)[:, None]
    arrows = [one.picked_px + share * (one.tip_px - one.picked_px) for one in drawing.arrows]
    drawn = np.concatenate([np.zeros((0, 2)), *arrows])
    near = drawn[np.abs(drawn[:, 0] - column) < 40 * scale]
    for step in range(MOST_STEPS):
        row = foot + (LABEL_PX + step * LABEL_PX / 2) * scale
        if not np.any(np.abs(near[:, 1] - row) < LABEL_PX * scale):
            break
    return row


def _draw_close_up(axes: "Axes", calibration: Calibration, frame: Image, place: int) -> None:
    """Draw a marker's surroundings, where it was picked and where the camera expects it."""
    height, width = frame.shape[:2]
    size = float(np.hypot(*calibration.residuals_px[place]))
    half = max(HALF_CLOSE_UP_PX * max(1.0, width / 1920.0), 1.3 * size)
    column, row = calibration.pixels[place]
    expected = calibration.pixels[place] - calibration.residuals_px[place]
    axes.set_facecolor(INK)
    axes.imshow(
        frame[:, :, ::-1],
        interpolation="nearest",
        extent=(-0.5, width - 0.5, height - 0.5, -0.5),
    )
    axes.plot([column], [row], "+", ms=15, mew=1.3, color=UNUSED, path_effects=cased(2.6), zorder=3)
    axes.plot(
        *expected, "o", ms=10, mfc="none", mec=USED, mew=1.4, path_effects=cased(2.8), zorder=4
    )
    axes.set_xlim(column - half, column + half)
    axes.set_ylim(row + half, row - half)
    axes.set_anchor("N")
    axes.set_xticks([])
    axes.set_yticks([])
    suspected = calibration.markers[place] in {one.name for one in calibration.suspects}
    axes.set_xlabel(
        f"{short(calibration.markers[place])}\n{size:.2f} px" + (", suspect" if suspected else ""),
        fontsize=8,
        color=INK,
        parse_math=False,
    )


def _draw_plan(axes: "Axes", calibration: Calibration, drawing: Drawing) -> None:
    """Draw the field from above, along to the right and across upwards, both true to scale."""
    points = calibration.points_m
    outlines = [ellipse.outline_m for ellipse in drawing.ellipses]
    every = np.concatenate([points[:, :2], *outlines, np.zeros((1, 2))])
    (left, right), (bottom, top) = _plan_limits(every)
    axes.set_facecolor(GROUND)
    axes.axhline(0.0, color=INK, lw=1.2, zorder=1)
    for outline in outlines:
        axes.fill(*outline.T, facecolor=ELLIPSE, edgecolor=ELLIPSE, alpha=0.35, lw=1.2, zorder=2)
    axes.plot(points[:, 0], points[:, 1], "o", ms=5, mfc="none", mec=INK, mew=1.4, zorder=3)
    axes.set_xlim(left, right)
    axes.set_ylim(bottom, top)
    axes.set_xlabel("along, m", fontsize=9, color=INK)
    axes.set_ylabel("across, m (left up)", fontsize=9, color=INK)
    axes.set_title(
        "From above, true to scale: rings are markers, ellipses where a landing would be measured",
        fontsize=9,
        color=INK,
        loc="left",
    )
    axes.grid(color=FAINT, alpha=0.35, lw=0.6)
    axes.tick_params(colors=INK, labelsize=8.5)
    for side in axes.spines.values():
        side.set_color(FAINT)


def _plan_limits(points: Array) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return the limits of a plan true to scale that holds points, shape (N, 2).

    Ellipses that reach too far across are cut off before the field becomes too small to see.
    """
    low, high = points.min(axis=0) - PLAN_MARGIN_M, points.max(axis=0) + PLAN_MARGIN_M
    sizes = np.array(PLAN_INCHES)
    per_inch = (high - low) / sizes
    scale = float(np.clip(per_inch.max(), per_inch[0], 2.0 * per_inch[0]))
    middle = (low + high) / 2.0
    start, end = middle - scale * sizes / 2.0, middle + scale * sizes / 2.0
    return (float(start[0]), float(end[0])), (float(start[1]), float(end[1]))


def short(name: str, most: int = 24) -> str:
    """Return a marker's name, cut to what fits under a close-up."""
    return name if len(name) <= most else name[: most - 1] + "…"
