"""One clip from frames to measured shots."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.timebase import Cadence, check_cadence, true_times_s
from tracker.detection import CandidateFinder, settings_for
from tracker.fitting import circumstances_of
from tracker.following import FlightSearch, Hypothesis, SearchContext
from tracker.measurement.circumstances import ClipRequest, stage_of
from tracker.measurement.rejection import sorted_out
from tracker.measurement.sighting import Shutter
from tracker.measurement.steadying import Steadier
from tracker.measurement.tracing import measure_shot, rejected_candidate
from tracker.records import Candidates, MeasuredShot, Quality, Reason, ReasonCode, RejectedCandidate
from tracker.video import ChangeMeter, ClipFacts, frames

Array = NDArray[np.float64]
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class ClipResult:
    """The shots of a clip, and what a person should know beside them.

    Attributes
    ----------
    shots : tuple of MeasuredShot
        In order of time; those of quality `rejected` have no figures.
    notes : tuple of str
    rejected_candidates : tuple of RejectedCandidate
        Flights that looked like shots for a while, in order of time.
    """

    shots: tuple[MeasuredShot, ...]
    notes: tuple[str, ...]
    rejected_candidates: tuple[RejectedCandidate, ...] = ()


def measure_clip(
    facts: ClipFacts,
    camera: Camera,
    request: ClipRequest,
    progress: Progress | None = None,
    on_candidates: Callable[[Candidates], None] | None = None,
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
    on_candidates : callable, optional
        Called with the candidates of every frame, as the first pass has them.
    """
    circumstances = circumstances_of(camera, request)
    frame_s = 1.0 / (facts.file_fps * facts.pace)
    stage = stage_of(circumstances, frame_s)
    look = settings_for(
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
    found = _watch(
        stage,
        shutter,
        request,
        _Clock(facts.times_s, meter, told.append, progress, None, on_candidates),
    )
    base = check_cadence(meter.changes(), facts.file_times_s)
    if base.cadence is Cadence.MENDED:
        # Rare enough to decode again: what the file says of its times was not true.
        times = true_times_s(base.times_s, facts.pace)
        clock = _Clock(times, None, lambda _: None, progress, base.repeats)
        mended = _watch(stage, shutter, request, clock)
        if fits_better(found.shots, mended.shots):
            told.append(FILE_TIMES_STAND)
        else:
            told.append(base.explanation)
            mended.shots = [on_file_clock(each, base.times_s, facts) for each in mended.shots]
            mended.refused = [refused_on(each, base.times_s, facts) for each in mended.refused]
            found = mended
    elif base.cadence is Cadence.DOUBTFUL:
        told.append(base.explanation)
        found.shots = [doubted(shot) for shot in found.shots]
    shots, refused = sorted_out(found.shots, found.refused, request.setup)
    return ClipResult(
        tuple(numbered(shot, number) for number, shot in enumerate(shots, start=1)),
        (*facts.notes, *told),
        tuple(refused),
    )


FILE_TIMES_STAND = (
    "The background repeats pictures or leaves some out, but the balls have flown on evenly by "
    "the file's own times: those stand."
)


def fits_better(shots: Sequence[MeasuredShot], others: Sequence[MeasuredShot]) -> bool:
    """Tell whether shots are flights rather than the others are, measured with other times.

    An encoder may repeat a still background while the ball flies on. Nothing tells the time as
    well as a ball in flight: where more of them are believed and scatter by less, or as many
    that scatter by less than half as much, the times were right.
    """
    counts, scatters = [], []
    for each in (shots, others):
        believed = [shot for shot in each if shot.shot.quality is not Quality.REJECTED]
        gaps = [
            np.hypot(point.residual_column_px, point.residual_row_px)
            for shot in believed
            for point in shot.points
            if point.used
        ]
        counts.append(len(believed))
        scatters.append(float(np.median(gaps)) if gaps else np.inf)
    share = 1.0 if counts[0] > counts[1] else 0.5
    return counts[0] >= counts[1] and scatters[0] < share * scatters[1]


@dataclass(frozen=True)
class _Clock:
    """How the frames of one pass are timed, and who is told what on the way."""

    times_s: Array
    meter: ChangeMeter | None
    on_note: Callable[[str], None]
    progress: Progress | None
    repeats: NDArray[np.bool_] | None = None
    on_candidates: Callable[[Candidates], None] | None = None


@dataclass
class _Found:
    """What one pass finds."""

    shots: list[MeasuredShot] = field(default_factory=list)
    refused: list[RejectedCandidate] = field(default_factory=list)


def _watch(stage: SearchContext, shutter: Shutter, request: ClipRequest, clock: _Clock) -> _Found:
    """Pass once through the clip and return the shots found in it."""
    facts = shutter.facts
    finder, search = CandidateFinder(shutter.look), FlightSearch(stage)
    steadier = Steadier(stage.camera, stage.frame_s)
    found = _Found()

    def settle(flights: list[Hypothesis]) -> None:
        for hypothesis in flights:
            candidates = search.candidates(hypothesis)
            shot = measure_shot(stage, shutter, request, hypothesis, candidates)
            if isinstance(shot, RejectedCandidate):
                found.refused.append(shot)
            else:
                found.shots.append(shot)

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
            candidates = steadier.steadied(candidates)
            if clock.on_candidates is not None:
                clock.on_candidates(candidates)
            settle(search.push(candidates))
    for flights in search.finish():
        settle(flights)
    found.refused += [
        rejected_candidate(stage, shutter, request, *each) for each in search.rejected_candidates
    ]
    if clock.progress is not None:
        clock.progress(facts.frame_count, facts.frame_count)
    if steadier.moves:
        clock.on_note("The camera moved while filming; its motion was taken out of the positions.")
    return found


def on_file_clock(measured: MeasuredShot, mended_s: Array, facts: ClipFacts) -> MeasuredShot:
    """Return a shot whose release is told on the file's own clock again."""
    release_s = float(np.interp(measured.shot.release_s, mended_s, facts.file_times_s))
    return replace(measured, shot=replace(measured.shot, release_s=release_s))


def refused_on(refused: RejectedCandidate, mended_s: Array, facts: ClipFacts) -> RejectedCandidate:
    """Return the same of a flight that was turned down."""
    release_s = float(np.interp(refused.release_s, mended_s, facts.file_times_s))
    return replace(refused, release_s=release_s)


def doubted(measured: MeasuredShot) -> MeasuredShot:
    """Return a shot of a clip whose frame times are doubtful: it is to be checked."""
    reasons = (*measured.shot.reasons, Reason(ReasonCode.FRAME_TIMES))
    return replace(measured, shot=replace(measured.shot, quality=Quality.CHECK, reasons=reasons))


def numbered(measured: MeasuredShot, number: int) -> MeasuredShot:
    """Return a shot and its points with its number within the clip."""
    return replace(
        measured,
        shot=replace(measured.shot, shot=number),
        points=tuple(replace(point, shot=number) for point in measured.points),
    )
