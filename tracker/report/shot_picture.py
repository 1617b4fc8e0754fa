"""One picture a shot, from which a person sees at a glance whether to believe its row."""

from dataclasses import dataclass
from itertools import accumulate, pairwise

from tracker.records import MeasuredShot
from tracker.report.composite import BallPatch, Image, multiple_exposure
from tracker.report.labels import Box
from tracker.report.look import WIDTH_INCHES
from tracker.report.misses import draw_misses
from tracker.report.panels import (
    CLOSE_UP_HEIGHT,
    MARGIN_INCHES,
    draw_close_ups,
    draw_figures,
    draw_heading,
    heading_inches,
    heading_of,
)
from tracker.report.scene import SceneScale, draw_scene, window_around
from tracker.report.sheet import Letters, Sheet

CLOSE_UPS = 12
"""Single frames in a row; a matter of looks."""
BALL_PX = 9.0
"""Radius about each place that is taken from its own frame, in a window 1920 px wide, px."""
LEAST_BALL_PX = 6.0
"""The least such radius, px; a matter of looks, as that above."""
LOWER_INCHES, FOOT_INCHES = 2.75, 0.25
"""Heights of the figures and of the line below them; a matter of looks, as the next two."""
FIGURES_SHARE = 0.47
"""Width of the figures over the sheet's; the rest has the plot of the misses."""
CAUTION_SIZE = 7.5
"""Size of the letters of the caution, points."""
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
    window = window_around(measured, seen.frame.shape, seen.markers)
    left, top, right, bottom = window
    lines = heading_of(measured.shot)
    tile = WIDTH_INCHES / CLOSE_UPS
    scene_inches = WIDTH_INCHES * (bottom - top) / (right - left)
    heights = (
        heading_inches(lines),
        scene_inches,
        tile * CLOSE_UP_HEIGHT,
        LOWER_INCHES,
        FOOT_INCHES,
    )
    sheet = Sheet.empty((WIDTH_INCHES, sum(heights)))
    edges = [0.0, *accumulate(heights)]
    heading, scene, strip, lower, foot = (
        sheet.part(Box(0.0, above, WIDTH_INCHES, below)) for above, below in pairwise(edges)
    )
    draw_heading(heading, measured.shot.quality, lines, WIDTH_INCHES)
    scale = SceneScale(window, WIDTH_INCHES)
    radius = max(LEAST_BALL_PX, BALL_PX * scale.scale)
    picture = multiple_exposure(seen.frame, seen.patches, radius)
    draw_scene(scene, measured, picture, scale, seen.markers)
    draw_close_ups(strip, measured, seen.patches, (CLOSE_UPS, tile))
    draw_figures(lower, measured)
    beside = Box(FIGURES_SHARE * WIDTH_INCHES, 0.0, WIDTH_INCHES, LOWER_INCHES)
    draw_misses(lower.part(beside), measured)
    foot.write((MARGIN_INCHES, 0.5 * FOOT_INCHES), CAUTION, Letters(CAUTION_SIZE))
    return sheet.jpeg()
