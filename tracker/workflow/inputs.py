"""What a command was given: sessions or single video files, read and inspected."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, TypeVar

from calibration.errors import InputError, InputErrors
from tracker.results import folder_of
from tracker.results.digests import sha256_of
from tracker.session import (
    SESSION_FILE,
    ClipEntry,
    Session,
    bare_session,
    read_session,
    review_path,
)

if TYPE_CHECKING:
    from tracker.video import ClipFacts

T = TypeVar("T")
M = TypeVar("M")


@dataclass(frozen=True)
class BareOptions:
    """What the command line states about a video file that has no session.

    Attributes
    ----------
    ball : str or None
        A row of the ball table.
    capture_fps : float or None
        True frame rate.
    """

    ball: str | None = None
    capture_fps: float | None = None


def session_at(place: Path, options: BareOptions = BareOptions(), filmed: bool = True) -> Session:
    """Return the session of a folder, or of a single video file without one.

    Raises
    ------
    InputError
        With every fault of the session file, or of the options for a video file.
    """
    _refuse_bytes(place)
    if place.is_file() and place.suffix.lower() != ".toml":
        return bare_session(place, options.ball, options.capture_fps)
    session = read_session(place, filmed)
    for option, value in (("--ball", options.ball), ("--capture-fps", options.capture_fps)):
        if value is not None:
            raise InputError(
                "is for a video file without a session",
                where=option,
                remedy=f"write it into the {SESSION_FILE} of {place}",
            )
    return session


def _refuse_bytes(place: Path) -> None:
    """Refuse a name that is no text, since results are texts that hold it."""
    name = place.resolve().name
    plain = name.encode("utf-8", "replace").decode("utf-8")
    if plain != name:
        raise InputError(
            "the name holds characters that are not UTF-8", where=plain, remedy="rename it"
        )


def read_all(
    places: Iterable[Path], options: BareOptions = BareOptions(), filmed: bool = True
) -> tuple[Session, ...]:
    """Read several sessions before the first is worked on; `filmed` as in `read_session`.

    Raises
    ------
    InputErrors
        With every fault of every session file.
    """
    return made_of_each(lambda place: session_at(place, options, filmed), places)


def inspected(session: Session, clip: ClipEntry) -> "ClipFacts":
    """Return the facts of a clip that holds all of its frames.

    Raises
    ------
    InputError
        Where the file is no video or lacks frames: those might hold shots.
    """
    # Sessions alone are read without the library of video, which takes longer to load.
    from tracker.video import inspect

    try:
        facts = inspect(clip.path, session.camera.capture_fps)
    except InputError as error:
        raise InputError(error.what, where=clip.file, remedy=error.remedy) from None
    if facts.missing_bytes and facts.missing_frames != 0:
        frames = f", with {facts.missing_frames} frames" if facts.missing_frames else ""
        raise InputError(
            f"the video is cut off: {facts.missing_bytes} bytes that its own header announces are "
            f"missing{frames}",
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


def made_of_each(make: Callable[[T], M], things: Iterable[T]) -> tuple[M, ...]:
    """Return what is made of each thing.

    Raises
    ------
    InputErrors
        With the faults of all of them.
    """
    made: list[M] = []
    faults: list[InputError] = []
    for thing in things:
        try:
            made.append(make(thing))
        except InputError as error:
            faults.extend(error.errors if isinstance(error, InputErrors) else [error])
    if faults:
        raise InputErrors(faults)
    return tuple(made)


def session_digests(session: Session) -> dict[str, str]:
    """Return the SHA-256 of every file that was read, by its name within the session."""
    return stated_digests(session) | filmed_digests(session)


def stated_digests(session: Session) -> dict[str, str]:
    """Return those of what a person writes at any time: ask for them as soon as that is read."""
    paths = [] if session.bare else [session.folder / SESSION_FILE, review_path(session)]
    return {path.name: sha256_of(path) for path in paths if path.is_file()}


def filmed_digests(session: Session) -> dict[str, str]:
    """Return those of the lens and of the clips."""
    files = {clip.file: clip.path for clip in session.clips}
    lens = session.camera.lens
    if lens is not None:
        files = {lens.relative_to(session.folder).as_posix(): lens, **files}
    return {name: sha256_of(path) for name, path in files.items()}


def results_of(session: Session) -> Path:
    """Return the results folder of a session; see `tracker.results.folder_of`."""
    return folder_of(session.folder, session.name if session.bare else None)
