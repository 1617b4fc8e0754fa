"""One flight as an overlay needs it: its path in the frame over time, and its events."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.ground import LEVEL, Ground
from tracker.records import Quality, Shot, TrackPoint
from tracker.report.document.curves import rest_of
from tracker.report.rounding import with_uncertainty

Array = NDArray[np.float64]

FEWEST_PLACES = 2
"""Places without which there is no path."""


@dataclass(frozen=True)
class Event:
    """A moment of a flight: its sign, its words, its place in the frame, its time, s."""

    sign: str
    words: str
    pixel: tuple[float, float]
    time_s: float


@dataclass(frozen=True)
class OverlayFlight:
    """One flight.

    Attributes
    ----------
    name : str
        Which shot it is.
    times_s : ndarray, shape (N,)
        True times from the clip's first frame.
    pixels : ndarray, shape (N, 2)
        The fitted path, release first and landing last as far as they are known.
    seen_s : ndarray, shape (M,)
        Times of the places that the fit used.
    seen_px : ndarray, shape (M, 2)
    events : tuple of Event
        Release, apex and landing, as far as they are in the frame.
    """

    name: str
    times_s: Array
    pixels: Array
    seen_s: Array
    seen_px: Array
    events: tuple[Event, ...]


def flight_of(
    shot: Shot,
    points: Sequence[TrackPoint],
    release_s: float,
    camera: Camera | None = None,
    ground: Ground = LEVEL,
) -> OverlayFlight | None:
    """Return a flight from its row and its places; None for a rejected row or too few places.

    Parameters
    ----------
    shot : Shot
    points : sequence of TrackPoint
        In order of time.
    release_s : float
        True time of the release from the clip's first frame.
    camera : Camera, optional
        With it the flight goes on from its last place to the landing.
    ground : Ground
        Where it lands.
    """
    known = [point for point in points if np.isfinite(point.residual_column_px)]
    if shot.quality is Quality.REJECTED or len(known) < FEWEST_PLACES:
        return None
    times = np.array([point.time_s for point in known])
    pixels = np.array([_fitted(point) for point in known])
    times, pixels = _from_release(times, pixels, release_s)
    landing_s = None if shot.flight_time_s is None else release_s + shot.flight_time_s
    if camera is not None and landing_s is not None:
        times, pixels = _to_landing(shot, known, (times, pixels, landing_s), camera, ground)
    used = [point for point in known if point.used]
    return OverlayFlight(
        name=f"shot {shot.shot}, {shot.setup}" if shot.setup else f"shot {shot.shot}",
        times_s=times,
        pixels=pixels,
        seen_s=np.array([point.time_s for point in used]),
        seen_px=np.array([(point.column_px, point.row_px) for point in used]).reshape(-1, 2),
        events=_events(shot, known, (times, pixels), landing_s),
    )


def _fitted(point: TrackPoint) -> tuple[float, float]:
    """Return where the fitted flight is at a place: the place less its residual."""
    return (
        point.column_px - point.residual_column_px,
        point.row_px - point.residual_row_px,
    )


def _from_release(times: Array, pixels: Array, release_s: float) -> tuple[Array, Array]:
    """Return the path with its release, a straight line before the first two places."""
    if release_s >= times[0]:
        return times, pixels
    rate = (pixels[1] - pixels[0]) / (times[1] - times[0])
    start = pixels[0] - rate * (times[0] - release_s)
    return np.concatenate([[release_s], times]), np.vstack([start, pixels])


def _to_landing(
    shot: Shot,
    points: Sequence[TrackPoint],
    path: tuple[Array, Array, float],
    camera: Camera,
    ground: Ground,
) -> tuple[Array, Array]:
    """Return the path continued from the last place to the landing."""
    times, pixels, landing_s = path
    last = points[-1]
    if shot.landing_along_m is None or landing_s <= times[-1] or not np.isfinite(last.up_m):
        return times, pixels
    places = [(point.along_m, point.up_m) for point in points if np.isfinite(point.up_m)]
    rest = np.array(rest_of(places, shot.landing_along_m, ground.rise_along))
    if not len(rest):
        return times, pixels
    share = (rest[:, 0] - rest[0, 0]) / (rest[-1, 0] - rest[0, 0])
    end = shot.landing_across_m if shot.landing_across_m is not None else last.across_m
    across = last.across_m + share * (end - last.across_m)
    more = camera.project(np.column_stack([rest[:, 0], across, rest[:, 1]]))[1:]
    when = times[-1] + share[1:] * (landing_s - times[-1])
    return np.concatenate([times, when]), np.vstack([pixels, more])


def _events(
    shot: Shot,
    points: Sequence[TrackPoint],
    path: tuple[Array, Array],
    landing_s: float | None,
) -> tuple[Event, ...]:
    """Return release, apex and landing, each when and where it becomes known."""
    times, pixels = path
    speed = with_uncertainty(shot.exit_speed_mps, shot.exit_speed_u_mps)
    angle = with_uncertainty(shot.launch_angle_deg, shot.launch_angle_u_deg)
    found = [Event("release", f"{speed} m/s at {angle}°", _at(pixels[0]), float(times[0]))]
    ups = np.array([point.up_m for point in points])
    top = int(np.nanargmax(ups)) if np.isfinite(ups).any() else 0
    if 0 < top < len(points) - 1:
        apex = with_uncertainty(shot.apex_m, shot.apex_u_m)
        point = points[top]
        found.append(Event("apex", f"apex {apex} m", _fitted(point), point.time_s))
    if landing_s is not None and shot.carry_m is not None:
        carry = with_uncertainty(shot.carry_m, shot.carry_u_m)
        found.append(Event("landing", f"carry {carry} m", _at(pixels[-1]), landing_s))
    return tuple(found)


def _at(pixel: Array) -> tuple[float, float]:
    return float(pixel[0]), float(pixel[1])
