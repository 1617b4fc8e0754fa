"""A flight as a camera shows it: pixels, size, motion and distance from the edge."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.site import visible
from calibration.timebase import row_fraction
from tracker.detection import PositionBound, position_bound
from tracker.fitting import ExpectedFlight, circumstances_of
from tracker.vantage.stand import Stand

Array = NDArray[np.float64]

READOUT_ROUNDS = 3
"""Rounds to find the row in which a moving ball is read; each shrinks the error by the share of the
frame that the ball crosses during the readout."""


@dataclass(frozen=True)
class FlightView:
    """A flight as a camera shows it at some times.

    Attributes
    ----------
    times_s : ndarray, shape (N,)
        From release, of the middle row of the frame that shows each place.
    pixels : ndarray, shape (N, 2)
    row_share : ndarray, shape (N,)
        How far down the readout each place lies, -0.5 to 0.5.
    margins_px : ndarray, shape (N,)
        From the ball's rim to the nearest edge; negative outside, minus infinity where not in
        front of the lens.
    diameters_px : ndarray, shape (N,)
    motion_px : ndarray, shape (N, 2)
        Velocity in the frame, px/s.
    """

    times_s: Array
    pixels: Array
    row_share: Array
    margins_px: Array
    diameters_px: Array
    motion_px: Array

    @property
    def inside(self) -> NDArray[np.bool_]:
        """Whether the frame shows the whole ball, shape (N,)."""
        return self.margins_px > 0.0


def view_of(
    stand: Stand, camera: Camera, flight: ExpectedFlight, times_s: Array, rows: bool = True
) -> FlightView:
    """Return how a camera shows a flight at the times of frames.

    Each row is read at its own time; without `rows`, at the very times that are given.
    """
    share = np.zeros(len(times_s))
    known = circumstances_of(camera, stand.conditions, 1.0 / stand.fps)
    readout = known.readout_s if rows else 0.0
    # A picture taller than wide is a sensor on its side, whose rows are the picture's columns.
    turned = 90 if camera.size_px[1] > camera.size_px[0] else 0
    for _ in range(READOUT_ROUNDS):
        states = flight.states(times_s + readout * share)
        pixels, by_point, _ = camera.project_with_jacobians(states[:, :3])
        share = row_fraction(np.nan_to_num(pixels), camera.size_px, turned)
        share = np.clip(share, -0.5, 0.5)
    depth = camera.in_camera(states[:, :3])[:, 2]
    with np.errstate(invalid="ignore", divide="ignore"):
        diameters = np.where(
            depth > 0, camera.focal_px * stand.conditions.ball.diameter_m / depth, np.nan
        )
    return FlightView(
        times_s,
        pixels,
        share,
        margins(camera, states[:, :3], diameters / 2.0),
        diameters,
        np.einsum("nij,nj->ni", by_point, states[:, 3:6]),
    )


def margins(camera: Camera, points_m: Array, radii_px: Array | float = 0.0) -> Array:
    """Return how far inside the frame points lie, shape (N,), px.

    Parameters
    ----------
    camera : Camera
    points_m : ndarray, shape (N, 3)
    radii_px : ndarray, shape (N,), or float
        Radius of what must be inside as a whole.
    """
    pixels = camera.project(points_m)
    edge = np.array(camera.size_px) - 0.5
    inside = np.minimum((pixels + 0.5).min(axis=1), (edge - pixels).min(axis=1)) - radii_px
    # A strong lens folds far points back into the frame: they do not show there.
    folded = (inside > 0) & ~visible(camera, points_m)
    return np.where(np.isfinite(inside) & ~folded, inside, -np.inf)


def placed(stand: Stand, view: FlightView) -> PositionBound:
    """Return how well the ball is placed in the frames that show it."""
    inside = view.inside
    return position_bound(
        view.diameters_px[inside],
        view.motion_px[inside] * stand.shutter_s,
        stand.contrast,
        stand.noise,
    )
