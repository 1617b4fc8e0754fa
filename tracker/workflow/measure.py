"""A whole session from its folder to its results."""

import hashlib
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path, PurePosixPath

from calibration.camera import Camera
from calibration.errors import InputError, InputErrors
from calibration.site import Calibration
from tracker.fitting.pooling import pool
from tracker.measurement.anywhere import field_of, measure_anywhere
from tracker.measurement.clip import measure_clip
from tracker.measurement.unmarked import measure_unmarked
from tracker.records import MeasuredShot, Pooled, Quality, RejectedCandidate, Shot
from tracker.report.files import put_in_place
from tracker.report.tables import Origin, shots_csv, shots_json, tracks_csv
from tracker.session import SESSION_FILE, ClipEntry, Session, bare_session, read_session
from tracker.video import ClipFacts, inspect
from tracker.video.notes import missing_bytes
from tracker.workflow.assumptions import assumed_words
from tracker.workflow.explaining import Watched, explain
from tracker.workflow.pictures import draw_pictures
from tracker.workflow.stand import calibrate_if_fixed, request_of, site_of

RESULTS = "results"

ANYWHERE_ANYHOW = (
    "Where markers do not fix the camera, shots are found wherever they start: --from-anywhere "
    "changes nothing here."
)

Progress = Callable[[str, int, int], None]
"""Told the clip's file, how many of its frames are done, and how many there are."""


@dataclass(frozen=True)
class MeasuredClip:
    """What came of one clip.

    Attributes
    ----------
    clip : ClipEntry
    calibration : Calibration or None
        None where too little was measured for one, and gravity was the scale.
    camera : Camera
        With which the shots are drawn.
    shots : tuple of MeasuredShot
    notes : tuple of str
        Sentences that a person should read.
    rejected_candidates : tuple of RejectedCandidate
        What looked like a shot for a while.
    """

    clip: ClipEntry
    calibration: Calibration | None
    camera: Camera
    shots: tuple[MeasuredShot, ...]
    notes: tuple[str, ...]
    rejected_candidates: tuple[RejectedCandidate, ...] = ()


@dataclass(frozen=True)
class SessionResult:
    """What came of a session.

    Attributes
    ----------
    session : Session
    clips : tuple of MeasuredClip
        In the order of ``session.toml``.
    folder : Path
        Where the results lie.
    pooled : mapping of str to Pooled
        Drag and lift as the good shots have them together; empty for fewer than two.
    """

    session: Session
    clips: tuple[MeasuredClip, ...]
    folder: Path
    pooled: Mapping[str, Pooled] = field(default_factory=dict)

    @property
    def shots(self) -> tuple[Shot, ...]:
        """Every row of ``shots.csv``."""
        return tuple(measured.shot for clip in self.clips for measured in clip.shots)


@dataclass(frozen=True)
class _Ready:
    """A clip that can be measured."""

    clip: ClipEntry
    facts: ClipFacts
    calibration: Calibration | None


@dataclass(frozen=True)
class Told:
    """What is told of bare video files beside the command itself.

    Attributes
    ----------
    ball : str or None
        A row of the ball table.
    capture_fps : float or None
        True frame rate.
    """

    ball: str | None = None
    capture_fps: float | None = None


def session_at(place: Path, told: Told = Told()) -> Session:
    """Return the session of a folder, or of a video file that nobody wrote a session for.

    Raises
    ------
    InputError
        With every fault of the session file, or of what is told of the video.
    """
    if place.is_file() and place.suffix.lower() != ".toml":
        return bare_session(place, told.ball, told.capture_fps)
    session = read_session(place)
    for option, value in (("--ball", told.ball), ("--capture-fps", told.capture_fps)):
        if value is not None:
            raise InputError(
                "is for a video file without a session",
                where=option,
                remedy=f"write it into the {SESSION_FILE} of {place}",
            )
    return session


def read_all(places: Iterable[Path], told: Told = Told()) -> tuple[Session, ...]:
    """Read several sessions, so that a fault in the last is told before the first is measured.

    Raises
    ------
    InputErrors
        With every fault of every session file.
    """
    sessions: list[Session] = []
    faults: list[InputError] = []
    for place in places:
        try:
            sessions.append(session_at(place, told))
        except InputError as error:
            faults.extend(error.errors if isinstance(error, InputErrors) else [error])
    if faults:
        raise InputErrors(faults)
    return tuple(sessions)


def measure_session(
    folder: Path,
    progress: Progress | None = None,
    told: Told = Told(),
    explained: bool = False,
    from_anywhere: bool = False,
) -> SessionResult:
    """Measure every clip of a session and write its results.

    The results of an earlier run stay as they are until the new ones are complete.

    Parameters
    ----------
    folder : Path
        The session's folder, or a video file without a session.
    progress : callable, optional
    told : Told
        Of a video file without a session.
    explained : bool
        Whether pictures are drawn that show why each shot was taken for one.
    from_anywhere : bool
        Whether shots may start elsewhere than at the release point.

    Returns
    -------
    SessionResult

    Raises
    ------
    InputError
        With every fault of the session file, or of every clip, at once.
    """
    session = session_at(folder, told)
    ready = _made_ready(session)
    watched = [Watched() if explained else None for _ in ready]
    clips = tuple(
        _measured(session, one, progress, seen, from_anywhere)
        for one, seen in zip(ready, watched, strict=True)
    )
    names = picture_names(session.clips)
    contents: dict[str, bytes] = {}
    for one, clip, seen in zip(ready, clips, watched, strict=True):
        name = names[clip.clip.file]
        if seen is not None:
            for ending, picture in explain(
                one.facts, seen, clip.shots, clip.rejected_candidates
            ).items():
                contents[f"{name}-{ending}"] = picture
        drawn = draw_pictures(one.facts, clip.clip, clip.camera, clip.shots)
        for measured, picture in zip(clip.shots, drawn, strict=True):
            contents[f"{name}-shot-{measured.shot.shot}.jpg"] = picture
    results = f"{session.name}-{RESULTS}" if session.bare else RESULTS
    result = SessionResult(session, clips, session.folder / results, _pooled(clips))
    _write(result, contents)
    return result


def inspected(session: Session, clip: ClipEntry) -> ClipFacts:
    """Return the facts of a clip that was copied whole.

    Raises
    ------
    InputError
        Where the file is no video or was cut off: what is missing might hold shots.
    """
    try:
        facts = inspect(clip.path, session.camera.capture_fps)
    except InputError as error:
        raise InputError(error.what, where=clip.file, remedy=error.remedy) from None
    cut_off = missing_bytes(clip.path)
    if cut_off:
        raise InputError(
            f"the video is cut off: {cut_off} bytes that its own header announces are missing",
            where=clip.file,
            remedy="copy it again from the camera",
        )
    return facts


def picture_names(clips: Sequence[ClipEntry]) -> dict[str, str]:
    """Return, by the clip's file, what the names of its pictures begin with."""
    stems = {clip.file: PurePosixPath(clip.file).stem for clip in clips}
    taken = [stem.casefold() for stem in stems.values()]
    if len(set(taken)) == len(taken):
        return stems
    return {clip.file: f"{number}-{stems[clip.file]}" for number, clip in enumerate(clips, start=1)}


def _made_ready(session: Session) -> list[_Ready]:
    """Inspect and calibrate every clip, telling the faults of all of them at once."""
    ready: list[_Ready] = []
    faults: list[InputError] = []
    for clip in session.clips:
        try:
            facts = inspected(session, clip)
            ready.append(_Ready(clip, facts, calibrate_if_fixed(session, clip, facts.size_px)))
        except InputError as error:
            faults.extend(error.errors if isinstance(error, InputErrors) else [error])
    if faults:
        raise InputErrors(faults)
    return ready


def _measured(
    session: Session,
    ready: _Ready,
    progress: Progress | None,
    watched: Watched | None,
    from_anywhere: bool,
) -> MeasuredClip:
    def told(done: int, of: int) -> None:
        if progress is not None:
            progress(ready.clip.file, done, of)

    request, calibration = request_of(session, ready.clip), ready.calibration
    if calibration is None:
        site = site_of(session, ready.clip, ready.facts.size_px)
        found = measure_unmarked(ready.facts, site, request, session.release.height_told, told)
        notes = [*assumed_words(session, site), *found.notes]
        if from_anywhere:
            notes.append(ANYWHERE_ANYHOW)
        return MeasuredClip(ready.clip, None, found.camera, found.shots, tuple(notes))
    request = replace(request, camera_parts=calibration.camera_parts)
    see = None if watched is None else watched.see
    if from_anywhere:
        places = [request.release_m.tolist(), *(each.ground_m for each in ready.clip.markers)]
        result = measure_anywhere(
            ready.facts, calibration.camera, request, field_of(places), told, see
        )
    else:
        result = measure_clip(ready.facts, calibration.camera, request, told, see)
    return MeasuredClip(
        ready.clip,
        calibration,
        calibration.camera,
        result.shots,
        (*calibration.notes, *result.notes),
        result.rejected_candidates,
    )


def _pooled(clips: Iterable[MeasuredClip]) -> dict[str, Pooled]:
    """Return drag and lift of the session's good shots together."""
    every = [measured for clip in clips for measured in clip.shots]
    return pool([shot.fit for shot in every if shot.fit and shot.shot.quality is Quality.GOOD])


def _write(result: SessionResult, pictures: dict[str, bytes]) -> None:
    """Put the new results in place of the earlier ones."""
    points = [
        point for clip in result.clips for measured in clip.shots for point in measured.points
    ]
    every = [measured for clip in result.clips for measured in clip.shots]
    as_json = shots_json(
        result.shots,
        origin=Origin(_version(), result.session.name, _digests(result.session)),
        pictures=list(pictures),
        budgets=[measured.budget for measured in every],
        consistencies=[measured.consistency for measured in every],
        models=[measured.model for measured in every],
        pooled=result.pooled,
        rejected_candidates=[each for clip in result.clips for each in clip.rejected_candidates],
    )
    contents = {
        "shots.csv": shots_csv(result.shots).encode("utf-8"),
        "shots.json": as_json.encode("utf-8"),
        "tracks.csv": tracks_csv(points).encode("utf-8"),
        **pictures,
    }
    put_in_place(result.folder, contents, outdated=_earlier_pictures(result.folder))


def _earlier_pictures(folder: Path) -> list[str]:
    """Return the names of the pictures that an earlier run says it made."""
    try:
        document = json.loads((folder / "shots.json").read_text(encoding="utf-8"))
        return [str(name) for name in document["pictures"]]
    except (OSError, ValueError, KeyError, TypeError):
        return []


def _digests(session: Session) -> dict[str, str]:
    """Return the SHA-256 of every file that was read, by its name within the session."""
    files = {} if session.bare else {SESSION_FILE: session.folder / SESSION_FILE}
    if session.camera.lens is not None:
        files[session.camera.lens.relative_to(session.folder).as_posix()] = session.camera.lens
    files.update({clip.file: clip.path for clip in session.clips})
    found = {}
    for name, path in files.items():
        with path.open("rb") as file:
            found[name] = hashlib.file_digest(file, "sha256").hexdigest()
    return found


def _version() -> str:
    try:
        return version("lobmeter")
    except PackageNotFoundError:
        return "unknown"
