"""``lobmeter measure``: a session from its folder to its results."""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path

from tracker.fitting.pooling import pool
from tracker.records import Pooled, Quality
from tracker.report.explanation import CandidateLog
from tracker.results import folder_of, replace_results
from tracker.results.digests import program_version, sha256_of
from tracker.results.tables import Origin, shots_csv, shots_json, tracks_csv
from tracker.session import REVIEW_FILE, SESSION_FILE, Session, read_review, review_path
from tracker.workflow.clips import Progress, clip_pictures, measure_ready, ready_clips
from tracker.workflow.decisions import decide
from tracker.workflow.inputs import BareOptions, picture_names, session_at
from tracker.workflow.measured import MeasuredClip, SessionResult


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


def measure_session(
    folder: Path,
    progress: Progress | None = None,
    options: MeasureOptions = MeasureOptions(),
) -> SessionResult:
    """Measure every clip of a session, apply a person's decisions, and write the results.

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
    decisions = read_review(session)
    ready = ready_clips(session)
    logs = [CandidateLog() if options.explained else None for _ in ready]
    measured = [
        measure_ready(session, one, progress, log, options.from_anywhere)
        for one, log in zip(ready, logs, strict=True)
    ]
    clips, notes = decide(measured, decisions)
    names = picture_names(session.clips)
    pictures: dict[str, bytes] = {}
    for one, clip, log in zip(ready, clips, logs, strict=True):
        for ending, picture in clip_pictures(one, clip, log).items():
            pictures[f"{names[clip.clip.file]}-{ending}"] = picture
    results = folder_of(session.folder, session.name if session.bare else None)
    result = SessionResult(session, clips, results, _pooled(clips), notes=notes)
    return replace(result, kept=_write(result, pictures))


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
    if not session.bare and review_path(session).is_file():
        files[REVIEW_FILE] = review_path(session)
    if session.camera.lens is not None:
        files[session.camera.lens.relative_to(session.folder).as_posix()] = session.camera.lens
    files.update({clip.file: clip.path for clip in session.clips})
    return {name: sha256_of(path) for name, path in files.items()}
