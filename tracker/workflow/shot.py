"""One shot from a found flight to its row: followed, measured, fitted."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment import NotDetermined
from calibration.timebase import row_fraction
from tracker.detection import Expected, Look, sight
from tracker.fitting import Circumstances, FittedFlight, figures_of, fit_flight
from tracker.fitting.gravity import gravity_verdict
from tracker.fitting.model import CAMERA_AT, flight_of
from tracker.following import Hypothesis, Stage, follow
from tracker.records import Candidates, MeasuredShot, Track
from tracker.video import ClipFacts
from tracker.workflow.known import ClipRequest
from tracker.workflow.row import Sought, describe
from tracker.workflow.steady import STEADY_U_PX, offsets

Array = NDArray[np.float64]

LEAST_SEEN = 5
LEAST_SHARE = 0.2
"""A shot must have been seen in this many frames and in this share of those that it crossed."""


@dataclass(frozen=True)
class Shutter:
    """What the measuring of a shot needs of the clip as a whole."""

    circumstances: Circumstances
    facts: ClipFacts
    look: Look

    def row_share(self, pixels: Array) -> Array:
        """Return how far down the readout pixels, shape (N, 2), lie: -0.5 to 0.5."""
        return row_fraction(pixels, self.facts.size_px, self.facts.rotation_deg)


@dataclass(frozen=True)
class Course:
    """Where a flight is in each frame, for the pictures to be measured at."""

    times_s: Array
    states: Array
    pixels: Array


def measure_shot(
    stage: Stage,
    shutter: Shutter,
    request: ClipRequest,
    hypothesis: Hypothesis,
    candidates: list[Candidates],
) -> MeasuredShot | None:
    """Follow, measure and fit one found flight; None when no flight comes of it after all."""
    followed = follow(stage, hypothesis, candidates, pixel_u=1.0 + 0.15 * shutter.look.step_px)
    if len(followed.frames) < 3:
        return None
    by_frame = {each.frame: each for each in candidates}
    course = Course(followed.times_s, followed.states, followed.pixels)
    frames_in_view = [by_frame[int(frame)] for frame in followed.frames]
    release_s, launch = hypothesis.release_s, hypothesis.launch
    exposure: float | None = None
    fitted: FittedFlight | None = None
    track: Track | None = None
    for _ in range(2):
        track, exposure = sighted(stage, shutter, course, frames_in_view, exposure)
        if len(track.frames) < 4:
            return None
        row_share = shutter.row_share(track.pixels)
        try:
            fitted = fit_flight(shutter.circumstances, track, row_share, release_s, launch)
        except NotDetermined:
            return None
        release_s, launch = float(fitted.parameters[0]), fitted.parameters[1:12]
        frames_in_view, course = _course_of(shutter, fitted, candidates)
    if fitted is None or track is None:
        return None
    if np.sum(fitted.used) < max(LEAST_SEEN, LEAST_SHARE * len(frames_in_view)):
        return None
    wrong = gravity_verdict(shutter.circumstances, track, row_share, fitted, 1.0 / stage.frame_s)
    sought = Sought(
        clip=request.clip,
        setup=request.setup,
        pace=shutter.facts.pace,
        frame_s=stage.frame_s,
        in_view=len(frames_in_view),
        doubts=() if wrong is None else (wrong,),
    )
    return describe(shutter.circumstances, sought, track, fitted)


def _course_of(
    shutter: Shutter, fitted: FittedFlight, candidates: list[Candidates]
) -> tuple[list[Candidates], Course]:
    """Return the frames in which a fitted flight shows, and where it is in them."""
    figures = figures_of(shutter.circumstances, fitted.parameters)
    end = figures.value("flight_time_s")
    camera = shutter.circumstances.camera.perturbed(fitted.parameters[CAMERA_AT:])
    times = np.array([each.time_s for each in candidates]) - fitted.parameters[0]
    longest = end if np.isfinite(end) else float(fitted.trajectory.times_s[-1])
    flying = (times >= 0.0) & (times <= longest)
    duration = max(longest, 0.05) + 0.05
    trajectory = flight_of(shutter.circumstances, fitted.parameters, duration, 0.04)
    states = trajectory.at(times[flying])
    pixels = camera.project(states[:, :3])
    width, height = camera.size_px
    with np.errstate(invalid="ignore"):
        inside = np.all((pixels > 1) & (pixels < (width - 2, height - 2)), axis=1)
    shown = [each for each, flies in zip(candidates, flying, strict=True) if flies]
    return (
        [each for each, shows in zip(shown, inside, strict=True) if shows],
        Course(times[flying][inside] + fitted.parameters[0], states[inside], pixels[inside]),
    )


def sighted(
    stage: Stage,
    shutter: Shutter,
    course: Course,
    frames_in_view: list[Candidates],
    exposure: float | None,
) -> tuple[Track, float | None]:
    """Measure the ball's picture in every frame that has a patch where it should be."""
    rows, at = [], []
    shifts = offsets(stage.camera, frames_in_view, course.pixels)
    for index, candidates in enumerate(frames_in_view):
        if not len(candidates.pixels):
            continue
        side = candidates.luma.patches.shape[1]
        middle = candidates.luma.corners + (side - 1) / 2.0
        distance = np.max(np.abs(middle - course.pixels[index] - shifts[index]), axis=1)
        best = int(np.argmin(distance))
        if distance[best] <= side / 2.0 - 3.0:
            rows.append(index)
            at.append(best)
    chosen = np.array(rows, np.int64)
    if len(chosen) == 0:
        nothing = np.zeros(0)
        return Track(chosen, nothing, np.zeros((0, 2)), np.zeros((0, 2, 2)), nothing), exposure
    states, pixels = course.states[chosen], course.pixels[chosen]
    camera = stage.camera
    _, by_point, _ = camera.project_with_jacobians(states[:, :3])
    motion = np.einsum("nij,nj->ni", by_point, states[:, 3:6]) * stage.frame_s
    lag = shutter.look.lag
    depth = camera.in_camera(states[:, :3])[:, 2]
    expected = Expected(
        pixels=pixels + shifts[chosen],
        motion_px=motion,
        before_px=-lag * motion,
        after_px=lag * motion,
        diameters_px=camera.focal_px * 2.0 * stage.ball_radius_m / depth,
    )
    sighting, exposure = sight(
        [(frames_in_view[i], k) for i, k in zip(rows, at, strict=True)], expected, exposure
    )
    kept = sighting.found
    shaken = np.any(shifts[chosen] != 0.0, axis=1)
    spread = sighting.covariances + (STEADY_U_PX**2 * shaken)[:, None, None] * np.eye(2)
    track = Track(
        frames=np.array([frames_in_view[i].frame for i in rows], np.int64)[kept],
        times_s=course.times_s[chosen][kept],
        pixels=(sighting.pixels - shifts[chosen])[kept],
        covariances=spread[kept],
        lean=sighting.lean[kept],
    )
    return track, exposure
