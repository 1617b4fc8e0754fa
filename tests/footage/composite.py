"""Balls laid over real plates: painted finely, flown by scipy, projected by OpenCV."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from tests.footage.plates import planes
from tests.footage.views import View
from tests.tracker.drawn_balls import disc
from tests.tracker.thrown_balls import Throw, flown, seen
from tracker.flight.forces import forces_on
from tracker.video import ClipWriter

BALL_LUMA, BALL_CB = 205.0, 78.0
"""A yellow ball in daylight, in video levels."""

EXPOSURE_S = 1.0 / 500.0
SOFT_PX = 0.6

Path3 = Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True)
class Shown:
    """One ball that is laid over a plate.

    Attributes
    ----------
    release_s, end_s : float
        In the clip.
    points : callable
        From seconds since release, shape (N,), to ground coordinates, shape (N, 3).
    radius_m : float
    speed_mps, angle_deg : float
    """

    release_s: float
    end_s: float
    points: Path3
    radius_m: float
    speed_mps: float
    angle_deg: float


def thrown(view: View, throw: Throw, release_s: float) -> Shown:
    """Return a flight through this view's air, integrated by scipy."""
    ball, air = view.request.ball, view.request.air
    radius = ball.diameter_m / 2.0
    path, landed, _ = flown(throw, radius, forces_on(ball, air, view.request.gravity_mps2))
    return Shown(
        release_s,
        release_s + landed,
        lambda times: path(times)[:, :3],
        radius,
        throw.speed_mps,
        throw.angle_deg,
    )


def drawn_throw(rng: np.random.Generator, view: View) -> Throw:
    """Draw a shot of the feeder, its drag within its uncertainty."""
    ball = view.request.ball
    return Throw(
        speed_mps=float(rng.uniform(16.0, 21.0)),
        angle_deg=float(rng.uniform(32.0, 46.0)),
        azimuth_deg=float(rng.normal(0.0, 1.5)),
        drag=float(ball.drag_coefficient + ball.drag_u * np.clip(rng.normal(), -2.0, 2.0)),
        lift=(float(rng.uniform(0.0, 0.04)), 0.0),
        wind_mps=(float(rng.normal(0.0, 0.4)), float(rng.normal(0.0, 0.4))),
        start_m=tuple(view.release_m),
    )


def lay(luma: np.ndarray, cb: np.ndarray, view: View, shown: Shown, time_s: float) -> None:
    """Lay a ball over the planes of one frame, exposed about a moment of the clip."""
    since = time_s - shown.release_s
    if not 0.0 <= since <= shown.end_s - shown.release_s:
        return
    moments = np.clip(since + np.array([-0.5, 0.0, 0.5]) * EXPOSURE_S, 0.0, None)
    points = shown.points(moments)
    depth = float(view.true.in_camera(points[1:2])[0, 2])
    if depth < 1.0:
        return
    first, middle, last = seen(view.true, points)
    width, height = view.true.size_px
    if not (-30 < middle[0] < width + 30 and -30 < middle[1] < height + 30):
        return
    diameter = 2.0 * shown.radius_m * view.true.focal_px / depth
    cover = disc((height, width), middle, diameter, last - first, SOFT_PX)
    luma[:] = np.clip(np.rint(luma + cover * (BALL_LUMA - luma)), 0, 255)
    half = cv2.resize(cover, (cb.shape[1], cb.shape[0]), interpolation=cv2.INTER_AREA)
    cb[:] = np.clip(np.rint(cb + half * (BALL_CB - cb)), 0, 255)


def composited(
    path: Path, plate: str, view: View, shots: Sequence[Shown], fps: float, seconds: float
) -> Path:
    """Write a plate's first seconds with balls laid over it."""
    with ClipWriter(path, view.true.size_px, fps, crf=14, preset="veryfast") as writer:
        for index, (luma, cb) in enumerate(planes(plate, round(seconds * fps))):
            luma, cb = luma.astype(np.float32), cb.astype(np.float32)
            for shown in shots:
                lay(luma, cb, view, shown, index / fps)
            writer.write_luma_chroma(luma.astype(np.uint8), cb.astype(np.uint8))
    return path
