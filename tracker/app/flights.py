"""Flights drawn over a frame of their clip."""

from collections.abc import Mapping, Sequence

from nicegui import ui

from tracker.app import parts
from tracker.app.view import View
from tracker.records import TrackPoint

FRAME_PX = 1280
"""Width of a frame behind flights, px: enough for a page, a fifth of the bytes of 4K."""


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
        with drawing:
            for number, points in flights.items():
                used = [point for point in points if point.used]
                if used:
                    _flight(number, used, width)
    return made


def _flight(number: int, points: Sequence[TrackPoint], width: int) -> None:
    """Draw one flight: a line through the ball's places, and its number below the last one."""
    line = " ".join(f"{point.column_px:.1f},{point.row_px:.1f}" for point in points)
    for kind in ("case", "line"):
        ui.element("polyline").props.update({"points": line, "class": kind})
    last, size = points[-1], width / 55
    label = parts.text("text", str(number))
    label.props.update(
        {
            "x": f"{last.column_px:.1f}",
            "y": f"{last.row_px + 1.3 * size:.1f}",
            "font-size": f"{size:.0f}",
            "class": "label",
        }
    )
