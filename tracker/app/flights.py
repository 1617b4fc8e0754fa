"""Flights drawn over a frame of their clip."""

from collections.abc import Mapping, Sequence

from nicegui import ui

from tracker.app import parts
from tracker.app.view import View
from tracker.records import TrackPoint

FRAME_PX = 1280
"""Width of a frame behind flights, px: enough for a page, a fifth of the bytes of 4K."""
WIDE = 1.3
"""Distance of numbers over the height of their letters: two digits fit. Measured on the page."""


def flights_over_frame(
    view: View,
    clip: int,
    size_px: tuple[int, int],
    flights: Mapping[int, Sequence[TrackPoint]],
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
    flights : mapping of int to sequence of TrackPoint
        By the number of the shot.
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
                number: places
                for number, points in flights.items()
                if (places := [point for point in points if point.used])
            }
            for points in used.values():
                _flight(points)
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


def _flight(points: Sequence[TrackPoint]) -> None:
    """Draw a line through the ball's places."""
    line = " ".join(f"{point.column_px:.1f},{point.row_px:.1f}" for point in points)
    for kind in ("case", "line"):
        ui.element("polyline").props.update({"points": line, "class": kind})


def _label(words: str, column: float, row: float, size: float) -> None:
    """Draw the number of a shot."""
    label = parts.text("text", words)
    label.props.update(
        {"x": f"{column:.1f}", "y": f"{row:.1f}", "font-size": f"{size:.0f}", "class": "label"}
    )
