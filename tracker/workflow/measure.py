"""``lobmeter measure``: a session from its folder to its results."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path

from calibration.errors import InputError, InputErrors
from calibration.site import Calibration
from tracker.fitting.pooling import pool
from tracker.measurement import ClipRequest, Observers, measure
from tracker.measurement.starts import (
    AnywhereStart,
    PresumedCameraStart,
    ReleaseStart,
    Start,
    field_of,
)
from tracker.records import Pooled, Quality
from tracker.report.explanation import CandidateLog, explanation_pictures
from tracker.report.shot_frames import draw_shots
from tracker.results import folder_of, replace_results
from tracker.results.digests import program_version, sha256_of
from tracker.results.tables import Origin, shots_csv, shots_json, tracks_csv
from tracker.session import SESSION_FILE, ClipEntry, Session
from tracker.video import ClipFacts
from tracker.workflow.assumptions import assumed_words
from tracker.workflow.inputs import BareOptions, each_fault, inspected, picture_names, session_at
from tracker.workflow.measured import MeasuredClip, SessionResult
from tracker.workflow.stand import calibrate_if_fixed, marker_pixels, request_of, site_of

ANYWHERE_ALREADY = (
    "Where markers do not fix the camera, shots are found wherever they start: --from-anywhere "
    "changes nothing here."
)

Progress = Callable[[str, int, int], None]
"""Called with the clip's file, how many of its frames are done, and how many there are."""


@dataclass(frozen=True)
class MeasureOptions:
    """How a session is measured.

    Attributes
    ----------
    explained : bool
        Whether pictures are drawn that show why each shot was accepted.
    from_anywhere : bool
        Whether shots may start elsewhere than at the release point.
    bare : BareOptions
        For a video file without a session.
    """

    explained: bool = False
    from_anywhere: bool = False
    bare: BareOptions = field(default_factory=BareOptions)


@dataclass(frozen=True)
class _Ready:
    """A clip that can be measured."""

    clip: ClipEntry
    facts: ClipFacts
    calibration: Calibration | None


def measure_session(
    folder: Path,
    progress: Progress | None = None,
    options: MeasureOptions = MeasureOptions(),
) -> SessionResult:
    """Measure every clip of a session and write its results.

    The results of an earlier run stay as they are until the new ones are complete.

    Parameters
    ----------
    folder : Path
        The session's folder, or a video file without a session.
    progress : callable, optional
    options : MeasureOptions

    Returns
    -------
    SessionResult

    Raises
    ------
    InputError
        With every fault of the session file, or of every clip, at once.
    """
    session = session_at(folder, options.bare)
    names = picture_names(session.clips)
    clips: list[MeasuredClip] = []
    pictures: dict[str, bytes] = {}
    for ready in _made_ready(session):
        log = CandidateLog() if options.explained else None
        clip = _measured(session, ready, progress, log, options.from_anywhere)
        clips.append(clip)
        for ending, picture in _pictures(ready, clip, log).items():
            pictures[f"{names[clip.clip.file]}-{ending}"] = picture
    results = folder_of(session.folder, session.name if session.bare else None)
    result = SessionResult(session, tuple(clips), results, _pooled(clips))
    return replace(result, kept=_write(result, pictures))


def _made_ready(session: Session) -> list[_Ready]:
    """Inspect and calibrate every clip; the faults of all of them are raised at once."""
    ready: list[_Ready] = []
    faults: list[InputError] = []
    for clip in session.clips:
        try:
            facts = inspected(session, clip)
            ready.append(_Ready(clip, facts, calibrate_if_fixed(session, clip, facts.size_px)))
        except InputError as error:
            faults.extend(each_fault(error))
    if faults:
        raise InputErrors(faults)
    return ready


def _measured(
    session: Session,
    ready: _Ready,
    progress: Progress | None,
    log: CandidateLog | None,
    from_anywhere: bool,
) -> MeasuredClip:
    def report(done: int, of: int) -> None:
        if progress is not None:
            progress(ready.clip.file, done, of)

    observers = Observers(report, None if log is None else log.add)
    request, calibration = request_of(session, ready.clip), ready.calibration
    if calibration is None:
        site = site_of(session, ready.clip, ready.facts.size_px)
        start: Start = PresumedCameraStart(site, session.release.height_known)
        notes = list(assumed_words(session, site))
    else:
        request = replace(request, camera_parts=calibration.camera_parts)
        start = _calibrated_start(calibration, request, ready.clip, from_anywhere)
        notes = list(calibration.notes)
    result = measure(ready.facts, request, start, observers)
    notes += result.notes
    if calibration is None and from_anywhere:
        notes.append(ANYWHERE_ALREADY)
    return MeasuredClip(
        ready.clip,
        calibration,
        result.camera,
        result.shots,
        tuple(notes),
        result.rejected_candidates,
    )


def _calibrated_start(
    calibration: Calibration, request: ClipRequest, clip: ClipEntry, from_anywhere: bool
) -> Start:
    """Return where shots may begin before a calibrated camera."""
    if not from_anywhere:
        return ReleaseStart(calibration.camera)
    places = [request.release_m.tolist(), *(each.ground_m for each in clip.markers)]
    return AnywhereStart(calibration.camera, field_of(places))


def _pictures(ready: _Ready, clip: MeasuredClip, log: CandidateLog | None) -> dict[str, bytes]:
    """Return the clip's pictures by the ending of their names."""
    markers = marker_pixels(clip.clip, clip.camera)
    drawn = draw_shots(ready.facts, markers, clip.shots)
    pictures = {
        f"shot-{measured.shot.shot}.jpg": picture
        for measured, picture in zip(clip.shots, drawn, strict=True)
    }
    if log is not None:
        pictures |= explanation_pictures(ready.facts, log, clip.shots, clip.rejected_candidates)
    return pictures


def _pooled(clips: Iterable[MeasuredClip]) -> dict[str, Pooled]:
    """Return drag and lift estimated from all good shots of the session."""
    every = [measured for clip in clips for measured in clip.shots]
    return pool([shot.fit for shot in every if shot.fit and shot.shot.quality is Quality.GOOD])


def _write(result: SessionResult, pictures: dict[str, bytes]) -> tuple[str, ...]:
    """Put the new results in place of the earlier ones; return the edited files that were kept."""
    measured = result.measured
    as_json = shots_json(
        measured,
        origin=Origin(program_version(), result.session.name, _digests(result.session)),
        pictures=list(pictures),
        pooled=result.pooled,
        rejected_candidates=[each for clip in result.clips for each in clip.rejected_candidates],
    )
    contents = {
        "shots.csv": shots_csv(result.shots).encode("utf-8"),
        "shots.json": as_json.encode("utf-8"),
        "tracks.csv": tracks_csv(point for one in measured for point in one.points).encode("utf-8"),
        **pictures,
    }
    return replace_results(result.folder, contents)


def _digests(session: Session) -> dict[str, str]:
    """Return the SHA-256 of every file that was read, by its name within the session."""
    files = {} if session.bare else {SESSION_FILE: session.folder / SESSION_FILE}
    if session.camera.lens is not None:
        files[session.camera.lens.relative_to(session.folder).as_posix()] = session.camera.lens
    files.update({clip.file: clip.path for clip in session.clips})
    return {name: sha256_of(path) for name, path in files.items()}
