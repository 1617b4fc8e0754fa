"""A session as its files are at one moment, for a page that shows it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from calibration.errors import InputError, InputErrors, meant, typed
from tracker.records import Shot, TrackPoint
from tracker.results import folder_of, read_provenance, read_shots
from tracker.results.budgets import ShotKey
from tracker.results.details import read_causes, read_notes, read_points
from tracker.results.digests import sha256_of
from tracker.session import (
    REVIEW_FILE,
    SESSION_FILE,
    AddedShot,
    Decision,
    Review,
    Session,
    bare_session,
    read_review,
)
from tracker.session import read_session as read
from tracker.workflow.decisions import matched
from tracker.workflow.edit import NOTHING_TO_UNDO, Undoable, digest_of, undoable
from tracker.workflow.review import added_of


@dataclass(frozen=True)
class Look:
    """What the files of a session hold.

    Attributes
    ----------
    place : Path
        The session's folder, or a video file without one.
    seen : str
        Digest of the files that a person writes; every edit is given it.
    session : Session or None
        None where ``session.toml`` has faults.
    faults : tuple of str
        Sentences, as the commands print them.
    shots : tuple of (Shot, Decision or AddedShot or None)
        Rows of the results, each with a person's decision about it, or how it was added.
    measured : bool
        Whether there are results.
    outdated : bool
        Whether ``session.toml`` or ``review.toml`` was changed after the results were made.
    undoable : Undoable
    causes : mapping of str to str
        By the file of a clip without a shot, why, in a sentence.
    notes : mapping of str to tuple of str
        By the file of a clip what was assumed and noticed, as clauses.
    """

    place: Path
    seen: str
    session: Session | None
    faults: tuple[str, ...] = ()
    shots: tuple[tuple[Shot, Decision | AddedShot | None], ...] = ()
    measured: bool = False
    outdated: bool = False
    undoable: Undoable = NOTHING_TO_UNDO
    causes: Mapping[str, str] = field(default_factory=dict)
    notes: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def results(self) -> Path:
        """The folder of the results."""
        return results_of(self.place)


def look_at(place: Path) -> Look:
    """Read the files of a session; faults are part of what is returned."""
    if not place.exists():
        gone = f"{place} is no longer there. Where it was moved, open it anew on the page Begin."
        return Look(place, digest_of(place), None, (gone,))
    bare = place.is_file()
    seen = "" if bare else digest_of(place)
    changes = NOTHING_TO_UNDO
    try:
        changes = changes if bare else undoable(place)
        session = bare_session(place) if bare else read(place, filmed=False)
        review = Review() if bare else read_review(session)
        shots = _shots(place)
    except InputError as error:
        return Look(place, seen, None, tuple(error.sentences()), undoable=changes)
    if shots is None:
        return Look(place, seen, session, undoable=changes)
    about = matched(shots, review.decisions)
    rows = tuple(
        (shot, about.get(index) or added_of(shot, review.added)) for index, shot in enumerate(shots)
    )
    written = results_of(place) / "shots.json"
    told = read_causes(written), read_notes(written)
    return Look(place, seen, session, (), rows, True, _outdated(place), changes, *told)


def flights_of(place: Path) -> Mapping[ShotKey, tuple[TrackPoint, ...]]:
    """Return the places of the ball of every measured flight, by clip and number of the shot.

    Raises
    ------
    InputError
        Where ``tracks.csv`` cannot be read.
    """
    return read_points(results_of(place) / "tracks.csv")


def refuse_missing(places: Iterable[Path]) -> None:
    """Raise for what is neither a session's folder nor a file; faults inside are for the page.

    Raises
    ------
    InputErrors
        With every such place.
    """
    faults = []
    for place in places:
        if not place.exists():
            remedy = meant(place, "check its name, and the folder that it lies in")
            what = "there is no such file or folder"
            faults.append(InputError(what, where=str(place), remedy=remedy))
        elif place.is_dir() and not (place / SESSION_FILE).is_file():
            remedy = f"point at another folder, or begin one: lobmeter new {typed(place)} CLIP"
            faults.append(InputError(f"holds no {SESSION_FILE}", where=str(place), remedy=remedy))
    if faults:
        raise InputErrors(faults)


def results_of(place: Path) -> Path:
    """Return the results folder of a session's folder or of a bare video file."""
    if place.is_file():
        return folder_of(place.parent, place.stem)
    return folder_of(place)


def _shots(place: Path) -> list[Shot] | None:
    try:
        return read_shots(results_of(place) / "shots.csv")
    except FileNotFoundError:
        return None


def _outdated(place: Path) -> bool:
    if place.is_file():
        return False
    made_from = read_provenance(results_of(place) / "shots.json").inputs
    for name in (SESSION_FILE, REVIEW_FILE):
        path = place / name
        if made_from.get(name, "") != (sha256_of(path) if path.is_file() else ""):
            return True
    return False
