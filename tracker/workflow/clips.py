"""The clips of a session: inspected, calibrated, measured and drawn."""

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from calibration.errors import InputError, InputErrors
from calibration.site import ALARM, Calibration
from tracker.flight.ball import Ball
from tracker.measurement import ClipRequest, ClipResult, Observers, measure
from tracker.measurement.close_ups import CloseUps
from tracker.measurement.passes import MOVED_NOTE
from tracker.measurement.starts import (
    AnywhereStart,
    PresumedCameraStart,
    ReleaseStart,
    Start,
    field_of,
)
from tracker.records import MeasuredShot, Quality, Reason, ReasonCode, Shot, sentence
from tracker.report.explanation import CandidateLog, explanation_pictures
from tracker.report.shot_frames import draw_shots
from tracker.session import ClipEntry, Session
from tracker.video import ClipFacts
from tracker.workflow.assumptions import assumed_words
from tracker.workflow.inputs import made_of_each
from tracker.workflow.measured import MeasuredClip
from tracker.workflow.presumed_ball import ball_instead, without_another_ball
from tracker.workflow.stand import calibrate_if_fixed, marker_pixels, request_of, site_of
from tracker.workflow.stands import Moved, facts_once, moved_clips

LOG = logging.getLogger(__name__)

ANYWHERE_ALREADY = (
    "Where markers do not fix the camera, shots are found wherever they start: --from-anywhere "
    "changes nothing here."
)

Progress = Callable[[str, int, int], None]
"""Called with the clip's file, how many of its frames are done, and how many there are."""


OnShot = Callable[[Shot], None]
"""Called with the row of every shot as soon as it is measured, before the clip's end; it has no
number yet, and what the whole clip shows may still change it."""


@dataclass(frozen=True)
class ReadyClip:
    """A clip that can be measured.

    Attributes
    ----------
    clip : ClipEntry
    facts : ClipFacts
    calibration : Calibration or None
        None where the markers do not fix a camera.
    moved : Moved or None
        Where the markers' pixels are those of another view.
    """

    clip: ClipEntry
    facts: ClipFacts
    calibration: Calibration | None
    moved: Moved | None = None


def ready_clips(session: Session) -> tuple[ReadyClip, ...]:
    """Inspect and calibrate every clip.

    Raises
    ------
    InputErrors
        With the faults of all of them; one that every clip has is stated once.
    """
    facts_of = facts_once(session)

    def ready(clip: ClipEntry) -> ReadyClip:
        facts = facts_of(clip)
        return ReadyClip(clip, facts, calibrate_if_fixed(session, clip, facts.size_px))

    try:
        found = made_of_each(ready, session.clips)
    except InputErrors as error:
        raise InputErrors(
            _stated_once(error.errors, [clip.file for clip in session.clips])
        ) from None
    moved = {one.clip: one for one in moved_clips(session, facts_of)}
    return tuple(replace(one, moved=moved.get(one.clip.file)) for one in found)


def _stated_once(faults: Sequence[InputError], files: Sequence[str]) -> list[InputError]:
    """Return faults in order, one for those that every one of several clips has."""
    alike: dict[tuple[str, ...], list[InputError]] = {}
    for fault in faults:
        file = next((each for each in files if each in fault.where), "")
        place = fault.where.replace(file, "every clip") if file else fault.where
        alike.setdefault((place, fault.what, fault.remedy), []).append(fault)
    stated = []
    for (place, *_), those in alike.items():
        every = len(those) == len(files) > 1 and place != those[0].where
        stated += [those[0].at(place)] if every else those
    return stated


def request_for(session: Session, ready: ReadyClip) -> ClipRequest:
    """Return the conditions of a clip's shots, what its calibration says of them included."""
    request, calibration = request_of(session, ready.clip), ready.calibration
    if calibration is None:
        return request
    doubts = [Reason(ReasonCode.MARKER_LEFT_OUT)] if calibration.left_out else []
    if calibration.p_value < ALARM:
        doubts.append(Reason(ReasonCode.CAMERA_CONTRADICTED))
    return replace(request, camera_parts=calibration.camera_parts, doubts=tuple(doubts))


def measure_ready(
    session: Session,
    ready: ReadyClip,
    progress: Progress | None = None,
    log: CandidateLog | None = None,
    from_anywhere: bool = False,
    on_shot: OnShot | None = None,
) -> MeasuredClip:
    """Measure one clip.

    Parameters
    ----------
    session : Session
    ready : ReadyClip
    progress : callable, optional
    log : CandidateLog, optional
        Gets the candidates of every frame.
    from_anywhere : bool
        Whether shots may start elsewhere than at the release point.
    on_shot : callable, optional
    """
    observers = _observers(ready, progress, log, on_shot)
    request, calibration = request_for(session, ready), ready.calibration
    if calibration is None:
        site = site_of(session, ready.clip, ready.facts.size_px)
        start: Start = PresumedCameraStart(site, session.release.height_known)
        notes = list(assumed_words(session, site))
    else:
        start = _calibrated_start(calibration, request, ready.clip, from_anywhere)
        notes = list(calibration.notes)
    LOG.info("%s: measuring %d frames", ready.clip.file, ready.facts.frame_count)
    result = measure(ready.facts, request, start, observers)
    result, ball = _of_the_ball_that_falls(session, result, ready, request, start, observers)
    if session.bare:
        notes.insert(1, f"the ball is taken to be {ball.name} (--ball for another)")
    LOG.info("%s: %d shots", ready.clip.file, len(result.shots))
    if calibration is None and from_anywhere:
        notes.append(ANYWHERE_ALREADY)
    notes += result.notes
    if ready.moved is not None:
        result = _of_another_view(result, ready.moved)
        notes.insert(0, ready.moved.question)
    causes = result.causes
    blames_camera = _of_the_camera(causes) and ready.moved is None
    if blames_camera and calibration is not None and calibration.p_value < ALARM:
        # What falls was judged before a camera that is wrong.
        causes = (_disagreement(calibration, causes),)
    if causes:
        notes[-1] = sentence(causes)
    return MeasuredClip(
        ready.clip,
        calibration,
        result.camera,
        result.shots,
        tuple(notes),
        result.rejected_candidates,
        causes,
    )


def _of_the_ball_that_falls(
    session: Session,
    result: ClipResult,
    ready: ReadyClip,
    request: ClipRequest,
    start: Start,
    observers: Observers,
) -> tuple[ClipResult, Ball]:
    """Return the measurement of the ball that falls, which may be none of the usual size.

    Where another one than the stated one seems to fall, that is named only if the clip gives a
    shot of it.
    """
    instead = ball_instead(result.causes)
    if instead is not None:
        ball, reason = instead
        request_again = replace(request, ball=ball, doubts=(*request.doubts, reason))
        # Its candidates are known; only what pictures show of a shot is looked at again.
        looking = replace(observers, on_candidates=None)
        looking = looking.progress_only if session.ball.known else looking
        again = measure(ready.facts, request_again, start, looking)
        if not again.causes and session.ball.known:
            return replace(result, causes=result.causes[:1]), request.ball
        if not again.causes:
            return again, ball
    return replace(result, causes=without_another_ball(result.causes)), request.ball


BLAMED_ON_MARKERS = frozenset(
    {
        ReasonCode.GRAVITY_OFF,
        ReasonCode.GRAVITY_FRAME_RATE,
        ReasonCode.GRAVITY_YARDS,
        ReasonCode.GRAVITY_FEET,
        ReasonCode.GRAVITY_UNEXPLAINED,
        ReasonCode.STRAINS_HEIGHT,
        ReasonCode.STRAINS_RELEASE,
        ReasonCode.STRAINS_BALL,
    }
)
"""What a flight before another view's markers looks like."""


def _of_another_view(result: ClipResult, moved: Moved) -> ClipResult:
    """Return a measurement that names the view where it would blame what another view explains."""
    words = f"its {moved.difference}"
    another = Reason(ReasonCode.ANOTHER_VIEW, words=words)
    shots = []
    for one in result.shots:
        row = one.shot
        left = tuple(each for each in row.reasons if each.code not in BLAMED_ON_MARKERS)
        doubted = moved.certain or left != row.reasons
        if doubted and row.quality is not Quality.REJECTED:
            row = replace(row, quality=Quality.CHECK, reasons=(another, *left))
        shots.append(replace(one, shot=row))
    elsewhere = (Reason(ReasonCode.PICKED_ELSEWHERE, words=words),)
    causes = elsewhere if _of_the_camera(result.causes) else result.causes
    return replace(result, shots=tuple(shots), causes=causes)


SHOWN_BY_THE_FILE = frozenset(
    {
        ReasonCode.CLIP_TOO_SHORT,
        ReasonCode.FRAMES_FAR_APART,
        ReasonCode.FRAMES_UNREAD,
        ReasonCode.CAMERA_UNSTEADY,
    }
)
"""Causes of no shot that hold before any camera: better markers would change nothing."""


def _of_the_camera(causes: Sequence[Reason]) -> bool:
    return bool(causes) and causes[0].code not in SHOWN_BY_THE_FILE


def _disagreement(calibration: Calibration, causes: Sequence[Reason]) -> Reason:
    """Return the cause of no shot before a camera whose markers do not agree.

    Lengths in feet leave the camera right but for their uncertainties, which count as feet too.
    """
    if calibration.suspects:
        texts = dict.fromkeys(one.text for one in calibration.suspects)
        return Reason(ReasonCode.MARKERS_MISTAKEN, words="; or ".join(texts))
    if causes[0].code is ReasonCode.TAPED_IN_FEET:
        return causes[0]
    return Reason(ReasonCode.MARKERS_DISAGREE)


def _observers(
    ready: ReadyClip,
    progress: Progress | None,
    log: CandidateLog | None,
    on_shot: OnShot | None,
) -> Observers:
    """Return what is called while a clip is measured."""

    def report(done: int, of: int) -> None:
        if progress is not None:
            progress(ready.clip.file, done, of)

    def reported(measured: MeasuredShot) -> None:
        if log is not None and measured.shot.quality is not Quality.REJECTED:
            log.drop_stills()
        if on_shot is not None:
            on_shot(measured.shot)

    observers = Observers(report, on_shot=reported)
    if log is None:
        return observers
    return replace(observers, on_candidates=log.add, on_frame=log.see, close_ups=log.close_ups)


def clip_pictures(
    ready: ReadyClip,
    clip: MeasuredClip,
    log: CandidateLog | None,
    close_ups: CloseUps | None = None,
) -> dict[str, bytes]:
    """Return the clip's pictures by the ending of their names.

    Parameters
    ----------
    ready : ReadyClip
    clip : MeasuredClip
    log : CandidateLog or None
        Where the shots are to be explained, or there is none.
    close_ups : CloseUps, optional
        What was kept of the shots' places while the clip passed.
    """
    markers = marker_pixels(clip.clip, clip.camera)
    kept = {} if close_ups is None else close_ups.kept
    still = MOVED_NOTE not in clip.notes
    drawn = draw_shots(ready.facts, markers, clip.shots, kept, still)
    pictures = {
        f"shot-{measured.shot.shot}.jpg": picture
        for measured, picture in zip(clip.shots, drawn, strict=True)
    }
    if log is not None:
        pictures |= explanation_pictures(
            ready.facts, log, clip.shots, clip.rejected_candidates, clip.causes
        )
    return pictures


def _calibrated_start(
    calibration: Calibration, request: ClipRequest, clip: ClipEntry, from_anywhere: bool
) -> Start:
    """Return where shots may begin before a calibrated camera."""
    field = field_of([request.release_m.tolist(), *(each.ground_m for each in clip.markers)])
    if from_anywhere:
        return AnywhereStart(calibration.camera, field)
    return ReleaseStart(calibration.camera, field)
