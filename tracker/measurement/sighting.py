"""Where a flight is in each frame, and the ball's pictures measured there."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.timebase import row_fraction
from tracker.detection import ExpectedBall, SearchSettings, locate_ball
from tracker.fitting import Circumstances, FittedFlight, figures_of
from tracker.fitting.model import flight_of
from tracker.fitting.parameters import CAMERA_AT, READOUT_AT
from tracker.following import SearchContext
from tracker.measurement.steadying import STEADY_U_PX, offsets
from tracker.records import Candidates, Track
from tracker.video import ClipFacts

Array = NDArray[np.float64]

LOST_FRAMES = 3
"""A ball that is not where it should be in so many frames in a row is lost."""


@dataclass(frozen=True)
class Shutter:
    """What the measuring of a shot needs of the clip as a whole."""

    circumstances: Circumstances
    facts: ClipFacts
    look: SearchSettings

    def row_share(self, pixels: Array) -> Array:
        """Return how far down the readout pixels, shape (N, 2), lie: -0.5 to 0.5."""
        return row_fraction(pixels, self.facts.size_px, self.facts.rotation_deg)


@dataclass(frozen=True)
class Course:
    """Where a flight is in each frame, for the pictures to be measured at."""

    times_s: Array
    states: Array
    pixels: Array


def course_of(
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
    for _ in range(2):
        # A rolling shutter comes to the lower rows later, when the ball is further on.
        later = fitted.parameters[READOUT_AT] * np.nan_to_num(shutter.row_share(pixels))
        states = trajectory.at(np.clip(times[flying] + later, 0.0, duration))
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
    stage: SearchContext,
    shutter: Shutter,
    course: Course,
    frames_in_view: list[Candidates],
    exposure: float | None,
    light: Array | None = None,
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
    expected = ExpectedBall(
        pixels=pixels + shifts[chosen],
        motion_px=motion,
        before_px=-lag * motion,
        after_px=lag * motion,
        diameters_px=camera.focal_px * 2.0 * stage.ball_radius_m / depth,
    )
    sighting, exposure = locate_ball(
        [(frames_in_view[i], k) for i, k in zip(rows, at, strict=True)],
        expected,
        exposure,
        light,
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
        snr=np.abs(sighting.snr[kept]),
    )
    return track, exposure


def walked(
    order: list[int], times: Array, agrees: dict[int, bool], start_s: float, forward: bool
) -> float:
    """Return the time of the last frame that agrees, walking outward from a time."""
    way = range(len(order)) if forward else range(len(order) - 1, -1, -1)
    reached, missed = start_s, 0
    for at in way:
        if (times[at] <= start_s + 1e-9) if forward else (times[at] >= start_s - 1e-9):
            continue
        if agrees.get(order[at], False):
            reached, missed = float(times[at]), 0
        else:
            missed += 1
            if missed >= LOST_FRAMES:
                break
    return reached
