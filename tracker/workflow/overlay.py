"""``lobmeter overlay``: clips with the measured flights drawn in."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from calibration.errors import InputError, typed
from calibration.ground import Ground
from calibration.site import Calibration, draw
from tracker.records import Shot, TrackPoint
from tracker.report.overlay import OverlayFlight, OverlayPainter, flight_of
from tracker.report.overlay.film import flight_stills, write_overlay
from tracker.results import list_computed, put_in_place, read_shots, replaced_meanwhile
from tracker.results.budgets import ShotKey
from tracker.results.computed import command_of, stated_by
from tracker.results.details import read_points
from tracker.results.files import staged_file
from tracker.session import ClipEntry, Session
from tracker.video import ClipFacts
from tracker.workflow.ball_and_air import ground_under
from tracker.workflow.inputs import inspected, picture_names, read_all, results_of
from tracker.workflow.stand import calibrate_if_fixed

Progress = Callable[[str, int, int], None]
"""Called with the clip's file, how many of its frames are done, and how many there are."""

SHOWS = ("shots.csv", "tracks.csv")
"""Files of the results that a film is made of."""

SLOWEST = 100.0
"""Slowest that makes sense: a second of life would last longer than anybody watches."""


@dataclass(frozen=True)
class Overlaid:
    """What was made of one clip: its film (None when only stills were asked for), its stills.

    `session` is the folder as it was named.
    """

    session: Path
    clip: str
    film: Path | None
    stills: tuple[Path, ...]


def overlay_sessions(
    folders: Sequence[Path],
    slow: float = 1.0,
    films: bool = True,
    progress: Progress | None = None,
) -> tuple[Overlaid, ...]:
    """Draw the measured flights into every clip of sessions that has some.

    Parameters
    ----------
    folders : sequence of Path
        Measured sessions, or measured video files.
    slow : float
        How many times slower than life the films play.
    films : bool
        Whether films are written, or only one still a flight.
    progress : callable, optional

    Raises
    ------
    InputError
        For faults of the sessions, sessions that were not measured, files that cannot be written.
    """
    if not 1.0 <= slow <= SLOWEST:
        raise InputError(
            f"{slow:g} is no pace",
            where="--slow",
            remedy=f"give a number from 1 to {SLOWEST:g}, for instance 4",
        )
    sessions = read_all(folders)
    rows = [_rows(session, folder) for session, folder in zip(sessions, folders, strict=True)]
    made: list[Overlaid] = []
    for folder, session, measured in zip(folders, sessions, rows, strict=True):
        for clip in session.clips:
            mine = [shot for shot in measured.shots if shot.clip == clip.file]
            if mine:
                rows_of_clip = replace(measured, shots=mine)
                drawn = _overlaid(session, clip, rows_of_clip, (slow, films), progress)
                made += [replace(each, session=folder) for each in drawn]
    return tuple(made)


@dataclass(frozen=True)
class _Rows:
    """What was measured: shots, their places, and the digests of the files that hold them."""

    shots: Sequence[Shot]
    points: Mapping[ShotKey, tuple[TrackPoint, ...]]
    stated: Mapping[str, str]


def _rows(session: Session, folder: Path) -> _Rows:
    results = results_of(session)
    stated = stated_by(results, SHOWS)
    try:
        shots = read_shots(results / "shots.csv")
        return _Rows(shots, read_points(results / "tracks.csv"), stated)
    except FileNotFoundError:
        raise InputError(
            "has no results yet",
            where=str(folder),
            remedy=f"measure first: lobmeter measure {typed(folder)}",
        ) from None


def _overlaid(
    session: Session,
    clip: ClipEntry,
    measured: _Rows,
    wanted: tuple[float, bool],
    progress: Progress | None,
) -> list[Overlaid]:
    """Draw the flights of one clip; nothing where none of its rows has a path."""
    facts = inspected(session, clip)
    calibration = calibrate_if_fixed(session, clip, facts.size_px)
    ground = ground_under(clip.markers)
    flights, frames, numbers = _flights(facts, calibration, ground, measured)
    if not flights:
        return []
    lines = None if calibration is None else draw(calibration, ground=ground)
    painter = OverlayPainter(facts.size_px, flights, lines)
    results, name = results_of(session), picture_names(session.clips)[clip.file]
    stills = dict(
        zip(
            [f"{name}-shot-{number}-flight.jpg" for number in numbers],
            flight_stills(facts, painter, frames),
            strict=True,
        )
    )
    put_in_place(results, stills)
    film = None
    slow, films = wanted
    if films:
        pace = "" if slow == 1.0 else f"-slow-{slow:g}"
        film = results / f"{name}-overlay{pace}.mp4"

        def report(done: int, of: int) -> None:
            if progress is not None:
                progress(clip.file, done, of)

        try:
            with staged_file(film) as part:
                write_overlay(facts, painter, part, slow, report)
        except FileNotFoundError:
            raise replaced_meanwhile(results) from None
        except OSError as error:
            raise InputError(
                f"cannot be written ({(error.strerror or 'unknown').lower()})",
                where=str(film),
                remedy="check the folder's rights and the free space",
            ) from None
    listed = [*stills, *([] if film is None else [film.name])]
    list_computed(results, listed, measured.stated, command_of("overlay", options=_options(wanted)))
    return [Overlaid(session.folder, clip.file, film, tuple(results / still for still in stills))]


def _options(wanted: tuple[float, bool]) -> str:
    """Return the options that ask for the same pace and the same kinds of files."""
    slow, films = wanted
    return "--stills" if not films else "" if slow == 1.0 else f"--slow {slow:g}"


def _flights(
    facts: ClipFacts,
    calibration: Calibration | None,
    ground: Ground,
    measured: _Rows,
) -> tuple[list[OverlayFlight], list[list[int]], list[int]]:
    """Return the flights that have a path, the frames of their places, and their numbers."""
    flights, frames, numbers = [], [], []
    for shot in measured.shots:
        mine = measured.points.get((shot.clip, shot.shot), ())
        camera = None if calibration is None else calibration.camera
        flight = flight_of(shot, mine, shot.release_s / facts.pace, camera, ground)
        if flight is not None:
            flights.append(flight)
            frames.append([point.frame for point in mine if point.used])
            numbers.append(shot.shot)
    return flights, frames, numbers
