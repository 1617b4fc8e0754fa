"""What can be had from one stand, for a person: figures, the ball at three moments, limits."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from tracker.fitting import FIGURES, ExpectedFlight, circumstances_of, expected_flight
from tracker.fitting.budget import budget_of
from tracker.flight.events import apex
from tracker.records import Budget
from tracker.vantage.judging import Judgement
from tracker.vantage.shots import SAMPLES, ExpectedShots, velocity
from tracker.vantage.stand import Stand
from tracker.vantage.view import margins, placed, view_of

Array = NDArray[np.float64]

MOMENTS = ("release", "apex", "landing")

FASTEST_MPS = 60.0
"""The search for the fastest shot in view ends here, m/s: no home-built launcher reaches it (common
practice, no source)."""

SPEED_STEP_MPS = 0.25
"""Resolution of that search, m/s: finer than any launcher repeats (common practice, no source)."""


@dataclass(frozen=True)
class Moment:
    """The ball at one moment of the expected flight, as the camera will show it.

    Attributes
    ----------
    name : str
        One of `MOMENTS`.
    pixel : ndarray, shape (2,)
        NaN where it is not in front of the camera.
    margin_px : float
        From the ball's rim to the nearest edge of the frame; negative outside.
    worst_margin_px : float
        Smallest of those of all expected shots.
    diameter_px, step_px, streak_px : float
        Width, path from one frame to the next, path while the shutter is open.
    direction : ndarray, shape (2,)
        Of its motion in the frame, of unit length.
    place_u_px : float
        Standard uncertainty of one measured position; NaN outside the frame.
    snr : float
        Contrast over its standard deviation; NaN outside the frame.
    """

    name: str
    pixel: Array
    margin_px: float
    worst_margin_px: float
    diameter_px: float
    step_px: float
    streak_px: float
    direction: Array
    place_u_px: float
    snr: float


@dataclass(frozen=True)
class Forecast:
    """What can be had from one stand.

    Attributes
    ----------
    values, u : mapping
        By figure the expected value, and the standard uncertainty of its measurement.
    budget : Budget
        That uncertainty by source.
    moments : tuple of Moment
    frames_seen, frames_flown : int
        Frames that show the ball, and frames of the whole flight.
    margin_px : float
        Smallest margin of any point of any expected shot; negative where some are out of view.
    fastest_mps : float or None
        Exit speed up to which the whole flight stays in view; None where none does.
    shutter_s : float
        Assumed here.
    longest_shutter_s : float
        Beyond it the streak of the fastest ball is longer than the ball is wide.
    camera : Camera
        With the covariance that its calibration will have.
    """

    values: Mapping[str, float]
    u: Mapping[str, float]
    budget: Budget
    moments: tuple[Moment, ...]
    frames_seen: int
    frames_flown: int
    margin_px: float
    fastest_mps: float | None
    shutter_s: float
    longest_shutter_s: float
    camera: Camera


def forecast(stand: Stand, shots: ExpectedShots, judged: Judgement) -> Forecast:
    """Return what a stand gives, from its judgement."""
    flight, view = shots.flight, judged.view
    speeds = np.linalg.norm(view.motion_px[view.inside], axis=1)
    return Forecast(
        values=dict(zip(FIGURES, flight.figures.values.tolist(), strict=True)),
        u=judged.u,
        budget=budget_of(judged.circumstances, judged.fitted, flight.figures),
        moments=_moments(stand, judged.camera, shots),
        frames_seen=int(np.sum(view.inside)),
        frames_flown=len(view.inside),
        margin_px=judged.margin_px,
        fastest_mps=_fastest(judged.camera, shots, stand),
        shutter_s=stand.shutter_s,
        longest_shutter_s=float(np.min(view.diameters_px[view.inside] / speeds)),
        camera=judged.camera,
    )


def _moments(stand: Stand, camera: Camera, shots: ExpectedShots) -> tuple[Moment, ...]:
    flights = (shots.flight, *shots.others)
    times = np.array([[0.0, _apex_s(flight), flight.landing_s] for flight in flights])
    views = [
        view_of(stand, camera, flight, when, rows=False)
        for flight, when in zip(flights, times, strict=True)
    ]
    worst = np.min([each.margins_px for each in views], axis=0)
    middle = views[0]
    speeds = np.linalg.norm(middle.motion_px, axis=1)
    place_u, snr = np.full(3, np.nan), np.full(3, np.nan)
    if np.any(middle.inside):
        found = placed(stand, middle)
        place_u[middle.inside] = np.sqrt(np.trace(found.covariances, axis1=1, axis2=2) / 2.0)
        snr[middle.inside] = found.snr
    return tuple(
        Moment(
            name=name,
            pixel=middle.pixels[i],
            margin_px=float(middle.margins_px[i]),
            worst_margin_px=float(worst[i]),
            diameter_px=float(middle.diameters_px[i]),
            step_px=float(speeds[i] / stand.fps),
            streak_px=float(speeds[i] * stand.shutter_s),
            direction=middle.motion_px[i] / max(float(speeds[i]), 1e-9),
            place_u_px=float(place_u[i]),
            snr=float(snr[i]),
        )
        for i, name in enumerate(MOMENTS)
    )


def _apex_s(flight: ExpectedFlight) -> float:
    top = apex(flight.trajectory)
    return 0.0 if top is None else top.time_s


def _fastest(camera: Camera, shots: ExpectedShots, stand: Stand) -> float | None:
    """Return the exit speed up to which the whole flight is in view, at the expected angles."""
    known = circumstances_of(camera, stand.conditions)

    def stays(speed_mps: float) -> bool:
        flight = expected_flight(
            known, velocity(speed_mps, shots.angle_deg.value, shots.azimuth_deg.value)
        )
        if flight is None:
            return False
        places = flight.states(np.linspace(0.0, flight.landing_s, SAMPLES))[:, :3]
        return bool(margins(camera, places).min() > 0.0)

    expected = shots.speed_mps.value
    if not stays(expected):
        return None
    low, high = expected, FASTEST_MPS
    if stays(high):
        return high
    while high - low > SPEED_STEP_MPS:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if stays(middle) else (low, middle)
    return low
