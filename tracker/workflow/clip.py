"""One clip from frames to measured shots."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment import NotDetermined
from calibration.camera import Camera
from calibration.timebase import row_fraction
from tracker.detection import CandidateFinder, Expected, Look, look_for, sight
from tracker.fitting import Circumstances, FittedFlight, figures_of, fit_flight
from tracker.fitting.model import CAMERA_AT, GRAVITY_AT, forces_with
from tracker.flight.air import Air
from tracker.flight.ball import Ball
from tracker.flight.forces import forces_on
from tracker.flight.trajectory import fly
from tracker.following import FlightSearch, Hypothesis, Stage, follow
from tracker.records import Candidates, MeasuredShot, Track
from tracker.video import ClipFacts, frames
from tracker.workflow.row import Sought, describe

Array = NDArray[np.float64]
Progress = Callable[[int, int], None]

USUAL_READOUT_S = 0.006
USUAL_READOUT_U_S = 0.006
"""A camera whose readout nobody stated: most phones and cameras lie between 0 and 0.02 s at the
resolutions used here. Common practice, no source."""

STATED_READOUT_SHARE = 0.1
"""Standard uncertainty of a stated readout, as a share of it."""

LEAST_SEEN = 5
LEAST_SHARE = 0.2
"""A shot must have been seen in this many frames and in this share of those that it crossed."""

SHADOW_PX = 30.0
"""A shot whose positions lie this near to a far better one's path borrowed them from it."""


@dataclass(frozen=True)
class ClipRequest:
    """What is known about a clip besides its pixels and its camera.

    Attributes
    ----------
    clip, setup : str
        As the session names them.
    ball : Ball
    air : Air
    gravity_mps2, gravity_u_mps2 : float
    release_m : ndarray, shape (3,)
    release_u_m : float
    readout_s : float or None
        Rolling shutter, first to last row; None when nobody stated it.
    """

    clip: str
    setup: str
    ball: Ball
    air: Air
    gravity_mps2: float
    gravity_u_mps2: float
    release_m: Array
    release_u_m: float
    readout_s: float | None


@dataclass(frozen=True)
class ClipResult:
    """The shots of a clip, and what a person should know beside them."""

    shots: tuple[MeasuredShot, ...]
    notes: tuple[str, ...]


def measure_clip(
    facts: ClipFacts,
    camera: Camera,
    request: ClipRequest,
    progress: Progress | None = None,
) -> ClipResult:
    """Find and measure every shot of a clip, decoding it once.

    Parameters
    ----------
    facts : ClipFacts
    camera : Camera
        With the covariance of its calibration.
    request : ClipRequest
    progress : callable, optional
        Called with the number of frames done and the number there are.
    """
    notes = list(facts.notes)
    circumstances = circumstances_of(camera, request)
    frame_s = 1.0 / (facts.file_fps * facts.pace)
    stage = Stage(
        camera=camera,
        release_m=circumstances.release_m,
        forces=circumstances.forces,
        drag=circumstances.drag,
        drag_u=circumstances.drag_u,
        ball_radius_m=circumstances.ball_radius_m,
        frame_s=frame_s,
    )
    look = look_for(
        camera,
        circumstances.release_m,
        request.ball.diameter_m,
        circumstances.drag,
        circumstances.forces,
        frame_s,
    )
    shutter = _Shutter(circumstances, facts, look)
    finder, search = CandidateFinder(look), FlightSearch(stage)
    measured: list[MeasuredShot] = []

    def settle(found: list[Hypothesis]) -> None:
        for hypothesis in found:
            candidates = search.candidates(hypothesis)
            shot = _measure_shot(stage, shutter, request, hypothesis, candidates)
            if shot is not None:
                measured.append(shot)

    for frame in frames(facts, on_note=notes.append):
        candidates = finder.push(frame.index, frame.time_s, frame.luma, frame.blueness)
        if candidates is not None:
            settle(search.push(candidates))
        if progress is not None and frame.index % 8 == 0:
            progress(frame.index, facts.frame_count)
    for found in search.finish():
        settle(found)
    if progress is not None:
        progress(facts.frame_count, facts.frame_count)
    measured = _without_shadows(sorted(measured, key=lambda each: each.shot.release_s))
    return ClipResult(
        tuple(_numbered(shot, number) for number, shot in enumerate(measured, start=1)),
        tuple(notes),
    )


def circumstances_of(camera: Camera, request: ClipRequest) -> Circumstances:
    """Gather what is known about every shot of a clip."""
    ball, air = request.ball, request.air
    # Air density, mass and area act on the flight exactly as the drag coefficient does.
    share = np.sqrt(
        (ball.drag_u / ball.drag_coefficient) ** 2
        + (air.density_u_kgpm3 / air.density_kgpm3) ** 2
        + (ball.mass_u_kg / ball.mass_kg) ** 2
        + (2.0 * ball.diameter_u_m / ball.diameter_m) ** 2
    )
    readout_u = (
        USUAL_READOUT_U_S
        if request.readout_s is None
        else max(STATED_READOUT_SHARE * request.readout_s, 1e-4)
    )
    return Circumstances(
        camera=camera,
        release_m=np.asarray(request.release_m, float),
        release_u_m=request.release_u_m,
        forces=forces_on(ball, air, request.gravity_mps2),
        gravity_u_mps2=request.gravity_u_mps2,
        drag=ball.drag_coefficient,
        drag_u=float(share * ball.drag_coefficient),
        lift_u=ball.lift_u,
        wind_mps=(air.wind_along_mps, air.wind_across_mps),
        wind_u_mps=air.wind_u_mps,
        ball_radius_m=ball.diameter_m / 2.0,
        readout_s=USUAL_READOUT_S if request.readout_s is None else request.readout_s,
        readout_u_s=readout_u,
        drag_air_u=ball.drag_coefficient * air.density_u_kgpm3 / air.density_kgpm3,
    )


@dataclass(frozen=True)
class _Shutter:
    """What the measuring of a shot needs of the clip as a whole."""

    circumstances: Circumstances
    facts: ClipFacts
    look: Look

    def row_share(self, pixels: Array) -> Array:
        return row_fraction(pixels, self.facts.size_px, self.facts.rotation_deg)


@dataclass(frozen=True)
class _Course:
    """Where a flight is in each frame, for the pictures to be measured at."""

    times_s: Array
    states: Array
    pixels: Array


def _measure_shot(
    stage: Stage,
    shutter: _Shutter,
    request: ClipRequest,
    hypothesis: Hypothesis,
    candidates: list[Candidates],
) -> MeasuredShot | None:
    """Follow, measure and fit one found flight; None when no flight comes of it after all."""
    followed = follow(stage, hypothesis, candidates, pixel_u=1.0 + 0.15 * shutter.look.step_px)
    if len(followed.frames) < 3:
        return None
    by_frame = {each.frame: each for each in candidates}
    course = _Course(followed.times_s, followed.states, followed.pixels)
    frames_in_view = [by_frame[int(frame)] for frame in followed.frames]
    release_s, launch = hypothesis.release_s, hypothesis.launch
    exposure: float | None = None
    fitted: FittedFlight | None = None
    track: Track | None = None
    for _ in range(2):
        track, exposure = _sighted(stage, shutter, course, frames_in_view, exposure)
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
    sought = Sought(
        clip=request.clip,
        setup=request.setup,
        pace=shutter.facts.pace,
        frame_s=stage.frame_s,
        in_view=len(frames_in_view),
    )
    return describe(shutter.circumstances, sought, track, fitted)


def _course_of(
    shutter: _Shutter, fitted: FittedFlight, candidates: list[Candidates]
) -> tuple[list[Candidates], _Course]:
    """Return the frames in which a fitted flight shows, and where it is in them."""
    figures = figures_of(shutter.circumstances, fitted.parameters)
    end = figures.value("flight_time_s")
    camera = shutter.circumstances.camera.perturbed(fitted.parameters[CAMERA_AT:])
    times = np.array([each.time_s for each in candidates]) - fitted.parameters[0]
    longest = end if np.isfinite(end) else float(fitted.trajectory.times_s[-1])
    flying = (times >= 0.0) & (times <= longest)
    trajectory = fly(
        fitted.parameters[1:12],
        forces_with(shutter.circumstances.forces, fitted.parameters[GRAVITY_AT]),
        max(longest, 0.05) + 0.05,
        0.04,
    )
    states = trajectory.at(times[flying])
    pixels = camera.project(states[:, :3])
    width, height = camera.size_px
    with np.errstate(invalid="ignore"):
        inside = np.all((pixels > 1) & (pixels < (width - 2, height - 2)), axis=1)
    shown = [each for each, flies in zip(candidates, flying, strict=True) if flies]
    return (
        [each for each, shows in zip(shown, inside, strict=True) if shows],
        _Course(times[flying][inside] + fitted.parameters[0], states[inside], pixels[inside]),
    )


def _sighted(
    stage: Stage,
    shutter: _Shutter,
    course: _Course,
    frames_in_view: list[Candidates],
    exposure: float | None,
) -> tuple[Track, float | None]:
    """Measure the ball's picture in every frame that has a patch where it should be."""
    rows, at = [], []
    for index, candidates in enumerate(frames_in_view):
        if not len(candidates.pixels):
            continue
        side = candidates.luma.patches.shape[1]
        middle = candidates.luma.corners + (side - 1) / 2.0
        distance = np.max(np.abs(middle - course.pixels[index]), axis=1)
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
        pixels=pixels,
        motion_px=motion,
        before_px=-lag * motion,
        after_px=lag * motion,
        diameters_px=camera.focal_px * 2.0 * stage.ball_radius_m / depth,
    )
    sighting, exposure = sight(
        [(frames_in_view[i], k) for i, k in zip(rows, at, strict=True)], expected, exposure
    )
    kept = sighting.found
    track = Track(
        frames=np.array([frames_in_view[i].frame for i in rows], np.int64)[kept],
        times_s=course.times_s[chosen][kept],
        pixels=sighting.pixels[kept],
        covariances=sighting.covariances[kept],
        lean=sighting.lean[kept],
    )
    return track, exposure


def _without_shadows(shots: list[MeasuredShot]) -> list[MeasuredShot]:
    """Leave out what is only a bad fit to some of another shot's pictures."""
    return [
        shot
        for shot in shots
        if not any(_is_shadow(shot, other) for other in shots if other is not shot)
    ]


def _is_shadow(shot: MeasuredShot, other: MeasuredShot) -> bool:
    if other.path is None or other.shot.frames_seen < 2 * shot.shot.frames_seen:
        return False
    seen = [point for point in shot.points if point.used]
    times = np.array([point.time_s for point in seen])
    inside = (times >= other.path.times_s[0]) & (times <= other.path.times_s[-1])
    pixels = np.array([(point.column_px, point.row_px) for point in seen])
    path = np.column_stack(
        [np.interp(times, other.path.times_s, other.path.pixels[:, axis]) for axis in (0, 1)]
    )
    near = inside & (np.linalg.norm(pixels - path, axis=1) < SHADOW_PX)
    return bool(np.mean(near) > 0.5)


def _numbered(measured: MeasuredShot, number: int) -> MeasuredShot:
    return replace(
        measured,
        shot=replace(measured.shot, shot=number),
        points=tuple(replace(point, shot=number) for point in measured.points),
    )
