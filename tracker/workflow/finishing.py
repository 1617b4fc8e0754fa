"""A measured session: decisions applied, pictures drawn, results written."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from tracker.fitting.pooling import pool
from tracker.records import Pooled, Quality, ReasonCode
from tracker.results import replace_results
from tracker.results.computed import Replaced
from tracker.results.digests import program_version
from tracker.results.tables import Origin, shots_csv, shots_json, tracks_csv
from tracker.session import Review, Session
from tracker.workflow.inputs import picture_names, results_of, session_digests
from tracker.workflow.jobs import Measured, Task, pictures_of
from tracker.workflow.kept import with_review
from tracker.workflow.measured import MeasuredClip, SessionResult


def finished(
    session: Session,
    review: Review,
    tasks: Sequence[Task],
    measured: Sequence[Measured],
) -> SessionResult:
    """Apply the decisions, draw the pictures and write the results."""
    clips, notes = with_review(tasks, [one.clip for one in measured], review)
    names = picture_names(session.clips)
    pictures: dict[str, bytes] = {}
    for task, clip, one in zip(tasks, clips, measured, strict=True):
        for ending, picture in pictures_of(task, one, clip).items():
            pictures[f"{names[clip.clip.file]}-{ending}"] = picture
    results = results_of(session)
    result = SessionResult(session, clips, results, _pooled(clips), notes=notes)
    replaced = _write(result, pictures, tasks)
    return replace(result, kept=replaced.edited, gone=replaced.gone)


def _pooled(clips: Iterable[MeasuredClip]) -> dict[str, Pooled]:
    """Return drag and lift estimated from all good shots of the session."""
    every = [measured for clip in clips for measured in clip.shots]
    return pool([shot.fit for shot in every if shot.fit and shot.shot.quality is Quality.GOOD])


def _ball_of(result: SessionResult) -> str | None:
    """Return the ball of a video file without a session, as stated or presumed."""
    if not result.session.bare:
        return None
    reasons = [reason for shot in result.shots for reason in shot.reasons]
    presumed = [each.words for each in reasons if each.code is ReasonCode.BALL_PRESUMED]
    return presumed[0] if presumed else result.session.ball.type


def _write(result: SessionResult, pictures: dict[str, bytes], tasks: Sequence[Task]) -> Replaced:
    """Put the new results in place of the earlier ones; return what became of these."""
    digests = tasks[0].digests if tasks else session_digests(result.session)
    measured = result.measured
    notes = {clip.clip.file: clip.said for clip in result.clips}
    as_json = shots_json(
        measured,
        origin=Origin(
            program_version(),
            result.session.name,
            digests,
            _ball_of(result),
            notes,
            any(task.from_anywhere for task in tasks),
        ),
        pictures=list(pictures),
        pooled=result.pooled,
        rejected_candidates=[each for clip in result.clips for each in clip.rejected_candidates],
        causes={clip.clip.file: clip.causes for clip in result.clips if clip.causes},
    )
    contents = {
        "shots.csv": shots_csv(result.shots).encode("utf-8"),
        "shots.json": as_json.encode("utf-8"),
        "tracks.csv": tracks_csv(point for one in measured for point in one.points).encode("utf-8"),
        **pictures,
    }
    return replace_results(result.folder, contents, result.place)
