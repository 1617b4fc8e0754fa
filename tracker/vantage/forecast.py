"""What can be had from one stand."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.errors import InputError
from calibration.site import foreseen, shown
from calibration.timebase import row_fraction
from tracker.detection import Placing, placing
from tracker.fitting import (
    Circumstances,
    ExpectedFlight,
    FittedFlight,
    Instants,
    circumstances_of,
    expected_fit,
    expected_flight,
)
from tracker.fitting.budget import budget_of
from tracker.fitting.figures import FIGURES
from tracker.flight.events import apex
from tracker.report.vantage_facts import Forecast, Moment
from tracker.vantage.expected import SAMPLES, Shots, velocity
from tracker.vantage.stand import Stand, aimed

Array = NDArray[np.float64]

LEAST_FRAMES = 5
"""Fewer sightings are not taken for a shot."""

FASTEST_MPS, SPEED_STEP_MPS = 60.0, 0.25


@dataclass(frozen=True)
class Watched:
    """A flight as a camera sees it at some times.

    Attributes
    ----------
    times_s : ndarray, shape (N,)
        From release, of the middle row of the frame that shows each place.
    pixels : ndarray, shape (N, 2)
    row_share : ndarray, shape (N,)
    margins_px : ndarray, shape (N,)
        From the ball's rim to the nearest edge; negative outside, minus infinity where not in
        front of the lens.
    diameters_px : ndarray, shape (N,)
    motion_px : ndarray, shape (N, 2)
        Way in a second.
    """

    times_s: Array
    pixels: Array
    row_share: Array
    margins_px: Array
    diameters_px: Array
    motion_px: Array


def watch(
    stand: Stand, camera: Camera, flight: ExpectedFlight, times_s: Array, rows: bool = True
) -> Watched:
    """Return how a camera sees a flight at the times of frames.

    Each row is read at its own time; without `rows`, at the very times that are given.
    """
    share = np.zeros(len(times_s))
    readout = circumstances_of(camera, stand.request).readout_s if rows else 0.0
    # A picture taller than wide is a sensor on its side, whose rows are the picture's columns.
    turned = 90 if camera.size_px[1] > camera.size_px[0] else 0
    for _ in range(3):
        states = flight.states(times_s + readout * share)
        pixels, by_point, _ = camera.project_with_jacobians(states[:, :3])
        share = row_fraction(np.nan_to_num(pixels), camera.size_px, turned)
        share = np.clip(share, -0.5, 0.5)
    depth = camera.in_camera(states[:, :3])[:, 2]
    with np.errstate(invalid="ignore", divide="ignore"):
        diameters = np.where(
            depth > 0, camera.focal_px * stand.request.ball.diameter_m / depth, np.nan
        )
    return Watched(
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
        Of what must be inside as a whole.
    """
    pixels = camera.project(points_m)
    edge = np.array(camera.size_px) - 0.5
    inside = np.minimum((pixels + 0.5).min(axis=1), (edge - pixels).min(axis=1)) - radii_px
    # A strong lens folds far points back into the frame: there they are not seen.
    folded = (inside > 0) & ~shown(camera, points_m)
    return np.where(np.isfinite(inside) & ~folded, inside, -np.inf)


@dataclass(frozen=True)
class Judgement:
    """What a stand is worth, without the words.

    Attributes
    ----------
    camera : Camera
        With the covariance that its calibration will have.
    circumstances : Circumstances
    seen : Watched
        The expected flight in every frame.
    fitted : FittedFlight
        As it can be expected to come out.
    u : mapping
        Standard uncertainty by figure.
    margin_px : float
        Least of any place of any expected shot.
    """

    camera: Camera
    circumstances: Circumstances
    seen: Watched
    fitted: FittedFlight
    u: dict[str, float]
    margin_px: float


def judge(stand: Stand, shots: Shots) -> Judgement:
    """Return what a stand is worth for the shots that are expected.

    Raises
    ------
    InputError
        Where too little would be in view to fix the camera or a flight.
    """
    points = shots.points_m
    camera, parts = foreseen(stand.site, aimed(stand, points))
    flight = shots.flight
    frames = np.arange(0.5 / stand.fps, flight.landing_s, 1.0 / stand.fps)
    seen = watch(stand, camera, flight, frames)
    inside = seen.margins_px > 0.0
    if np.sum(inside) < LEAST_FRAMES:
        raise InputError(
            f"the ball would be in view in {np.sum(inside)} of {len(frames)} frames",
            where="camera",
            remedy="move it farther off, aim it elsewhere or give it a wider view",
        )
    circumstances = circumstances_of(camera, replace(stand.request, camera_parts=parts))
    instants = Instants(
        frames[inside], seen.row_share[inside], seen.diameters_px[inside] / stand.contrast
    )
    covariances = _placed(stand, seen, inside).covariances
    fitted = expected_fit(circumstances, flight, instants, covariances)
    u = flight.figures.u(fitted.covariance)
    return Judgement(camera, circumstances, seen, fitted, u, float(margins(camera, points).min()))


def forecast(stand: Stand, shots: Shots) -> Forecast:
    """Return what a stand can tell of the shots that are expected.

    Raises
    ------
    InputError
        As `judge`.
    """
    judged, flight = judge(stand, shots), shots.flight
    inside = judged.seen.margins_px > 0.0
    speeds = np.linalg.norm(judged.seen.motion_px[inside], axis=1)
    return Forecast(
        values=dict(zip(FIGURES, flight.figures.values.tolist(), strict=True)),
        u=judged.u,
        budget=budget_of(judged.circumstances, judged.fitted, flight.figures),
        moments=_moments(stand, judged.camera, shots),
        frames_seen=int(np.sum(inside)),
        frames_flown=len(inside),
        margin_px=judged.margin_px,
        fastest_mps=_fastest(judged.camera, shots, stand),
        shutter_s=stand.shutter_s,
        longest_shutter_s=float(np.min(judged.seen.diameters_px[inside] / speeds)),
        camera=judged.camera,
    )


def _placed(stand: Stand, seen: Watched, rows: NDArray[np.bool_]) -> Placing:
    """Return how well the sightings of some rows are placed."""
    streaks = seen.motion_px[rows] * stand.shutter_s
    return placing(seen.diameters_px[rows], streaks, stand.contrast, stand.noise)


def _moments(stand: Stand, camera: Camera, shots: Shots) -> tuple[Moment, ...]:
    flights = (shots.flight, *shots.others)
    whens = np.array([[0.0, _apex_s(flight), flight.landing_s] for flight in flights])
    seen = [
        watch(stand, camera, flight, when, rows=False)
        for flight, when in zip(flights, whens, strict=True)
    ]
    worst = np.min([each.margins_px for each in seen], axis=0)
    middle = seen[0]
    inside = middle.margins_px > 0.0
    speeds = np.linalg.norm(middle.motion_px, axis=1)
    place_u, snr = np.full(3, np.nan), np.full(3, np.nan)
    if np.any(inside):
        placed = _placed(stand, middle, inside)
        place_u[inside] = np.sqrt(np.trace(placed.covariances, axis1=1, axis2=2) / 2.0)
        snr[inside] = placed.snr
    return tuple(
        Moment(
            name=name,
            pixel=middle.pixels[i],
            margin_px=float(middle.margins_px[i]),
            worst_margin_px=float(worst[i]),
            diameter_px=float(middle.diameters_px[i]),
            step_px=float(speeds[i] / stand.fps),
            streak_px=float(speeds[i] * stand.shutter_s),
            way=middle.motion_px[i] / max(float(speeds[i]), 1e-9),
            place_u_px=float(place_u[i]),
            snr=float(snr[i]),
        )
        for i, name in enumerate(("release", "apex", "landing"))
    )


def _apex_s(flight: ExpectedFlight) -> float:
    top = apex(flight.trajectory)
    return 0.0 if top is None else top.time_s


def _fastest(camera: Camera, shots: Shots, stand: Stand) -> float | None:
    """Return the exit speed up to which the whole flight is in view, at the expected angles."""
    known = circumstances_of(camera, stand.request)

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
