"""One picture that shows why a flight counts as a shot, and why others do not."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tracker.records import MeasuredShot, RejectedCandidate
from tracker.report.composite import Image
from tracker.report.lettering import folded, line_inches
from tracker.report.look import (
    DOTS_PER_INCH,
    FITTED,
    INK,
    PAPER,
    USED,
    WIDTH_INCHES,
    as_jpeg,
    cased,
    empty,
    places,
)
from tracker.report.raster import show
from tracker.report.shot_picture import CAUTION

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Array = NDArray[np.float64]

RIVALS = ("#ff8f6b", "#7fd4ff", "#d6a2ff", "#b5e36a")
"""Colours of rejected candidates, which have a number in the picture as well."""

MOST_DOTS = 20000
"""Candidates that are drawn at most; more would only cost time."""

DARKENED = 0.55
"""Share of its light that the frame keeps, so that dots and lines stand out; a matter of looks."""
_DARKER = (DARKENED * np.arange(256)).astype(np.uint8)

TALLEST_INCHES = 9.0
"""Greatest height of the frame."""
COLUMNS = 12
"""Close-ups in a row."""
STRIP_INCHES = WIDTH_INCHES / COLUMNS * 1.47
"""Height of the row with what is written above and below it."""
HEADING_SIZE = 13.0
"""Size of the heading's letters, points."""
TEXT_SIZE = 8.5
"""Size of the reasons' letters, points."""
MARGIN_INCHES = 0.15
"""Around texts."""


@dataclass(frozen=True)
class Instant:
    """One frame's piece around where the ball should be.

    Attributes
    ----------
    time_s : float
        Since the release.
    image : ndarray of uint8, shape (H, W, 3)
        Blue, green, red.
    found : bool
        Whether the ball was found and used in that frame.
    """

    time_s: float
    image: Image
    found: bool


@dataclass(frozen=True)
class CandidateView:
    """What the clip showed during a span of time.

    Attributes
    ----------
    background : ndarray of uint8, shape (H, W, 3)
        What stays in the frame, blue, green, red.
    times_s : ndarray, shape (N,)
        True times of the candidates.
    pixels : ndarray, shape (N, 2)
    strip : tuple of Instant
    strip_name : str
        What the strip follows.
    side : int
        Pixels of the frame, across and down, of which each of the background is the mean.
    """

    background: Image
    times_s: Array
    pixels: Array
    strip: tuple[Instant, ...]
    strip_name: str
    side: int = 1

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height of what the background shows, in the frame's pixels."""
        height, width = self.background.shape[:2]
        return self.side * width, self.side * height


@dataclass(frozen=True)
class Explanation:
    """What the picture is made of.

    Attributes
    ----------
    heading : str
    view : CandidateView
    shot : MeasuredShot or None
        None where no shot was found.
    rivals : tuple of RejectedCandidate
        Those that are drawn, strongest first.
    """

    heading: str
    view: CandidateView
    shot: MeasuredShot | None
    rivals: tuple[RejectedCandidate, ...]


def explanation_picture(explanation: Explanation) -> bytes:
    """Return the picture as a JPEG file.

    On top the darkened frame without what moves, every candidate as a dot coloured by its time,
    the shot's path with its sightings, and dashed the paths of rejected candidates; below it
    close-ups at instants along the path, and the reasons.
    """
    from matplotlib.figure import Figure

    width, height = explanation.view.size_px
    scene = min(WIDTH_INCHES * height / width, TALLEST_INCHES)
    head = folded(explanation.heading, WIDTH_INCHES - 2 * MARGIN_INCHES, HEADING_SIZE, "bold")
    lines = reasons(explanation)
    heights = [
        len(head) * line_inches(HEADING_SIZE) + 2 * MARGIN_INCHES,
        scene,
        STRIP_INCHES,
        len(lines) * line_inches(TEXT_SIZE) + 2 * MARGIN_INCHES,
        0.25,
    ]
    figure = Figure(figsize=(WIDTH_INCHES, sum(heights)), dpi=DOTS_PER_INCH, facecolor=PAPER)
    grid = figure.add_gridspec(
        5, 1, height_ratios=heights, left=0, right=1, top=1, bottom=0, hspace=0
    )
    _write(figure.add_subplot(grid[0]), head, heights[0], HEADING_SIZE)
    _draw_scene(figure, figure.add_subplot(grid[1]), explanation)
    _draw_strip(figure.add_subplot(grid[2]), explanation.view)
    _write(figure.add_subplot(grid[3]), lines, heights[3], TEXT_SIZE)
    foot = figure.add_subplot(grid[4])
    empty(foot)
    foot.text(0.012, 0.5, CAUTION, fontsize=7.5, color=INK, va="center")
    return as_jpeg(figure)


def reasons(explanation: Explanation) -> list[str]:
    """Return the lines below the pictures: how the shot was found, why each rival is no shot."""
    said = []
    shot = explanation.shot
    if shot is not None:
        used = sum(point.used for point in shot.points)
        about = f"White: the shot, found in {used} frames (rings), {shot.shot.quality}."
        said.append(f"{about} {shot.shot.reason}")
    if not explanation.rivals:
        said.append("No other candidate of that time looked like a flight.")
    for number, rival in enumerate(explanation.rivals, start=1):
        said.append(
            f"{number}, dashed: release at {rival.release_s:.2f} s, something seen in "
            f"{rival.frames_seen} of {rival.frames_crossed} frames, support {rival.support:.0f}. "
            f"{rival.reason}"
        )
    inches = WIDTH_INCHES - 2 * MARGIN_INCHES
    return [line for text in said for line in folded(text, inches, TEXT_SIZE)]


def _draw_scene(figure: "Figure", axes: "Axes", explanation: Explanation) -> None:
    view, shot = explanation.view, explanation.shot
    width, height = view.size_px
    extent = (-0.5, width - 0.5, height - 0.5, -0.5)
    axes.set_facecolor(INK)
    show(axes, _DARKER[view.background[:, :, ::-1]], extent)
    axes.set_axis_off()
    axes.set_aspect("equal")
    axes.set_xlim(-0.5, width - 0.5)
    axes.set_ylim(height - 0.5, -0.5)
    if len(view.times_s):
        _draw_candidates(figure, axes, view)
    for number, rival in enumerate(explanation.rivals, start=1):
        colour = RIVALS[(number - 1) % len(RIVALS)]
        axes.plot(*rival.pixels.T, "--", color=colour, lw=1.3, path_effects=cased(2.2), zorder=3)
        _draw_number(axes, rival.pixels, number, (width, height))
    if shot is not None and shot.path is not None:
        axes.plot(*shot.path.pixels.T, color=FITTED, lw=1.0, path_effects=cased(2.2), zorder=4)
        axes.plot(*places(shot, True).T, "o", ms=4.0, mfc="none", mec=USED, mew=0.7, zorder=5)


def _draw_candidates(figure: "Figure", axes: "Axes", view: CandidateView) -> None:
    """Draw every candidate as a dot coloured by its time, with a scale of the colours."""
    step = max(1, len(view.times_s) // MOST_DOTS)
    dots = axes.scatter(
        view.pixels[::step, 0], view.pixels[::step, 1], c=view.times_s[::step], s=2.5,
        cmap="viridis", linewidths=0, alpha=0.9,
    )  # fmt: skip
    bar = figure.colorbar(
        dots, cax=axes.inset_axes((0.80, 0.945, 0.18, 0.018)), orientation="horizontal"
    )
    bar.ax.tick_params(labelsize=7, colors=PAPER, length=2)
    bar.set_label("candidates, by time in the clip, s", fontsize=7.5, color=PAPER, labelpad=4)
    bar.ax.xaxis.set_label_position("top")


def _draw_number(axes: "Axes", pixels: Array, number: int, size: tuple[int, int]) -> None:
    """Write a rival's number beside the part of its path that is in the picture."""
    inside = np.all((pixels > 20) & (pixels < np.array(size) - 20), axis=1)
    at = np.flatnonzero(inside)
    if not len(at):
        return
    # Rivals that run side by side get their numbers at different places.
    column, row = pixels[at[int((0.3 + 0.15 * number) * (len(at) - 1))]]
    colour = RIVALS[(number - 1) % len(RIVALS)]
    axes.text(
        column, row, str(number), fontsize=9, weight="bold", color=INK, ha="center", va="center",
        bbox={"boxstyle": "circle,pad=0.2", "facecolor": colour, "edgecolor": INK, "lw": 0.6},
        zorder=6,
    )  # fmt: skip


def _draw_strip(axes: "Axes", view: CandidateView) -> None:
    """Show close-ups at instants along a path, each with four ticks about the ball's place."""
    empty(axes)
    if not view.strip:
        axes.text(0.012, 0.5, "No frame of it could be shown.", fontsize=9, color=INK)
        return
    axes.text(
        MARGIN_INCHES / WIDTH_INCHES * COLUMNS, -0.09, view.strip_name, fontsize=8, color=INK,
        va="center",
    )  # fmt: skip
    for tile, instant in enumerate(view.strip):
        show(axes, instant.image[:, :, ::-1], (tile + 0.02, tile + 0.98, 0.98, 0.02))
        for x, y in ((0.19, 0.0), (-0.19, 0.0), (0.0, 0.19), (0.0, -0.19)):
            axes.plot(
                [tile + 0.5 + x, tile + 0.5 + 1.7 * x], [0.5 + y, 0.5 + 1.7 * y],
                color=USED if instant.found else FITTED, lw=1.2, path_effects=cased(2.2),
            )  # fmt: skip
        note = "" if instant.found else ", not found"
        axes.text(
            tile + 0.5, 1.05, f"{instant.time_s:.2f} s{note}", fontsize=7, color=INK, ha="center",
            va="top",
        )  # fmt: skip
    axes.set_xlim(0, COLUMNS)
    axes.set_ylim(1.27, -0.2)


def _write(axes: "Axes", lines: Sequence[str], inches: float, size: float) -> None:
    """Write lines of text one below the other into an area of that height."""
    empty(axes)
    axes.set_xlim(0.0, WIDTH_INCHES)
    axes.set_ylim(inches, 0.0)
    for number, line in enumerate(lines):
        axes.text(
            MARGIN_INCHES, MARGIN_INCHES + (number + 0.5) * line_inches(size), line, fontsize=size,
            weight="bold" if size == HEADING_SIZE else "normal", color=INK, va="center",
            parse_math=False,
        )  # fmt: skip
