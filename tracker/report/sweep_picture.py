"""One picture of a sweep: what to expect along it, and what was measured on the way."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from tracker.launcher.prediction import Prediction
from tracker.report.comparison_picture import COLOURS, png_of
from tracker.report.look import FAINT, INK, PAPER
from tracker.statistics.components import Estimate

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True)
class Measured:
    """A setup that was shot: its place along the sweep, its means."""

    name: str
    at: float
    exit_speed: Estimate | None
    carry: Estimate | None


def sweep_picture(
    label: str,
    values: Sequence[float],
    predictions: Sequence[Prediction],
    measured: Sequence[Measured] = (),
) -> bytes:
    """Return a PNG of the predictions along a sweep.

    Parameters
    ----------
    label : str
        What is swept, with its unit.
    values : sequence of float
    predictions : sequence of Prediction
        One for each value.
    measured : sequence of Measured
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    panels: list[tuple[str, list[Estimate], list[tuple[Measured, Estimate]]]] = []
    carries = [p.carry for p in predictions if p.carry is not None]
    if len(carries) == len(predictions):
        seen = [(m, m.carry) for m in measured if m.carry is not None]
        panels.append(("carry, m", carries, seen))
    seen = [(m, m.exit_speed) for m in measured if m.exit_speed is not None]
    panels.append(("exit speed, m/s", [p.exit_speed for p in predictions], seen))
    waits = [p.spin_up for p in predictions if p.spin_up is not None]
    if len(waits) == len(predictions):
        panels.append(("spin-up to 95 %, s", waits, []))
    sheet = Figure(figsize=(9.0, 1.0 + 2.7 * len(panels)), facecolor=PAPER, layout="constrained")
    FigureCanvasAgg(sheet)
    all_axes = np.atleast_1d(sheet.subplots(len(panels), 1, sharex=True))
    for place, (axes, (what, expected, shots)) in enumerate(zip(all_axes, panels, strict=True)):
        _draw(axes, values, expected, shots, best=place == 0)
        axes.set_ylabel(what, color=INK)
    all_axes[-1].set_xlabel(label, color=INK)
    all_axes[0].set_title(
        "Line: prediction. Band: its 95 % interval."
        + (" Dots: measured means, 95 %." if measured else ""),
        loc="left",
        fontsize=9.5,
        color=INK,
    )
    return png_of(sheet)


def _draw(
    axes: "Axes",
    values: Sequence[float],
    expected: Sequence[Estimate],
    shots: Sequence[tuple[Measured, Estimate]],
    best: bool,
) -> None:
    line = np.array([estimate.value for estimate in expected])
    half = np.array([estimate.expanded() for estimate in expected])
    colour = COLOURS[0]
    axes.fill_between(
        values, np.maximum(line - half, 0.0), line + half, color=colour, alpha=0.18, lw=0
    )
    axes.plot(values, line, color=colour, lw=2)
    if best:
        top = int(np.argmax(line))
        axes.plot(values[top], line[top], marker="v", ms=9, color=colour, clip_on=False)
        axes.annotate(
            f"most at {values[top]:.4g}",
            (values[top], line[top]),
            xytext=(0, 10),
            textcoords="offset points",
            ha="center",
            color=colour,
            fontsize=9.5,
        )
    for one, estimate in shots:
        axes.errorbar(
            one.at, estimate.value, yerr=estimate.expanded(), fmt="o", color=COLOURS[1], ms=6,
            lw=1.6, capsize=3, zorder=4,
        )  # fmt: skip
        axes.annotate(
            one.name,
            (one.at, estimate.value),
            xytext=(7, -12),
            textcoords="offset points",
            color=COLOURS[1],
            fontsize=8.5,
        )
    axes.set_ylim(bottom=0.0)
    axes.margins(x=0.03, y=0.12)
    axes.set_facecolor(PAPER)
    axes.grid(color=FAINT, alpha=0.3, lw=0.6)
    axes.tick_params(colors=INK, labelsize=9.5)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(FAINT)
