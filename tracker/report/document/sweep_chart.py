"""A chart of what to expect along one number of a setup, with the means that were measured."""

from collections.abc import Sequence

from markupsafe import Markup

from tracker.comparison.what_if import Curve
from tracker.comparison.words import WORDINGS
from tracker.report.axes import Scale, scale_over
from tracker.report.document.charts import BELOW, LEFT, RIGHT, WIDTH, grid_across, grid_up
from tracker.report.document.svg import Point, SvgDrawing
from tracker.report.field_words import axis_label
from tracker.statistics.components import Estimate

TALL = 300.0
"""Height of the chart in its own units; a matter of looks."""

FOOT = 8.0
"""Room above it."""


def sweep_chart(curve: Curve, at: float) -> Markup:
    """Draw a band with its middle, the measured means, and a line where the sliders stand.

    Parameters
    ----------
    curve : Curve
    at : float
        The value that is chosen now.
    """
    wording = WORDINGS[curve.quantity]
    title = f"{wording.noun} along {axis_label(curve.key)}"
    drawing = SvgDrawing(WIDTH, TALL + BELOW + FOOT, title)
    across = scale_over(curve.values, LEFT, WIDTH - RIGHT)
    ends = [end for one in curve.expected if one is not None for end in one.interval()]
    ends += [end for seen in curve.seen for end in seen.mean.interval()]
    up = scale_over([0.0, *ends], TALL + FOOT, FOOT)
    grid_across(drawing, across, (FOOT, TALL + FOOT), axis_label(curve.key))
    grid_up(drawing, up, (LEFT, WIDTH - RIGHT), f"{wording.noun}, {wording.unit}")
    for run in _runs(curve):
        _band(drawing, across, up, run)
    place = across.at(at)
    drawing.line([(place, FOOT), (place, TALL + FOOT)], "thin dashed s1")
    for seen in curve.seen:
        low, high = (up.at(max(end, 0.0)) for end in seen.mean.interval())
        x = across.at(seen.at)
        drawing.line([(x, low), (x, high)], "thin s1")
        drawing.mark("square", (x, up.at(seen.mean.value)), "fill s1")
        late = x > WIDTH * 0.7
        drawing.text(
            (x - 8.0 if late else x + 8.0, up.at(seen.mean.value) + 16.0), seen.name, "label halo",
            "end" if late else "start",
        )  # fmt: skip
    return drawing.markup()


def _runs(curve: Curve) -> list[list[tuple[float, Estimate]]]:
    """Return the parts of a curve along which the ball gets out."""
    runs: list[list[tuple[float, Estimate]]] = [[]]
    for value, one in zip(curve.values, curve.expected, strict=True):
        if one is not None:
            runs[-1].append((value, one))
        elif runs[-1]:
            runs.append([])
    return [run for run in runs if len(run) > 1]


def _band(
    drawing: SvgDrawing, across: Scale, up: Scale, run: Sequence[tuple[float, Estimate]]
) -> None:
    lower: list[Point] = []
    upper: list[Point] = []
    for value, one in run:
        low, high = one.interval()
        lower.append((across.at(value), up.at(max(low, 0.0))))
        upper.append((across.at(value), up.at(high)))
    drawing.area([*lower, *upper[::-1]], "band s0")
    drawing.line([(across.at(v), up.at(one.value)) for v, one in run], "path s0")
