"""Flights drawn over a frame of their clip."""

from collections.abc import Mapping, Sequence

from nicegui import ui

from tracker.app import parts
from tracker.app.view import View
from tracker.records import Quality, Shot, TrackPoint
from tracker.report.landing_bar import Spot, fitted_places, landing_bar

FRAME_PX = 1280
"""Width of a frame behind flights, px: enough for a page, a fifth of the bytes of 4K."""
WIDE = 1.3
"""Distance of numbers over the height of their letters: two digits fit. Measured on the page."""


def flights_over_frame(
    view: View,
    clip: int,
    size_px: tuple[int, int],
    flights: Sequence[tuple[Shot, Sequence[TrackPoint]]],
    described: str,
) -> ui.element:
    """Put a clip's first frame with the places of the ball of each flight.

    Parameters
    ----------
    view : View
    clip : int
        Number of the clip in the session, from 0.
    size_px : tuple of int
        Width and height of its frames as shown.
    flights : sequence of (Shot, sequence of TrackPoint)
        Rejected ones are drawn dashed.
    described : str
        What the picture shows, in words.
    """
    width, height = size_px
    with parts.group("over") as made:
        parts.picture(view.frame_address(clip, 0, FRAME_PX), described)
        drawing = ui.element("svg")
        drawing.props.update(
            {"viewBox": f"0 0 {width} {height}", "aria-hidden": "true", "class": "flights"}
        )
        size = width / 55
        with drawing:
            used = {
                shot.shot: places
                for shot, points in flights
                if (places := [point for point in points if point.used])
            }
            for shot, points in flights:
                rejected = shot.quality is Quality.REJECTED
                bar = None if rejected else landing_bar(shot, points)
                _flight(used.get(shot.shot, ()), bar, size, rejected)
            ends = {number: points[-1].column_px for number, points in used.items()}
            columns = spread(ends, WIDE * size, (size, width - size))
            for number, points in used.items():
                _label(str(number), columns[number], points[-1].row_px + 1.3 * size, size)
    return made


def spread(
    columns: Mapping[int, float], gap: float, within: tuple[float, float]
) -> dict[int, float]:
    """Return columns in the same order that lie a gap apart, each as near to its own as may be.

    Those that lie too close together form a group around their common middle.

    Parameters
    ----------
    columns : mapping of int to float
        By the number of the shot, px.
    gap : float
        Least distance, px.
    within : (float, float)
        Columns beyond which nothing is put, px; a group that is wider stands out on the right.
    """
    groups: list[list[int]] = []
    starts: list[float] = []
    for number in sorted(columns, key=lambda each: (columns[each], each)):
        groups.append([number])
        starts.append(columns[number])
        while len(groups) > 1 and starts[-2] + gap * len(groups[-2]) > starts[-1]:
            groups[-2:] = [groups[-2] + groups[-1]]
            middle = sum(columns[each] for each in groups[-1]) / len(groups[-1])
            starts[-2:] = [middle - gap * (len(groups[-1]) - 1) / 2]
        wide = gap * (len(groups[-1]) - 1)
        starts[-1] = max(min(starts[-1], within[1] - wide), within[0])
    return {
        number: start + gap * place
        for group, start in zip(groups, starts, strict=True)
        for place, number in enumerate(group)
    }


def _flight(
    points: Sequence[TrackPoint], bar: tuple[Spot, Spot] | None, size: float, rejected: bool
) -> None:
    """Draw the fitted line, the measured places over it, and the landing with its uncertainty."""
    line = " ".join(f"{column:.1f},{row:.1f}" for column, row in fitted_places(points))
    dots = "".join(f"M{point.column_px:.1f} {point.row_px:.1f}h0" for point in points)
    shapes = [("polyline", "line", "points", line), ("path", "dots", "d", dots)]
    if bar is not None:
        shapes.append(("path", "landing", "d", _barred(bar, size / 4)))
    for tag, kind, name, drawn in shapes:
        for each in ("case " + kind.replace("line", "under"), kind):
            of = f"{each} rejected" if rejected else each
            ui.element(tag).props.update({name: drawn, "class": of})


def _barred(bar: tuple[Spot, Spot], half: float) -> str:
    """Return a bar with a stroke across at each end, as SVG path data."""
    (left, near), (right, far) = bar
    across = "".join(f"M{x:.1f} {y - half:.1f}v{2 * half:.1f}" for x, y in bar)
    return f"M{left:.1f} {near:.1f}L{right:.1f} {far:.1f}{across}"


def _label(words: str, column: float, row: float, size: float) -> None:
    """Draw the number of a shot."""
    label = parts.text("text", words)
    label.props.update(
        {"x": f"{column:.1f}", "y": f"{row:.1f}", "font-size": f"{size:.0f}", "class": "label"}
    )
