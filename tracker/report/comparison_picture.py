"""One picture of a comparison: every shot, every mean, where the shots came down."""

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING

from tracker.comparison.compare import Comparison
from tracker.comparison.setups import SetupShots, Summary, figure
from tracker.comparison.words import WORDINGS
from tracker.records import Quality
from tracker.report.look import FAINT, INK, PAPER

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

COLOURS = ("#1f5f8b", "#b35c00", "#2c6e49", "#7a3b8f", "#a3243b", "#5b5b2e", "#246b73", "#6d4c41")
MARKS = ("o", "s", "^", "D", "v", "P", "X", "*")
"""Setups are told apart by shape as well as by colour."""

DOTS_PER_INCH = 130


def comparison_picture(comparison: Comparison, setups: Sequence[SetupShots]) -> bytes:
    """Return a PNG of a comparison.

    Parameters
    ----------
    comparison : Comparison
    setups : sequence of SetupShots
        What it was made from, in the same order.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    landings = any(summary.landing is not None for summary in comparison.summaries)
    rows = len(setups)
    height = 1.9 + 0.75 * rows
    sheet = Figure(
        figsize=(11.0, height + (4.2 if landings else 0.0)),
        facecolor=PAPER,
        layout="constrained",
    )
    FigureCanvasAgg(sheet)
    if landings:
        upper, lower = sheet.subplots(2, 1, height_ratios=(height, 4.2))
        _draw_landings(lower, comparison)
    else:
        upper = sheet.subplots()
    _draw_strips(upper, comparison, setups)
    return png_of(sheet)


def png_of(sheet: "Figure") -> bytes:
    """Return a figure as a PNG file that is the same for the same figure."""
    held = io.BytesIO()
    sheet.savefig(held, format="png", dpi=DOTS_PER_INCH, metadata={"Software": None})
    return held.getvalue()


def _draw_strips(axes: "Axes", comparison: Comparison, setups: Sequence[SetupShots]) -> None:
    """Draw a row for each setup: shots, mean with its interval, span of the next shot."""
    wording = WORDINGS[comparison.quantity]
    predicted = {verdict.name: verdict.predicted for verdict in comparison.verdicts}
    for place, (setup, summary) in enumerate(zip(setups, comparison.summaries, strict=True)):
        colour, mark = _look(place)
        _draw_shots(axes, place, setup, comparison.quantity, colour)
        if summary.next_shot is not None and summary.mean is not None:
            low, high = summary.next_shot.interval(comparison.level)
            axes.plot([low, high], [place, place], color=colour, lw=1.2, alpha=0.6, zorder=2)
            half = summary.mean.expanded(comparison.level)
            axes.errorbar(
                summary.mean.value,
                place,
                xerr=half,
                fmt=mark,
                color=colour,
                ms=8,
                lw=5,
                capsize=0,
                alpha=0.95,
                zorder=3,
            )
        elif summary.used == 0:
            axes.text(
                0.5, place, "no shots", transform=axes.get_yaxis_transform(), color=FAINT,
                ha="center", va="center",
            )  # fmt: skip
        if summary.name in predicted:
            value = predicted[summary.name]
            axes.errorbar(
                value.value,
                place + 0.27,
                xerr=value.expanded(comparison.level),
                fmt="d",
                mfc=PAPER,
                color=FAINT,
                ms=6,
                lw=1.2,
                capsize=3,
                zorder=2,
            )
    axes.set_yticks(range(len(setups)), [_label(s) for s in comparison.summaries])
    axes.set_ylim(len(setups) - 0.45, -0.6)
    axes.set_xlabel(f"{wording.noun}, {wording.unit}", color=INK)
    drawn = (
        "Small: each shot (open: to be checked). Thick: mean, 95 %. "
        "Thin: span of the next shot, 95 %."
    )
    if predicted:
        drawn += " Hollow: predicted without these shots, 95 %."
    axes.set_title(drawn, loc="left", fontsize=9.5, color=INK)
    _plain(axes)


def _draw_shots(axes: "Axes", place: int, setup: SetupShots, quantity: str, colour: str) -> None:
    for shot in setup.shots:
        value = figure(shot, quantity)
        if value is None:
            continue
        filled = shot.quality is Quality.GOOD
        axes.plot(
            value, place - 0.24, marker="o", ms=5.5, mfc=colour if filled else "none", mec=colour,
            mew=1.2, ls="none", zorder=4,
        )  # fmt: skip


def _draw_landings(axes: "Axes", comparison: Comparison) -> None:
    """Draw the landings from above with the regions of the next one."""
    for place, summary in enumerate(comparison.summaries):
        landing = summary.landing
        if landing is None:
            continue
        colour, mark = _look(place)
        axes.plot(
            landing.points[:, 0], landing.points[:, 1], mark, color=colour, ms=5, label=summary.name
        )
        for region, style in ((landing.half, "-"), (landing.most, (0, (4, 3)))):
            outline = region.outline()
            axes.plot(outline[:, 0], outline[:, 1], color=colour, ls=style, lw=1.3)
    axes.axhline(0.0, color=FAINT, lw=0.8, zorder=0)
    axes.set_aspect("equal", adjustable="datalim")
    axes.set_xlabel("along the firing line, m", color=INK)
    axes.set_ylabel("across, m\n(left is up)", color=INK)
    axes.set_title(
        "Landings from above. The full line holds the next shot with 50 %, the dashed with 95 %.",
        loc="left",
        fontsize=9.5,
        color=INK,
    )
    axes.legend(frameon=False, fontsize=9, loc="upper left", labelcolor=INK)
    _plain(axes)


def _look(place: int) -> tuple[str, str]:
    return COLOURS[place % len(COLOURS)], MARKS[place % len(MARKS)]


def _label(summary: Summary) -> str:
    shots = {0: "no shots", 1: "1 shot"}.get(summary.used, f"{summary.used} shots")
    return f"{summary.name}\n{shots}"


def _plain(axes: "Axes") -> None:
    axes.set_facecolor(PAPER)
    axes.grid(axis="x", color=FAINT, alpha=0.35, lw=0.6)
    axes.tick_params(colors=INK, labelsize=9.5)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(FAINT)
