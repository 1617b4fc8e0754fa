"""The shots of a session for a page: figures as decided, films to step through, flights to draw."""

from dataclasses import dataclass, field
from pathlib import Path

from tracker.measurement.fitted_shot import FittedShot
from tracker.records import RejectedCandidate, Shot
from tracker.results.cache import cache_folder
from tracker.session import AddedShot, Decision, Place, read_review
from tracker.video import ClipFacts
from tracker.workflow.decisions import matched
from tracker.workflow.kept import KeptSession, kept_session
from tracker.workflow.review import added_of

Spot = tuple[float, float]


@dataclass(frozen=True)
class Film:
    """A clip to step through.

    Attributes
    ----------
    number : int
        Of the clip in the session, from 0.
    file : str
    size_px : tuple of int
        Width and height as shown.
    times_s : tuple of float
        When each frame begins, on the file's own clock.
    duration_s : float
    pace : float
        Playing seconds per true second.
    """

    number: int
    file: str
    size_px: tuple[int, int]
    times_s: tuple[float, ...]
    duration_s: float
    pace: float

    def frame_at(self, since_s: float) -> int:
        """Return the frame nearest to a time from the first frame, on the file's own clock."""
        wanted = since_s + self.times_s[0]
        return min(range(len(self.times_s)), key=lambda at: abs(self.times_s[at] - wanted))

    def since_s(self, frame: int) -> float:
        """Return the time of a frame from the first, as ``release_s`` counts it."""
        return round(self.times_s[frame] - self.times_s[0], 6)


@dataclass(frozen=True)
class DrawnFlight:
    """A flight to draw over its clip.

    Attributes
    ----------
    path : tuple of (float, float, float)
        Time on the file's own clock, column, row; only what lies near the frame.
    points : tuple of (int, float, float, bool)
        Frame, column, row of each measured place of the ball, and whether the fit used it.
    release_px, apex_px, landing_px : tuple of float or None
    """

    path: tuple[tuple[float, float, float], ...]
    points: tuple[tuple[int, float, float, bool], ...] = ()
    release_px: Spot | None = None
    apex_px: Spot | None = None
    landing_px: Spot | None = None


@dataclass(frozen=True)
class SessionShots:
    """The shots of a session as decided now.

    Attributes
    ----------
    kept : KeptSession
    shots : tuple of FittedShot
        In the order of the clips and of time.
    notes : tuple of str
        On decisions that could not be applied.
    candidates : tuple of RejectedCandidate
    """

    kept: KeptSession
    shots: tuple[FittedShot, ...]
    notes: tuple[str, ...]
    candidates: tuple[RejectedCandidate, ...] = field(default=())

    def film(self, file: str) -> Film:
        """Return a clip to step through."""
        files = [task.ready.clip.file for task in self.kept.tasks]
        facts = self.kept.facts(file)
        return Film(
            files.index(file),
            file,
            facts.size_px,
            tuple(facts.file_times_s.tolist()),
            facts.duration_s,
            facts.pace,
        )

    def flight(self, shot: FittedShot) -> DrawnFlight:
        """Return the flight of a shot; one without figures has nothing to draw."""
        facts = self.kept.facts(shot.shot.clip)
        points = tuple(
            (point.frame, round(point.column_px, 1), round(point.row_px, 1), point.used)
            for point in shot.points
        )
        path = shot.path
        if path is None:
            return DrawnFlight((), points)
        return DrawnFlight(
            _path(facts, path.times_s.tolist(), path.pixels.tolist()),
            points,
            _spot(path.release_px.tolist()),
            _spot(path.apex_px.tolist()),
            _spot(path.landing_px.tolist()),
        )

    def flight_of(self, candidate: RejectedCandidate) -> DrawnFlight:
        """Return the path of a rejected candidate."""
        facts = self.kept.facts(candidate.clip)
        return DrawnFlight(_path(facts, candidate.times_s.tolist(), candidate.pixels.tolist()))

    def decision(self, shot: Shot) -> Decision | AddedShot | None:
        """Return what ``review.toml`` says of a shot."""
        about = read_review(self.kept.session)
        found = matched([shot], about.decisions).get(0)
        return found or added_of(shot, about.added)

    def quick(self, added: AddedShot) -> FittedShot:
        """Return the shot that an addition makes, fitted to its places alone.

        Raises
        ------
        InputError
            Where no flight from the release passes through them.
        """
        return self.kept.measured(added, quick=True)


def shots_now(folder: Path, kept: KeptSession | None = None) -> SessionShots | None:
    """Return the shots of a session as decided now; None where it must be measured first.

    Parameters
    ----------
    folder : Path
    kept : KeptSession, optional
        From an earlier call, where only decisions changed since.

    Raises
    ------
    InputErrors
        With every fault of the session, its decisions or its clips.
    """
    kept = kept or kept_session(folder, cache_folder())
    if kept is None:
        return None
    clips, notes = kept.now()
    shots = tuple(shot for clip in clips for shot in clip.shots)
    return SessionShots(kept, shots, notes, kept.candidates)


def addition(film: Film, picks: tuple[tuple[int, Spot], ...]) -> AddedShot:
    """Return the addition of a shot by picked places, each a frame and a pixel."""
    places = tuple(Place(film.since_s(frame), pixel) for frame, pixel in sorted(picks))
    return AddedShot(film.file, places)


def _path(
    facts: ClipFacts, times_s: list[float], pixels: list[list[float]]
) -> tuple[tuple[float, float, float], ...]:
    """Return a path on the file's own clock, without what lies far outside the frame."""
    width, height = facts.size_px
    begun = float(facts.file_times_s[0])
    return tuple(
        (round(at_s * facts.pace + begun, 5), round(column, 1), round(row, 1))
        for at_s, (column, row) in zip(times_s, pixels, strict=True)
        if -width < column < 2 * width and -height < row < 2 * height
    )


def _spot(pixel: list[float]) -> Spot | None:
    column, row = pixel
    return (round(column, 1), round(row, 1)) if column == column and row == row else None
