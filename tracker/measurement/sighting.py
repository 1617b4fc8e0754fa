"""Where a flight is in each frame, and the ball's picture measured there."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from tracker.detection import ExpectedBall, ball_sizes, change_per_contrast, locate_ball
from tracker.fitting import FittedFlight
from tracker.fitting.figures import flight_time_of
from tracker.fitting.light import light_in_picture
from tracker.fitting.model import flight_of
from tracker.fitting.parameters import CAMERA_AT, READOUT_AT, RELEASE_AT
from tracker.measurement.context import ClipContext
from tracker.measurement.flight import Flight
from tracker.measurement.visibility import PIXEL_WIDTHS, Crossing
from tracker.records import Candidates, Pictures, Track

Array = NDArray[np.float64]

LOST_FRAMES = 3
"""Frames in a row without the ball after which it is lost. Common practice, no source."""

AGREE_U, AGREE_PX, AGREE_STEP_SHARE = 4.0, 0.6, 0.04
"""A position agrees with a flight within this many standard uncertainties: its own, px of the
flight, and a share of the way from one frame to the next. From drawn clips."""

EDGE_OF_CUTOUT_PX = 3.0
"""How far inside a cutout's edge the expected ball must lie to be measured there, px."""

STEP_S, EXTRA_S = 0.04, 0.05
"""Longest integration step, and time that a flight is continued beyond its landing, s."""

ROW_ROUNDS = 2
"""Rounds in which a rolling shutter's row and the ball's place in it are brought together."""

SAME_S = 1e-9
"""Times nearer than this are one frame's, s."""


@dataclass(frozen=True)
class Course:
    """Where a flight is in each frame.

    Attributes
    ----------
    times_s : ndarray, shape (N,)
        True times of the frames.
    states : ndarray, shape (N, 6)
        Position and velocity when the ball's row is read.
    pixels : ndarray, shape (N, 2)
    """

    times_s: Array
    states: Array
    pixels: Array


def course_of(
    context: ClipContext, fitted: FittedFlight, candidates: list[Candidates]
) -> tuple[list[Candidates], Course]:
    """Return the frames in which a fitted flight shows until it lands, and where it is in them."""
    known, parameters = context.circumstances, fitted.parameters
    end = flight_time_of(known, parameters)
    camera = known.camera.perturbed(parameters[CAMERA_AT:])
    release_s = parameters[RELEASE_AT]
    times = np.array([each.time_s for each in candidates]) - release_s
    longest = end if np.isfinite(end) else float(fitted.trajectory.times_s[-1])
    flying = (times >= 0.0) & (times <= longest)
    duration = max(longest, EXTRA_S) + EXTRA_S
    trajectory = flight_of(known, parameters, duration, STEP_S)
    times = times[flying]
    states = trajectory.at(times)
    pixels = camera.project(states[:, :3])
    for _ in range(ROW_ROUNDS):
        # A rolling shutter reads lower rows later, when the ball is further on.
        rows_s = context.rows_s(times, pixels, parameters[READOUT_AT])
        states = trajectory.at(np.clip(rows_s, 0.0, duration))
        pixels = camera.project(states[:, :3])
    shown = [each for each, flies in zip(candidates, flying, strict=True) if flies]
    return in_frame(camera, shown, Course(times + release_s, states, pixels))


def course_along(
    context: ClipContext, flight: Flight, candidates: list[Candidates]
) -> tuple[list[Candidates], Course]:
    """Return the frames in which a flight shows, beyond its ends too, and where it is in them."""
    times = np.array([each.time_s for each in candidates])
    readout_s = flight.fitted.parameters[READOUT_AT]
    states = flight.states(times)
    pixels = flight.camera.project(states[:, :3])
    for _ in range(ROW_ROUNDS):
        states = flight.states(context.rows_s(times, pixels, readout_s))
        pixels = flight.camera.project(states[:, :3])
    return in_frame(flight.camera, candidates, Course(times, states, pixels))


def in_frame(
    camera: Camera, candidates: list[Candidates], course: Course
) -> tuple[list[Candidates], Course]:
    """Return the frames and the part of a course in which the ball is inside the frame."""
    inside = camera.in_frame(course.pixels)
    shown = [each for each, is_in in zip(candidates, inside, strict=True) if is_in]
    return shown, Course(course.times_s[inside], course.states[inside], course.pixels[inside])


def sighted(
    context: ClipContext,
    camera: Camera,
    course: Course,
    frames: list[Candidates],
    exposure: float | None,
    light: Array | None = None,
) -> tuple[Track, float | None]:
    """Measure the ball's picture in every frame that has a cutout where it should be.

    Parameters
    ----------
    context : ClipContext
    camera : Camera
        With which the course was projected.
    course : Course
    frames : list of Candidates
        One a row of the course.
    exposure : float or None
        As a share of the frame interval; None to estimate it.
    light : ndarray, shape (3,), optional
        Brightness slope across the ball, along the camera's axes.

    Returns
    -------
    track : Track
    exposure : float or None
    """
    rows, at = _cutouts(frames, course.pixels)
    chosen = np.array(rows, np.int64)
    if len(chosen) == 0:
        nothing = np.zeros(0)
        return Track(chosen, nothing, np.zeros((0, 2)), np.zeros((0, 2, 2)), nothing), exposure
    expected = _expected(context, camera, course.states[chosen], course.pixels[chosen])
    shaded = None
    if light is not None:
        shaded = light_in_picture(camera.in_camera(course.states[chosen, :3])) @ light
    sighting, exposure = locate_ball(
        [(frames[i], k) for i, k in zip(rows, at, strict=True)], expected, exposure, shaded
    )
    kept = sighting.found
    moved, stilled, spread = _corrections(frames, rows, at)
    track = Track(
        frames=np.array([frames[i].frame for i in rows], np.int64)[kept],
        times_s=course.times_s[chosen][kept],
        pixels=(sighting.pixels + stilled)[kept],
        covariances=(sighting.covariances + spread)[kept],
        lean=sighting.lean[kept],
        snr=np.abs(sighting.snr[kept]),
        pictures=Pictures(sighting.contrasts[kept], sighting.purity[kept]),
        filmed_pixels=(sighting.pixels + moved)[kept] if np.any(moved) else None,
    )
    return track, exposure


def widths(
    context: ClipContext,
    camera: Camera,
    course: Course,
    frames: list[Candidates],
    exposure: float | None,
) -> tuple[Array, Array]:
    """Return when a ball shows its width along a course, and the logarithm of that, px.

    Parameters
    ----------
    context, camera, course, frames, exposure
        As of `sighted`.

    Returns
    -------
    times_s, log_px : ndarray, shape (N,)
    """
    rows, at = _cutouts(frames, course.pixels)
    chosen = np.array(rows, np.int64)
    if not len(chosen):
        return np.zeros(0), np.zeros(0)
    expected = _expected(context, camera, course.states[chosen], course.pixels[chosen])
    pictures = [(frames[i], k) for i, k in zip(rows, at, strict=True)]
    sizes = ball_sizes(pictures, expected, exposure)
    log_px = np.log(expected.diameters_px) + sizes.log_ratio
    return course.times_s[chosen][sizes.found], log_px[sizes.found]


def _corrections(
    frames: list[Candidates], rows: list[int], at: list[int]
) -> tuple[Array, Array, Array]:
    """Return how far the frames as filmed and the still camera are off, and the covariances."""
    moved, stilled = np.zeros((2, len(rows), 2))
    spread = np.zeros((len(rows), 2, 2))
    for number, (row, k) in enumerate(zip(rows, at, strict=True)):
        steadied = frames[row].steadied
        if steadied is not None:
            moved[number] = steadied.filmed_pixels[k] - frames[row].pixels[k]
            stilled[number] = steadied.still_pixels[k] - frames[row].pixels[k]
            spread[number] = steadied.covariances[k]
    return moved, stilled, spread


def _expected(context: ClipContext, camera: Camera, states: Array, pixels: Array) -> ExpectedBall:
    """Return how a ball looks that is in these states and shows at these pixels."""
    _, by_point, _ = camera.project_with_jacobians(states[:, :3])
    motion = np.einsum("nij,nj->ni", by_point, states[:, 3:6]) * context.frame_s
    lag = context.settings.lag
    # Before and after a frame the ball is lower than a straight line through it has it.
    lower_m = 0.5 * context.circumstances.forces.gravity_mps2 * (lag * context.frame_s) ** 2
    fall = -lower_m * by_point[:, :, 2]
    depth = camera.in_camera(states[:, :3])[:, 2]
    return ExpectedBall(
        pixels=pixels,
        motion_px=motion,
        before_px=fall - lag * motion,
        after_px=fall + lag * motion,
        diameters_px=camera.focal_px * 2.0 * context.circumstances.ball_radius_m / depth,
    )


def crossing_of(
    context: ClipContext,
    camera: Camera,
    frames: list[Candidates],
    course: Course,
    exposure: float | None,
) -> Crossing:
    """Return the frames that a course crosses, with the change that a ball makes in each.

    Parameters
    ----------
    context, camera, frames, course
        As of `sighted`.
    exposure : float or None
        As a share of the frame interval.
    """
    expected = _expected(context, camera, course.states, course.pixels)
    streak = (exposure or 0.0) * np.linalg.norm(expected.motion_px, axis=1)
    usual = context.settings.diameter_px
    gains = [
        change_per_contrast(expected.diameters_px / wide, streak / wide, usual / wide)
        for wide in PIXEL_WIDTHS
    ]
    return Crossing(frames, course.pixels, np.column_stack(gains))


def _cutouts(frames: list[Candidates], places: Array) -> tuple[list[int], list[int]]:
    """Return the rows that have a cutout around their place, and which one each takes."""
    counts = np.array([len(each.pixels) for each in frames], np.int64)
    if not counts.sum():
        return [], []
    owner = np.repeat(np.arange(len(frames)), counts)
    sides = np.array([each.luma.patches.shape[1] for each in frames])[owner]
    middles = np.concatenate([each.luma.corners for each in frames]) + (sides[:, None] - 1) / 2.0
    distance = np.max(np.abs(middles - places[owner]), axis=1)
    # The nearest of each frame, the first where two are: by frame, then by distance.
    order = np.lexsort((distance, owner))
    best = order[np.flatnonzero(np.diff(owner, prepend=-1))]
    best = best[distance[best] <= sides[best] / 2.0 - EDGE_OF_CUTOUT_PX]
    rows = owner[best]
    return rows.tolist(), (best - (np.cumsum(counts) - counts)[rows]).tolist()


def agreeing(track: Track, frames: list[Candidates], course: Course) -> NDArray[np.bool_]:
    """Return which positions of a track agree with the course they were looked for along."""
    expected = dict(zip([each.frame for each in frames], course.pixels, strict=True))
    there = np.array([expected[frame] for frame in track.frames.tolist()]).reshape(-1, 2)
    off = np.linalg.norm(track.pixels - there, axis=1)
    u_px = np.sqrt(np.trace(track.covariances, axis1=1, axis2=2) / 2.0)
    steps = np.linalg.norm(np.diff(course.pixels, axis=0), axis=1)
    step = float(steps.mean()) if len(steps) else 0.0
    agrees: NDArray[np.bool_] = off < AGREE_U * np.hypot(u_px, AGREE_PX + AGREE_STEP_SHARE * step)
    return agrees


def seen_until(
    frames: list[Candidates],
    track: Track,
    agrees: NDArray[np.bool_],
    start_s: float,
    forward: bool,
) -> float:
    """Return the time of the last frame with the ball, from a time outward until it is lost.

    Parameters
    ----------
    frames : list of Candidates
        Those in which the ball could show, in order of time.
    track : Track
        Positions measured in some of them.
    agrees : ndarray of bool, shape (N,)
        Which of those are the ball's.
    start_s : float
        A true time at which it was seen.
    forward : bool
        Later frames; else earlier ones.
    """
    by_frame = dict(zip(track.frames.tolist(), agrees.tolist(), strict=True))
    reached, missed = start_s, 0
    for each in frames if forward else reversed(frames):
        beyond = each.time_s - start_s if forward else start_s - each.time_s
        if beyond <= SAME_S:
            continue
        if by_frame.get(each.frame, False):
            reached, missed = each.time_s, 0
        else:
            missed += 1
            if missed >= LOST_FRAMES:
                break
    return reached
