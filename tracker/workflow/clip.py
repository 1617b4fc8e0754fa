"""One clip from frames to measured shots."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.timebase import Cadence, check_cadence, true_times_s
from tracker.detection import CandidateFinder, look_for
from tracker.following import FlightSearch, Hypothesis, Stage
from tracker.records import MeasuredShot, Quality
from tracker.video import ChangeMeter, ClipFacts, frames
from tracker.workflow.known import ClipRequest, circumstances_of
from tracker.workflow.shot import Shutter, measure_shot
from tracker.workflow.steady import Steadier

Array = NDArray[np.float64]
Progress = Callable[[int, int], None]

SHADOW_PX = 30.0
"""A shot whose positions lie this near to a far better one's path borrowed them from it."""


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
    shutter = Shutter(circumstances, facts, look)
    told: list[str] = []
    meter = ChangeMeter(facts)
    shots = _watch(stage, shutter, request, _Clock(facts.times_s, meter, told.append, progress))
    base = check_cadence(meter.changes(), facts.file_times_s)
    if base.cadence is Cadence.MENDED:
        # Rare enough to decode again: what the file says of its times was not true.
        told.append(base.explanation)
        times = true_times_s(base.times_s, facts.pace)
        clock = _Clock(times, None, lambda _: None, progress, base.repeats)
        shots = [
            _on_file_clock(shot, base.times_s, facts.file_times_s)
            for shot in _watch(stage, shutter, request, clock)
        ]
    elif base.cadence is Cadence.DOUBTFUL:
        told.append(base.explanation)
        shots = [_doubted(shot, base.explanation) for shot in shots]
    shots = _without_shadows(sorted(shots, key=lambda each: each.shot.release_s))
    return ClipResult(
        tuple(_numbered(shot, number) for number, shot in enumerate(shots, start=1)),
        (*facts.notes, *told),
    )


@dataclass(frozen=True)
class _Clock:
    """How the frames of one pass are timed, and who is told what on the way."""

    times_s: Array
    meter: ChangeMeter | None
    on_note: Callable[[str], None]
    progress: Progress | None
    repeats: NDArray[np.bool_] | None = None


def _watch(
    stage: Stage, shutter: Shutter, request: ClipRequest, clock: _Clock
) -> list[MeasuredShot]:
    """Pass once through the clip and return the shots found in it."""
    facts = shutter.facts
    finder, search = CandidateFinder(shutter.look), FlightSearch(stage)
    steadier = Steadier(stage.camera, stage.frame_s)
    measured: list[MeasuredShot] = []

    def settle(found: list[Hypothesis]) -> None:
        for hypothesis in found:
            candidates = search.candidates(hypothesis)
            shot = measure_shot(stage, shutter, request, hypothesis, candidates)
            if shot is not None:
                measured.append(shot)

    for frame in frames(facts, on_note=clock.on_note):
        if clock.meter is not None:
            clock.meter.see(frame)
        if clock.progress is not None and frame.index % 8 == 0:
            clock.progress(frame.index, facts.frame_count)
        if clock.repeats is not None and clock.repeats[frame.index]:
            continue
        time_s = float(clock.times_s[frame.index])
        steadier.see(frame.index, frame.luma)
        candidates = finder.push(frame.index, time_s, frame.luma, frame.blueness)
        if candidates is not None:
            settle(search.push(steadier.steadied(candidates)))
    for found in search.finish():
        settle(found)
    if clock.progress is not None:
        clock.progress(facts.frame_count, facts.frame_count)
    if steadier.moves:
        clock.on_note("The camera moved while filming; its motion was taken out of the positions.")
    return measured


def _on_file_clock(measured: MeasuredShot, mended_s: Array, file_s: Array) -> MeasuredShot:
    """Return a shot whose release is told on the file's own clock again."""
    release_s = float(np.interp(measured.shot.release_s, mended_s, file_s))
    return replace(measured, shot=replace(measured.shot, release_s=release_s))


def _doubted(measured: MeasuredShot, why: str) -> MeasuredShot:
    """Return a shot that is to be checked, with one more reason."""
    reason = f"{measured.shot.reason} {why}".strip()
    return replace(measured, shot=replace(measured.shot, quality=Quality.CHECK, reason=reason))


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
