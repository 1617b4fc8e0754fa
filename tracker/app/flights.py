"""Flights drawn over a frame of their clip."""

import math
from collections.abc import Mapping, Sequence

from nicegui import ui

from tracker.app import parts
from tracker.app.view import View
from tracker.records import Quality, Shot, TrackPoint

Spot = tuple[float, float]

FRAME_PX = 1280
"""Width of a frame behind flights, px: enough for a page, a fifth of the bytes of 4K."""
WIDE = 1.3
"""Distance of numbers over the height of their letters: two digits fit. Measured on the page."""
FEWEST_PLACES = 8
"""Places from which the picture's perspective is taken: twice as many as its eight numbers need.
Common practice, no source."""
NEAR_LANDING = 0.15
"""Share of the flight, along, that may be unseen before its landing. Common practice, no source."""


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


def fitted_places(points: Sequence[TrackPoint]) -> list[Spot]:
    """Return where the fitted flight is at each place: the place less its residual, px."""
    return [
        (point.column_px - point.residual_column_px, point.row_px - point.residual_row_px)
        for point in points
        if math.isfinite(point.residual_column_px) and math.isfinite(point.residual_row_px)
    ]


def landing_bar(shot: Shot, points: Sequence[TrackPoint]) -> tuple[Spot, Spot] | None:
    """Return where the landing lies less and plus one standard uncertainty along, px.

    The flight lies in an upright plane, which the picture shows in perspective: its eight numbers
    are fitted to the places (direct linear transformation). None where the ball was not seen near
    its landing, or too few places are known.

    Parameters
    ----------
    shot : Shot
    points : sequence of TrackPoint
        Of the shot, in order of time.
    """
    import numpy as np

    along, u = shot.landing_along_m, shot.landing_along_u_m
    known = [point for point in points if math.isfinite(point.along_m + point.residual_row_px)]
    if along is None or u is None or len(known) < FEWEST_PLACES:
        return None
    if abs(along - known[-1].along_m) > NEAR_LANDING * abs(along - known[0].along_m):
        return None
    pixels = np.array(fitted_places(known))
    centre, spread = pixels.mean(axis=0), float(pixels.std())
    scaled = (pixels - centre) / spread
    plane = np.array([(1.0, point.along_m - along, point.up_m) for point in known])
    none = np.zeros_like(plane)
    upper = np.hstack([plane, none, -scaled[:, :1] * plane[:, 1:]])
    lower = np.hstack([none, plane, -scaled[:, 1:] * plane[:, 1:]])
    fitted, *_ = np.linalg.lstsq(np.vstack([upper, lower]), scaled.T.ravel(), rcond=None)
    at = [
        centre + spread * (fitted[[0, 3]] + by * fitted[[1, 4]]) / (1.0 + by * fitted[6])
        for by in (-u, u)
    ]
    (left, near), (right, far) = (each.tolist() for each in at)
    return (left, near), (right, far)


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
