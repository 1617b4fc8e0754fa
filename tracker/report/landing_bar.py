"""The fitted places of a flight, and its landing with its uncertainty, in pixels of the frame."""

import math
from collections.abc import Sequence

import numpy as np

from tracker.records import Shot, TrackPoint

Spot = tuple[float, float]

FEWEST_PLACES = 8
"""Places from which the picture's perspective is taken: twice as many as its eight numbers need.
Common practice, no source."""
NEAR_LANDING = 0.15
"""Share of the flight, along, that may be unseen before its landing. Common practice, no source."""


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
