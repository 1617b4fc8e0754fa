"""A map of what to expect over two numbers of a setup, with lines of equal carry."""

from typing import TYPE_CHECKING

import numpy as np

from tracker.comparison.grid import Grid
from tracker.comparison.words import WORDINGS
from tracker.report.comparison_picture import COLOURS, png_of
from tracker.report.field_words import axis_label
from tracker.report.look import FAINT, INK, PAPER

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.contour import QuadContourSet

LINES = 9
"""About how many lines are drawn: more cannot be labelled."""


def map_picture(grid: Grid, wanted: float | None = None) -> bytes:
    """Return a PNG of a map.

    Parameters
    ----------
    grid : Grid
    wanted : float, optional
        A carry whose line is drawn heavily, m.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    sheet = Figure(figsize=(9.0, 6.6), facecolor=PAPER, layout="constrained")
    FigureCanvasAgg(sheet)
    axes = sheet.subplots()
    if np.isfinite(grid.values).any():
        _draw_lines(axes, grid, wanted)
    for name, x, y in grid.shot:
        if _inside(grid, x, y):
            axes.plot(x, y, marker="o", ms=7, color=COLOURS[1], ls="none", clip_on=False, zorder=5)
            axes.annotate(
                name, (x, y), xytext=(6, -14), textcoords="offset points", color=COLOURS[1],
                fontsize=8.5, parse_math=False,
            )  # fmt: skip
    axes.set_xlim(grid.across.values[0], grid.across.values[-1])
    axes.set_ylim(grid.up.values[0], grid.up.values[-1])
    axes.set_xlabel(axis_label(grid.across.key), color=INK, parse_math=False)
    axes.set_ylabel(axis_label(grid.up.key), color=INK, parse_math=False)
    wording = WORDINGS[grid.quantity]
    shots = "; dots are setups that were shot" if grid.shot else ""
    axes.set_title(
        f"expected {wording.noun}, {wording.unit}; the rest as in {grid.base}{shots}",
        color=INK, fontsize=10.5, loc="left", parse_math=False,
    )  # fmt: skip
    axes.set_facecolor(PAPER)
    axes.tick_params(colors=INK, labelsize=9.5)
    for side in axes.spines.values():
        side.set_color(FAINT)
    return png_of(sheet)


def _draw_lines(axes: "Axes", grid: Grid, wanted: float | None) -> None:
    """Draw lines of equal value, and the wanted one heavily."""
    place = (grid.across.values, grid.up.values, np.ma.masked_invalid(grid.values))
    if np.nanmin(grid.values) < np.nanmax(grid.values):
        axes.contourf(*place, levels=LINES, cmap="Blues", alpha=0.45)
        _labelled(axes, axes.contour(*place, levels=LINES, colors=COLOURS[0], linewidths=1.1))
    lowest, highest = float(np.nanmin(grid.values)), float(np.nanmax(grid.values))
    if wanted is not None and lowest < wanted < highest:
        line = axes.contour(*place, levels=[wanted], colors=COLOURS[1], linewidths=2.6)
        _labelled(axes, line)


def _labelled(axes: "Axes", lines: "QuadContourSet") -> None:
    axes.clabel(lines, fmt="%g", fontsize=9.0)


def _inside(grid: Grid, x: float, y: float) -> bool:
    across, up = grid.across.values, grid.up.values
    return across[0] <= x <= across[-1] and up[0] <= y <= up[-1]
