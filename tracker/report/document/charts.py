"""The charts of a report, each from finished facts."""

from collections.abc import Mapping, Sequence
from math import isfinite
from operator import itemgetter

from markupsafe import Markup

from tracker.comparison.compare import Comparison, Verdict
from tracker.comparison.setups import SetupShots, Summary
from tracker.comparison.words import WORDINGS
from tracker.records import Quality
from tracker.report.axes import Scale, label, scale_over
from tracker.report.document.facts import Curve
from tracker.report.document.svg import MARKS, Point, SvgDrawing

WIDTH = 760.0
"""Width of a chart in its own units, of which a letter is 13 high; a matter of looks."""
LEFT, RIGHT, BELOW = 56.0, 14.0, 44.0
"""Room for numbers at the left, half a number at the right, numbers and words below."""
ABOVE = 28.0
"""Room over a map, whose marks may lie anywhere: the words of its upright scale stand there."""
VAST = 1.5
"""A region wider than this many times all shots together is cut off; a matter of looks."""
ROW = 62.0
"""Height of a setup's row."""
SHARE = 44.0
"""Height of a share's name and bar."""
LOOKS = 8
"""Colours that the page has for setups; with the shapes they repeat after 24 setups."""
SHAPES = ("circle", *MARKS)
DASHES = 4
"""Dashes that the page has for the flights of setups, the full line among them."""
LEAST_M = 10.0
"""Length along that a map of landings without regions shows at least, m: closer up, two or three
shots would fill a page; a matter of looks."""


def look(place: int) -> tuple[str, str]:
    """Return colour class and shape of a setup by its place."""
    return f"s{place % LOOKS}", SHAPES[place % len(SHAPES)]


def swatch(place: int) -> Markup:
    """Return a setup's mark alone, for keys and tables."""
    colour, shape = look(place)
    drawing = SvgDrawing(14.0, 14.0, "mark")
    drawing.mark(shape, (7.0, 7.0), f"fill {colour}", 4.6)
    return drawing.markup()


def line_of(place: int) -> str:
    """Return the classes of a setup's line by its place: setups differ in dashes as in colour."""
    return f"path {look(place)[0]} d{place % DASHES}"


def line_swatch(place: int) -> Markup:
    """Return a setup's line with its mark, for the key of the flights."""
    colour, shape = look(place)
    drawing = SvgDrawing(50.0, 14.0, "line", "line")
    drawing.line([(0.0, 7.0), (50.0, 7.0)], line_of(place))
    drawing.mark(shape, (25.0, 7.0), f"fill {colour}", 4.6)
    return drawing.markup()


def strips(comparison: Comparison, setups: Sequence[SetupShots]) -> Markup:
    """Draw a row for each setup: its shots, its mean, the span of its next shot."""
    wording = WORDINGS[comparison.quantity]
    every = (setup.figures(comparison.quantity).tolist() for setup in setups)
    values = [value for each in every for value in each if isfinite(value)]
    for summary in comparison.summaries:
        if summary.next_shot is not None:
            values += summary.next_shot.interval(comparison.level)
        if summary.name in comparison.expected:
            values += comparison.expected[summary.name].interval(comparison.level)
    height = ROW * len(setups) + BELOW
    drawing = SvgDrawing(WIDTH, height, f"{wording.noun} of every shot, by setup")
    across = scale_over(values, LEFT, WIDTH - RIGHT)
    grid_across(drawing, across, (8.0, height - BELOW), f"{wording.noun}, {wording.unit}")
    for place, (setup, summary) in enumerate(zip(setups, comparison.summaries, strict=True)):
        top = ROW * place
        drawing.text((LEFT, top + 17.0), _named(summary), "label halo")
        _strip(drawing, across, top + 40.0, (place, setup, summary), comparison)
    return drawing.markup()


def _strip(
    drawing: SvgDrawing,
    across: Scale,
    middle: float,
    row: tuple[int, SetupShots, Summary],
    comparison: Comparison,
) -> None:
    place, setup, summary = row
    colour, shape = look(place)
    if summary.next_shot is not None and summary.mean is not None:
        low, high = (across.at(end) for end in summary.next_shot.interval(comparison.level))
        drawing.line([(low, middle + 9), (high, middle + 9)], f"thin {colour}")
        half = summary.mean.expanded(comparison.level)
        ends = [across.at(summary.mean.value + side * half) for side in (-1.0, 1.0)]
        drawing.line([(ends[0], middle + 9), (ends[1], middle + 9)], f"thick {colour}")
    expected = comparison.expected.get(summary.name)
    if expected is not None:
        ends = [across.at(end) for end in expected.interval(comparison.level)]
        drawing.line([(ends[0], middle + 9), (ends[1], middle + 9)], f"thin dashed {colour}")
        drawing.mark("diamond", (across.at(expected.value), middle + 9), f"open {colour}")
    figures = setup.figures(comparison.quantity).tolist()
    for shot, value in zip(setup.shots, figures, strict=True):
        if isfinite(value):
            drawing.mark(shape, (across.at(value), middle - 6), _filled(shot.quality, colour))


def agreement(verdicts: Sequence[Verdict], quantity: str, places: Mapping[str, int]) -> Markup:
    """Draw measured means above what was predicted of the same setups."""
    wording = WORDINGS[quantity]
    values = [
        each.value + side * each.expanded()
        for verdict in verdicts
        for each in (verdict.measured, verdict.predicted)
        for side in (-1.0, 1.0)
    ]
    height = ROW * len(verdicts) + BELOW
    drawing = SvgDrawing(WIDTH, height, f"{wording.noun}, measured and predicted, by setup")
    across = scale_over(values, LEFT, WIDTH - RIGHT)
    grid_across(drawing, across, (8.0, height - BELOW), f"{wording.noun}, {wording.unit}")
    for row, verdict in enumerate(verdicts):
        top = ROW * row
        colour, shape = look(places[verdict.name])
        drawing.text((LEFT, top + 17.0), verdict.name, "label halo")
        for each, down, fill in (
            (verdict.measured, 30.0, "fill"),
            (verdict.predicted, 45.0, "open"),
        ):
            half = each.expanded()
            ends = [across.at(each.value + side * half) for side in (-1.0, 1.0)]
            dash = "" if fill == "fill" else " dashed"
            drawing.line([(end, top + down) for end in ends], f"thin {colour}{dash}")
            drawing.mark(shape, (across.at(each.value), top + down), f"{fill} {colour}")
    return drawing.markup()


def trajectories(curves: Sequence[Curve], places: Mapping[str, int]) -> Markup:
    """Draw every flight from the side, along to the right and up upwards, true to scale.

    Setups differ in colour, in dashes, and in the mark where a flight is highest.
    """
    points = [point for curve in curves for point in (*curve.seen, *curve.rest)]
    alongs = [along for along, _ in points]
    across = scale_over([0.0, *alongs], LEFT, WIDTH - RIGHT)
    # A flight over ground that falls away ends below the level of the origin.
    lowest = min((up for _, up in points if up < 0.0), default=0.0)
    highest = max((up for _, up in points), default=1.0)
    per_metre = (across.end - across.start) / (across.high - across.low)
    tall = max(60.0, per_metre * (1.12 * max(highest, 0.5) - lowest))
    drawing = SvgDrawing(WIDTH, tall + BELOW + 8.0, "flights from the side")
    upward = Scale(lowest, lowest + tall / per_metre, tall + 8.0, 8.0)
    grid_across(drawing, across, (8.0, tall + 8.0), "along the firing line, m")
    grid_up(drawing, upward, (LEFT, WIDTH - RIGHT), "up, m")
    for curve in curves:
        line = line_of(places[curve.setup])
        path = [(across.at(along), upward.at(up)) for along, up in curve.seen]
        drawing.line(path, line)
        if curve.rest:
            rest = [(across.at(along), upward.at(up)) for along, up in curve.rest]
            drawing.line(rest, f"{line} rest")
    for curve in curves:
        colour, shape = look(places[curve.setup])
        along, up = max((*curve.seen, *curve.rest), key=itemgetter(1))
        drawing.mark(shape, (across.at(along), upward.at(up)), f"fill {colour}", 4.0)
    return drawing.markup()


def landing_map(comparison: Comparison, setups: Sequence[SetupShots]) -> Markup:
    """Draw the landings from above, along to the right and left upwards, true to scale."""
    points, outlines = _landed(comparison, setups)
    # A region of few shots may reach beyond any field: the map holds the shots and half regions.
    every = [at for _, at, _ in points]
    every += [at for _, outline, style in outlines if not style for at in outline]
    most = VAST * _span(every)
    every += [at for _, outline, _ in outlines if _span(outline) <= most for at in outline]
    if not every:
        return Markup("")
    alongs = [along for along, _ in every]
    if not outlines:
        middle = 0.5 * (min(alongs) + max(alongs))
        alongs += [middle - 0.5 * LEAST_M, middle + 0.5 * LEAST_M]
    across = scale_over(alongs, LEFT, WIDTH - RIGHT)
    side = scale_over([0.0, *(left for _, left in every)], 0.0, 1.0)
    per_metre = (across.end - across.start) / (across.high - across.low)
    tall = per_metre * (side.high - side.low)
    if tall > WIDTH * 0.75:
        # Landings more across than along: the map is as tall as it may be, and less wide.
        per_metre *= WIDTH * 0.75 / tall
        tall = WIDTH * 0.75
        across = Scale(across.low, across.low + (across.end - LEFT) / per_metre, LEFT, across.end)
    tall = max(tall, 90.0)
    drawing = SvgDrawing(WIDTH, ABOVE + tall + BELOW, "landings from above")
    middle = 0.5 * (side.low + side.high)
    half = 0.5 * tall / per_metre
    leftward = Scale(middle - half, middle + half, ABOVE + tall, ABOVE)
    grid_across(drawing, across, (ABOVE, ABOVE + tall), "landing along the firing line, m")
    grid_up(drawing, leftward, (LEFT, WIDTH - RIGHT), "across, m (left is up)")
    for place, outline, style in outlines:
        line = [(across.at(along), leftward.at(left)) for along, left in (*outline, outline[0])]
        for run in within(line, (LEFT, ABOVE), (WIDTH - RIGHT, ABOVE + tall)):
            drawing.line(run, f"thin {style} {look(place)[0]}")
    for place, (along, left), quality in points:
        colour, shape = look(place)
        drawing.mark(shape, (across.at(along), leftward.at(left)), _filled(quality, colour))
    return drawing.markup()


def _landed(
    comparison: Comparison, setups: Sequence[SetupShots]
) -> tuple[
    list[tuple[int, tuple[float, float], Quality]],
    list[tuple[int, list[tuple[float, float]], str]],
]:
    """Return every landing and every region of the next one, by the place of its setup."""
    points, outlines = [], []
    for place, (setup, summary) in enumerate(zip(setups, comparison.summaries, strict=True)):
        ends = (setup.figures(f"landing_{way}_m").tolist() for way in ("along", "across"))
        for shot, along, left in zip(setup.shots, *ends, strict=True):
            if isfinite(along) and isfinite(left):
                points.append((place, (along, left), shot.quality))
        if summary.landing is not None:
            for region, style in ((summary.landing.half, ""), (summary.landing.most, "dashed")):
                outline = [(float(x), float(y)) for x, y in region.outline()]
                outlines.append((place, outline, style))
    return points, outlines


def _span(points: Sequence[Point]) -> float:
    """Return the greater of the widths of points along and across."""
    return max((max(each) - min(each) for each in zip(*points, strict=True)), default=0.0)


def within(line: Sequence[Point], low: Point, high: Point) -> list[list[Point]]:
    """Return the parts of a line that lie within a rectangle, point by point."""
    runs: list[list[Point]] = [[]]
    for x, y in line:
        if low[0] <= x <= high[0] and low[1] <= y <= high[1]:
            runs[-1].append((x, y))
        elif runs[-1]:
            runs.append([])
    return [run for run in runs if len(run) > 1]


def shares(parts: Sequence[tuple[str, float]], title: str) -> Markup:
    """Draw shares of a variance as bars below their names and percentages, the largest first.

    So a narrow screen shows both, and no name is cut.
    """
    drawing = SvgDrawing(WIDTH, SHARE * len(parts), title)
    widest = max((share for _, share in parts), default=1.0)
    for row, (name, share) in enumerate(parts):
        top = SHARE * row
        drawing.text((0.0, top + 20.0), f"{name}, {100.0 * share:.0f} %", "label")
        drawing.box((0.0, top + 27.0), (WIDTH * share / widest, 9.0), "bar")
    return drawing.markup()


def _named(summary: Summary) -> str:
    count = {0: "no shots", 1: "1 shot"}.get(summary.used, f"{summary.used} shots")
    return f"{summary.name}, {count}"


def _filled(quality: Quality, colour: str) -> str:
    return f"{'fill' if quality is Quality.GOOD else 'open'} {colour}"


def grid_across(drawing: SvgDrawing, scale: Scale, span: tuple[float, float], words: str) -> None:
    """Draw lines at the ticks of a level scale between two heights, with numbers below."""
    ticks = scale.ticks()
    step = ticks[1] - ticks[0] if len(ticks) > 1 else 1.0
    for tick in ticks:
        at = scale.at(tick)
        drawing.line([(at, span[0]), (at, span[1])], "grid")
        drawing.text((at, span[1] + 16.0), label(tick, step), "number", "middle")
    drawing.line([(scale.start, span[1]), (scale.end, span[1])], "rule")
    drawing.text((0.5 * (scale.start + scale.end), span[1] + 35.0), words, "number", "middle")


def grid_up(drawing: SvgDrawing, scale: Scale, span: tuple[float, float], words: str) -> None:
    """Draw lines at the ticks of an upright scale between two columns, with numbers at the left."""
    ticks = scale.ticks(max(2, round((scale.start - scale.end) / 45.0)))
    step = ticks[1] - ticks[0] if len(ticks) > 1 else 1.0
    for tick in ticks:
        at = scale.at(tick)
        drawing.line([(span[0], at), (span[1], at)], "grid")
        drawing.text((span[0] - 7.0, at + 4.0), label(tick, step), "number", "end")
    drawing.text((span[0] + 4.0, 20.0), words, "number halo")
