"""One picture a shot, from which a person sees at a glance whether to believe its row."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from tracker.records import MeasuredShot
from tracker.report.composite import BallPatch, Image, multiple_exposure
from tracker.report.look import DOTS_PER_INCH, INK, PAPER, WIDTH_INCHES, as_jpeg
from tracker.report.panels import (
    CLOSE_UP_HEIGHT,
    draw_close_ups,
    draw_figures,
    draw_heading,
    draw_misses,
    heading_inches,
    heading_of,
)
from tracker.report.scene import SceneScale, draw_scene, window_around

if TYPE_CHECKING:
    from matplotlib.figure import Figure

CLOSE_UPS = 12
"""Single frames in a row; a matter of looks."""
BALL_PX = 9.0
"""Radius about each place that is taken from its own frame, in a window 1920 px wide, px."""
LEAST_BALL_PX = 6.0
"""The least such radius, px; a matter of looks, as that above."""
CAUTION = (
    "Flying balls and spinning wheels hurt people and animals: keep the field clear, guard the "
    "wheels, follow local rules and qualified people."
)


@dataclass(frozen=True)
class ShotFrames:
    """What the clip showed of a shot.

    Attributes
    ----------
    frame : ndarray of uint8, shape (H, W, 3)
        One whole frame, blue, green, red.
    patches : tuple of BallPatch
        A piece of every frame in which the ball was found.
    markers : tuple of (str, (float, float))
        Names and pixels of the markers.
    """

    frame: Image
    patches: tuple[BallPatch, ...] = ()
    markers: tuple[tuple[str, tuple[float, float]], ...] = ()


def shot_picture(measured: MeasuredShot, seen: ShotFrames) -> bytes:
    """Return the picture of a shot as a JPEG file.

    Parameters
    ----------
    measured : MeasuredShot
    seen : ShotFrames

    Returns
    -------
    bytes
        The frame with every place of the ball, the fitted path, release, apex and landing;
        below it close-ups of single frames, the figures, and how far the fit misses each place.
    """
    return as_jpeg(_laid_out(measured, seen))


def _laid_out(measured: MeasuredShot, seen: ShotFrames) -> "Figure":
    """Return the whole sheet: heading, scene, close-ups, figures and misses."""
    from matplotlib.figure import Figure

    window = window_around(measured, seen.frame.shape)
    left, top, right, bottom = window
    scene_inches = WIDTH_INCHES * (bottom - top) / (right - left)
    strip_inches = WIDTH_INCHES / CLOSE_UPS * CLOSE_UP_HEIGHT
    lines = heading_of(measured.shot)
    heights = [heading_inches(lines), scene_inches, strip_inches, 2.75, 0.25]
    figure = Figure(figsize=(WIDTH_INCHES, sum(heights)), dpi=DOTS_PER_INCH, facecolor=PAPER)
    grid = figure.add_gridspec(
        5, 1, height_ratios=heights, left=0, right=1, top=1, bottom=0, hspace=0
    )
    draw_heading(figure.add_subplot(grid[0]), measured.shot.quality, lines, WIDTH_INCHES)
    sheet = SceneScale(window, WIDTH_INCHES)
    radius = BALL_PX * sheet.scale
    picture = multiple_exposure(seen.frame, seen.patches, max(LEAST_BALL_PX, radius))
    draw_scene(figure.add_subplot(grid[1]), measured, picture, sheet, seen.markers)
    draw_close_ups(figure.add_subplot(grid[2]), measured, seen.patches, CLOSE_UPS)
    lower = grid[3].subgridspec(1, 2, width_ratios=(0.47, 0.53), wspace=0)
    draw_figures(figure.add_subplot(lower[0]), measured)
    draw_misses(figure, lower[1], measured)
    foot = figure.add_subplot(grid[4])
    foot.set_axis_off()
    foot.text(0.012, 0.5, CAUTION, fontsize=7.5, color=INK, va="center")
    return figure
