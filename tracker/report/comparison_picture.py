"""One picture of a comparison: every shot, every mean, where the shots came down."""

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from tracker.comparison.compare import Comparison
from tracker.comparison.setups import SetupShots, Summary
from tracker.comparison.words import WORDINGS
from tracker.records import Quality, cells_of
from tracker.report.look import FAINT, INK, PAPER

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D

COLOURS = ("#1f5f8b", "#b35c00", "#2c6e49", "#7a3b8f", "#a3243b", "#5b5b2e", "#246b73", "#6d4c41")
MARKS = ("o", "s", "^", "D", "v", "P", "X", "*")
"""Setups differ in shape as well as in colour."""

DASHES = (0, (4, 3))
"""A dash of four line widths, a gap of three."""
PREDICTED: dict[str, Any] = {
    "fmt": "d", "mfc": PAPER, "color": FAINT, "ms": 6, "lw": 1.2, "capsize": 3,
}  # fmt: skip
LANDED = ("landing_along_m", "landing_across_m")

DOTS_PER_INCH = 130
"""Sharp on a screen and in print at half the page's width (common practice, no source)."""


LINE, ROOM = 150, 9
"""Letters of a line of a key, and what a mark with its gap takes of them (measured)."""


def comparison_picture(comparison: Comparison, setups: Sequence[SetupShots]) -> bytes:
    """Return a PNG of a comparison.

    Parameters
    ----------
    comparison : Comparison
    setups : sequence of SetupShots
        What it was made from, in the same order.
    """
    return png_of(comparison_sheet(comparison, setups))


def comparison_sheet(comparison: Comparison, setups: Sequence[SetupShots]) -> "Figure":
    """Return the figure of a comparison: setups in rows, and their landings from above."""
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
        _draw_landings(lower, comparison, setups)
    else:
        upper = sheet.subplots()
    _draw_strips(upper, comparison, setups)
    return sheet


def png_of(sheet: "Figure") -> bytes:
    """Return a figure as a PNG file that is the same for the same figure."""
    held = io.BytesIO()
    sheet.savefig(held, format="png", dpi=DOTS_PER_INCH, metadata={"Software": None})
    return held.getvalue()


def _draw_strips(axes: "Axes", comparison: Comparison, setups: Sequence[SetupShots]) -> None:
    """Draw a row for each setup: shots, mean with its interval, span of the next shot."""
    wording = WORDINGS[comparison.quantity]
    predicted = {verdict.name: verdict.predicted for verdict in comparison.verdicts}
    predicted |= comparison.expected
    for place, (setup, summary) in enumerate(zip(setups, comparison.summaries, strict=True)):
        _draw_shots(axes, place, setup, comparison.quantity)
        _draw_mean(axes, place, summary, comparison.level)
        if summary.name in predicted:
            value = predicted[summary.name]
            axes.errorbar(
                value.value, place + 0.27, xerr=value.expanded(comparison.level), zorder=2,
                **PREDICTED,
            )  # fmt: skip
    axes.set_yticks(range(len(setups)), [_label(s) for s in comparison.summaries], parse_math=False)
    axes.set_ylim(len(setups) - 0.45, -0.6)
    axes.set_xlabel(f"{wording.noun}, {wording.unit}", color=INK)
    _strips_key(axes, comparison, setups)
    _plain(axes)


def _draw_mean(axes: "Axes", place: int, summary: Summary, level: float) -> None:
    """Draw the mean of a setup with its interval, and the span of its next shot."""
    colour, mark = _look(place)
    if summary.next_shot is not None and summary.mean is not None:
        low, high = summary.next_shot.interval(level)
        axes.plot([low, high], [place, place], color=colour, lw=1.2, alpha=0.6, zorder=2)
        axes.errorbar(
            summary.mean.value, place, xerr=summary.mean.expanded(level), fmt=mark, color=colour,
            ms=8, lw=5, capsize=0, alpha=0.95, zorder=3,
        )  # fmt: skip
    elif summary.used == 0:
        axes.text(
            0.5, place, "no shots", transform=axes.get_yaxis_transform(), color=FAINT,
            ha="center", va="center",
        )  # fmt: skip


def _draw_shots(axes: "Axes", place: int, setup: SetupShots, quantity: str) -> None:
    colour, mark = _look(place)
    values = setup.figures(quantity)
    for good in (False, True):
        mine = values[np.isfinite(values) & (setup.good == good)]
        height = np.full(mine.size, place - 0.24)
        axes.plot(mine, height, zorder=4, **_shot_style(good, colour, mark))


def _shot_style(good: bool, colour: str, mark: str) -> dict[str, Any]:
    """Return how shots are drawn: filled when they are good, open when they are to be checked."""
    face = colour if good else PAPER
    return {"marker": mark, "ms": 6, "mfc": face, "mec": colour, "mew": 1.3, "ls": "none"}


def _strips_key(axes: "Axes", comparison: Comparison, setups: Sequence[SetupShots]) -> None:
    """Name what is drawn, above the rows; only what is there."""
    from matplotlib.lines import Line2D

    share = f"{100.0 * comparison.level:g} %"
    entries = [Line2D([], [], color=INK, marker="o", ms=6, ls="none", label="shot")]
    if any(_open(setup) for setup in setups):
        entries.append(_check_entry())
    if any(summary.mean is not None for summary in comparison.summaries):
        entries.append(Line2D([], [], color=INK, lw=5, label=f"mean, {share}"))
    if any(summary.next_shot is not None for summary in comparison.summaries):
        entries.append(Line2D([], [], color=INK, lw=1.2, label=f"next shot, {share}"))
    if comparison.verdicts or comparison.expected:
        label = f"predicted from other shots, {share}"
        entries.append(
            Line2D([], [], color=FAINT, marker="d", ms=6, mfc=PAPER, lw=1.2, label=label)
        )
    _key(axes, entries)


def _draw_landings(axes: "Axes", comparison: Comparison, setups: Sequence[SetupShots]) -> None:
    """Draw the landings from above with the regions of the next one."""
    from matplotlib.lines import Line2D

    entries = []
    for place, (setup, summary) in enumerate(zip(setups, comparison.summaries, strict=True)):
        landing = summary.landing
        if landing is None:
            continue
        colour, mark = _look(place)
        entries.append(Line2D([], [], color=colour, marker=mark, ms=6, ls="none", label=setup.name))
        names = (comparison.quantity, *LANDED)
        columns = np.column_stack([setup.figures(name) for name in names])
        for good in (False, True):
            shown = columns[np.isfinite(columns).all(axis=1) & (setup.good == good)]
            axes.plot(shown[:, 1], shown[:, 2], **_shot_style(good, colour, mark))
        for region, style in ((landing.half, "-"), (landing.most, DASHES)):
            outline = region.outline()
            axes.plot(outline[:, 0], outline[:, 1], color=colour, ls=style, lw=1.3)
    if any(_open(setup) for setup in setups):
        entries.append(_check_entry())
    entries += [
        Line2D([], [], color=INK, ls="-", lw=1.3, label="half of the next shots"),
        Line2D([], [], color=INK, ls=DASHES, lw=1.3, label="95 % of the next shots"),
    ]
    axes.axhline(0.0, color=FAINT, lw=0.8, zorder=0)
    axes.set_aspect("equal", adjustable="datalim")
    axes.set_xlabel("landing along the firing line, m", color=INK)
    axes.set_ylabel("across, m\n(left is up)", color=INK)
    _key(axes, entries)
    _plain(axes)


def _open(setup: SetupShots) -> bool:
    """Return whether a shot that is drawn is to be checked."""
    return Quality.CHECK in cells_of(setup.shots, "quality")


def _check_entry() -> "Line2D":
    from matplotlib.lines import Line2D

    return Line2D(
        [], [], color=INK, marker="o", ms=6, mfc=PAPER, mew=1.3, ls="none",
        label="shot, to be checked",
    )  # fmt: skip


def _key(axes: "Axes", entries: list["Line2D"]) -> None:
    """Write a key above an area, from its left edge."""
    wide = sum(len(str(entry.get_label())) + ROOM for entry in entries)
    columns = len(entries) if wide <= LINE else 4
    key = axes.legend(
        handles=entries, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=columns, frameon=False,
        fontsize=9.5, labelcolor=INK, borderaxespad=0.2, columnspacing=1.6, handletextpad=0.6,
    )  # fmt: skip
    for text in key.get_texts():
        text.set_parse_math(False)


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
