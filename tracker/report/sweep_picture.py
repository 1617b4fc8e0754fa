"""One picture of a sweep: what to expect along it, and what was measured at some of its values."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from tracker.launcher.prediction import Prediction
from tracker.report.comparison_picture import COLOURS, png_of
from tracker.report.lettering import POINTS_PER_INCH
from tracker.report.look import FAINT, INK, PAPER
from tracker.statistics.components import Estimate

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.transforms import Transform


@dataclass(frozen=True)
class Measured:
    """A setup that was shot: its place along the sweep, its means."""

    name: str
    at: float
    exit_speed: Estimate | None
    carry: Estimate | None


@dataclass(frozen=True)
class Panel:
    """One quantity along a sweep: what is expected of it, and what was measured."""

    what: str
    expected: tuple[Estimate, ...]
    measured: tuple[tuple[Measured, Estimate], ...] = ()


HEADROOM = 1.15
"""Height of a panel over its highest value, which leaves room for the number above it; a matter of
looks."""

ABOVE_POINTS = 9.0
"""Height of the sign of the greatest value over what is drawn there, points; a matter of looks."""


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

    panels = _panels(predictions, measured)
    sheet = Figure(figsize=(9.0, 1.0 + 2.7 * len(panels)), facecolor=PAPER, layout="constrained")
    FigureCanvasAgg(sheet)
    all_axes = np.atleast_1d(sheet.subplots(len(panels), 1, sharex=True))
    for place, (axes, panel) in enumerate(zip(all_axes, panels, strict=True)):
        _draw(axes, values, panel, best=place == 0)
        axes.set_ylabel(panel.what, color=INK)
    all_axes[-1].set_xlabel(label, color=INK, parse_math=False)
    _key(all_axes[0], bool(measured))
    return png_of(sheet)


def _panels(predictions: Sequence[Prediction], measured: Sequence[Measured]) -> list[Panel]:
    """Return the quantities that every prediction has, carry first."""
    found = []
    carries = tuple(each.carry for each in predictions if each.carry is not None)
    if len(carries) == len(predictions):
        seen = tuple((one, one.carry) for one in measured if one.carry is not None)
        found.append(Panel("carry, m", carries, seen))
    seen = tuple((one, one.exit_speed) for one in measured if one.exit_speed is not None)
    found.append(Panel("exit speed, m/s", tuple(each.exit_speed for each in predictions), seen))
    waits = tuple(each.costs.spin_up_s for each in predictions if each.costs is not None)
    if len(waits) == len(predictions):
        found.append(Panel("spin-up to 95 %, s", waits))
    return found


def _key(axes: "Axes", measured: bool) -> None:
    """Name line, band and dots above the first panel."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    entries: list[Line2D | Patch] = [
        Line2D([], [], color=COLOURS[0], lw=2, label="predicted"),
        Patch(facecolor=COLOURS[0], alpha=0.18, label="its 95 % interval"),
        Line2D([], [], marker="v", ms=8, mfc=PAPER, mec=COLOURS[0], ls="none", label="most"),
    ]
    if measured:
        label = "measured mean, 95 %"
        entries.append(Line2D([], [], color=COLOURS[1], marker="o", ms=6, lw=1.6, label=label))
    axes.legend(
        handles=entries, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=len(entries),
        frameon=False, fontsize=9.5, labelcolor=INK, borderaxespad=0.2,
    )  # fmt: skip


def _top(value: float, expected: float, panel: Panel) -> float:
    """Return the highest that is drawn at a value: what is expected, and what was measured."""
    here = [each.value + each.expanded() for one, each in panel.measured if one.at == value]
    return max([expected, *here])


def _raised(axes: "Axes", points: float) -> "Transform":
    """Return the transform of an area's data, moved up on the sheet."""
    from matplotlib.transforms import ScaledTranslation

    scale = axes.figure.dpi_scale_trans
    return axes.transData + ScaledTranslation(0.0, points / POINTS_PER_INCH, scale)


def _draw(axes: "Axes", values: Sequence[float], panel: Panel, best: bool) -> None:
    """Draw a line with its band, the greatest value, and measured means with their names."""
    line = np.array([estimate.value for estimate in panel.expected])
    half = np.array([estimate.expanded() for estimate in panel.expected])
    colour = COLOURS[0]
    axes.fill_between(
        values, np.maximum(line - half, 0.0), line + half, color=colour, alpha=0.18, lw=0
    )
    axes.plot(values, line, color=colour, lw=2)
    if best:
        top = int(np.argmax(line))
        highest = _top(values[top], line[top], panel)
        axes.plot(
            values[top], highest, marker="v", ms=9, mfc=PAPER, mec=colour, clip_on=False,
            transform=_raised(axes, ABOVE_POINTS), zorder=5,
        )  # fmt: skip
        axes.annotate(
            f"{values[top]:.4g}", (values[top], highest), xytext=(0, 2 * ABOVE_POINTS), ha="center",
            textcoords="offset points", color=colour, fontsize=9.5,
        )  # fmt: skip
    for one, estimate in panel.measured:
        axes.errorbar(
            one.at, estimate.value, yerr=estimate.expanded(), fmt="o", color=COLOURS[1], ms=6,
            lw=1.6, capsize=3, zorder=4,
        )  # fmt: skip
        past_middle = one.at > 0.5 * (values[0] + values[-1])
        axes.annotate(
            one.name, (one.at, estimate.value), xytext=(-7 if past_middle else 7, -14),
            ha="right" if past_middle else "left", textcoords="offset points", color=COLOURS[1],
            fontsize=8.5, parse_math=False,
        )  # fmt: skip
    tops = [float((line + half).max())]
    tops += [estimate.value + estimate.expanded() for _, estimate in panel.measured]
    axes.margins(x=0.03)
    axes.set_ylim(0.0, HEADROOM * max(tops))
    axes.set_facecolor(PAPER)
    axes.grid(color=FAINT, alpha=0.3, lw=0.6)
    axes.tick_params(colors=INK, labelsize=9.5)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(FAINT)
