"""One picture that shows why a flight was taken for a shot, and why others were not."""

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import wrap
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tracker.records import MeasuredShot, RejectedCandidate
from tracker.report.composite import Image, shrunk
from tracker.report.look import FITTED, INK, PAPER, USED, cased, empty, places
from tracker.report.shot_picture import CAUTION, DOTS_PER_INCH, WIDTH_INCHES, as_jpeg

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Array = NDArray[np.float64]

RIVALS = ("#ff8f6b", "#7fd4ff", "#d6a2ff", "#b5e36a")
"""Told apart by their number in the picture as well."""

MOST_DOTS = 20000


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
class Explained:
    """What the picture is made of.

    Attributes
    ----------
    heading : str
    ground : ndarray of uint8, shape (H, W, 3)
        What stays in the frame, blue, green, red.
    times_s : ndarray, shape (N,)
        True times of the candidates.
    pixels : ndarray, shape (N, 2)
    shot : MeasuredShot or None
        None where no shot was found.
    rivals : tuple of RejectedCandidate
        Those that are drawn, strongest first.
    strip : tuple of Instant
    strip_of : str
        Whose way the strip follows.
    """

    heading: str
    ground: Image
    times_s: Array
    pixels: Array
    shot: MeasuredShot | None
    rivals: tuple[RejectedCandidate, ...]
    strip: tuple[Instant, ...]
    strip_of: str


def explain_picture(explained: Explained) -> bytes:
    """Return the picture as a JPEG file.

    On top what stays in the frame, darkened, with every candidate of the time as a dot coloured
    by its time, the shot's way with its sightings, and dashed the ways of what was turned down;
    below it the ball at instants along its way, and the reasons.
    """
    from matplotlib.figure import Figure

    height, width = explained.ground.shape[:2]
    scene = min(WIDTH_INCHES * height / width, 9.0)
    lines = _reasons(explained)
    heights = [0.5, scene, WIDTH_INCHES / 12 * 1.47, 0.24 * len(lines) + 0.2, 0.25]
    figure = Figure(figsize=(WIDTH_INCHES, sum(heights)), dpi=DOTS_PER_INCH, facecolor=PAPER)
    grid = figure.add_gridspec(
        5, 1, height_ratios=heights, left=0, right=1, top=1, bottom=0, hspace=0
    )
    head = figure.add_subplot(grid[0])
    empty(head)
    head.text(
        0.012, 0.5, explained.heading, fontsize=13, weight="bold", color=INK, va="center",
        parse_math=False,
    )  # fmt: skip
    _scene(figure, figure.add_subplot(grid[1]), explained)
    _strip(figure.add_subplot(grid[2]), explained)
    _write(figure.add_subplot(grid[3]), lines)
    foot = figure.add_subplot(grid[4])
    empty(foot)
    foot.text(0.012, 0.5, CAUTION, fontsize=7.5, color=INK, va="center")
    return as_jpeg(figure)


def _scene(figure: "Figure", axes: "Axes", explained: Explained) -> None:
    height, width = explained.ground.shape[:2]
    ground, extent = shrunk(explained.ground[:, :, ::-1])
    dark = (0.55 * ground).astype(np.uint8)
    axes.set_facecolor(INK)
    axes.imshow(dark, extent=extent, interpolation="antialiased", aspect="equal")
    axes.set_axis_off()
    axes.set_xlim(-0.5, width - 0.5)
    axes.set_ylim(height - 0.5, -0.5)
    if len(explained.times_s):
        step = max(1, len(explained.times_s) // MOST_DOTS)
        times, pixels = explained.times_s[::step], explained.pixels[::step]
        dots = axes.scatter(
            pixels[:, 0], pixels[:, 1], c=times, s=2.5, cmap="viridis", linewidths=0, alpha=0.9
        )
        bar = figure.colorbar(
            dots, cax=axes.inset_axes((0.80, 0.955, 0.18, 0.018)), orientation="horizontal"
        )
        bar.ax.tick_params(labelsize=7, colors=PAPER, length=2)
        bar.set_label("candidates, by time in the clip, s", fontsize=7.5, color=PAPER, labelpad=1)
        bar.ax.xaxis.set_label_position("top")
    for number, rival in enumerate(explained.rivals, start=1):
        colour = RIVALS[(number - 1) % len(RIVALS)]
        axes.plot(*rival.pixels.T, "--", color=colour, lw=1.3, path_effects=cased(2.2), zorder=3)
        _name(axes, rival.pixels, number, colour, (width, height))
    if explained.shot is not None and explained.shot.path is not None:
        axes.plot(
            *explained.shot.path.pixels.T, color=FITTED, lw=1.0, path_effects=cased(2.2), zorder=4
        )
        seen = places(explained.shot, True)
        axes.plot(
            *seen.T, "o", ms=5.5, mfc="none", mec=USED, mew=0.9, zorder=5, label="sightings used"
        )


def _name(axes: "Axes", pixels: Array, number: int, colour: str, size: tuple[int, int]) -> None:
    """Write a rival's number beside the part of its way that is in the picture."""
    inside = np.all((pixels > 20) & (pixels < np.array(size) - 20), axis=1)
    at = np.flatnonzero(inside)
    if not len(at):
        return
    # Rivals that run side by side get their numbers at different places.
    column, row = pixels[at[int((0.3 + 0.15 * number) * (len(at) - 1))]]
    axes.text(
        column, row, str(number), fontsize=9, weight="bold", color=INK, ha="center", va="center",
        bbox={"boxstyle": "circle,pad=0.2", "facecolor": colour, "edgecolor": INK, "lw": 0.6},
        zorder=6,
    )  # fmt: skip


def _strip(axes: "Axes", explained: Explained) -> None:
    """Show the ball at instants along its way, a close-up each, with four ticks about it."""
    empty(axes)
    if not explained.strip:
        axes.text(0.012, 0.5, "No frame of it could be shown.", fontsize=9, color=INK)
        return
    count = 12
    axes.set_xlim(0, count)
    axes.set_ylim(1.27, -0.2)
    axes.text(0.1, -0.09, explained.strip_of, fontsize=8, color=INK, va="center")
    for tile, instant in enumerate(explained.strip):
        axes.imshow(
            instant.image[:, :, ::-1],
            extent=(tile + 0.02, tile + 0.98, 0.98, 0.02),
            interpolation="nearest",
            aspect="auto",
        )
        for x, y in ((0.19, 0.0), (-0.19, 0.0), (0.0, 0.19), (0.0, -0.19)):
            axes.plot(
                [tile + 0.5 + x, tile + 0.5 + 1.7 * x], [0.5 + y, 0.5 + 1.7 * y],
                color=USED if instant.found else FITTED, lw=1.2, path_effects=cased(2.2),
            )  # fmt: skip
        told = "" if instant.found else ", not found"
        axes.text(
            tile + 0.5, 1.05, f"{instant.time_s:.2f} s{told}", fontsize=7, color=INK, ha="center",
            va="top",
        )  # fmt: skip
    axes.set_xlim(0, count)
    axes.set_ylim(1.27, -0.2)


def _reasons(explained: Explained) -> list[tuple[str, str]]:
    """Return the lines below the pictures, each with its colour."""
    lines: list[tuple[str, str]] = []
    shot = explained.shot
    if shot is not None:
        used = sum(point.used for point in shot.points)
        why = f"White: the shot, found in {used} frames (rings), {shot.shot.quality}."
        lines += [(line, INK) for line in wrap(f"{why} {shot.shot.reason}", 190)]
    if not explained.rivals:
        lines.append(("Nothing else looked like a flight in that time.", INK))
    for number, rival in enumerate(explained.rivals, start=1):
        head = (
            f"{number}, dashed: release at {rival.release_s:.2f} s, something seen in "
            f"{rival.frames_seen} of {rival.frames_crossed} frames, support {rival.support:.0f}. "
        )
        lines += [(line, INK) for line in wrap(head + rival.reason, 190)]
    return lines


def _write(axes: "Axes", lines: Sequence[tuple[str, str]]) -> None:
    empty(axes)
    axes.set_ylim(len(lines) + 0.3, -0.4)
    for number, (line, colour) in enumerate(lines):
        axes.text(
            0.012, number + 0.25, line, fontsize=8.5, color=colour, va="center", parse_math=False
        )
