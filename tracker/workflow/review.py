"""``lobmeter review``: the shots of a measured session with a person's decisions about them."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from calibration.errors import InputError, nearest, typed
from tracker.records import ReasonCode, Shot
from tracker.results import folder_of, read_provenance, read_shots
from tracker.results.digests import sha256_of
from tracker.results.matching import MATCHING_S
from tracker.session import (
    REVIEW_FILE,
    AddedShot,
    Decision,
    Session,
    StatedEnds,
    Verdict,
    read_review,
    read_session,
    review_path,
)
from tracker.session.stated import NOTHING_STATED
from tracker.workflow.decisions import as_decided, matched, unfitted_note, unmatched_note

LONGEST_S = 10.0
"""Longest flight, s: some times that of any thrown ball."""


@dataclass(frozen=True)
class Wanted:
    """Which shot is meant, and what is decided about it.

    Attributes
    ----------
    clip : str or None
        Needed where the session has several.
    shot : int or None
        Its number in the results.
    release_s : float or None
        Its time of release, where it is no longer among the results.
    verdict : Verdict or None
    reason : str
    setup : str or None
    ends : StatedEnds
        What is stated of its release and landing; the rest of an earlier statement stays.
    """

    clip: str | None = None
    shot: int | None = None
    release_s: float | None = None
    verdict: Verdict | None = None
    reason: str = ""
    setup: str | None = None
    ends: StatedEnds = NOTHING_STATED

    @property
    def decides(self) -> bool:
        """Whether anything is decided."""
        return self.verdict is not None or self.setup is not None or bool(self.ends)


@dataclass(frozen=True)
class Reviewed:
    """The decisions of a session.

    Attributes
    ----------
    session : Session
    rows : tuple of (Shot, Decision or AddedShot or None)
        Every shot of the results with the decision about it, or how it was added.
    notes : tuple of str
        On decisions that fit no shot, and on added shots that are not in the results yet.
    done : str
        What was changed, in words; empty where nothing was.
    about : tuple of str and float, or None
        Clip, and a time in the flight, of the shot that was changed.
    waits : bool
        Whether the results were made without the decisions as they stand.
    """

    session: Session
    rows: tuple[tuple[Shot, Decision | AddedShot | None], ...]
    notes: tuple[str, ...]
    done: str = ""
    about: tuple[str, float] | None = None
    waits: bool = False

    @property
    def moves_waiting(self) -> bool:
        """Whether it is not in the results yet how a shot whose end was moved is fitted."""
        return self.waits and any(isinstance(one, Decision) and one.ends for _, one in self.rows)


def review_session(folder: Path, done: str = "") -> Reviewed:
    """Return the shots of a session with the decisions about them.

    Raises
    ------
    InputErrors
        With every fault of ``session.toml``, ``review.toml`` or the results.
    """
    session = read_session(folder, filmed=False)
    shots, review = measured_shots(session), read_review(session)
    waits = _waits(session)
    found = matched(shots, review.decisions)
    made = {added_of(shot, review.added) for shot in shots}
    notes = [unmatched_note(one) for one in review.decisions if one not in found.values()]
    notes += [waiting_note(one) for one in review.added if one not in made]
    if not waits:
        notes += [
            unfitted_note(one, shots[index])
            for index, one in found.items()
            if one.ends and not any(reason.code in MOVED for reason in shots[index].reasons)
        ]
    rows = tuple(
        (as_decided(shot, found.get(index)), found.get(index) or added_of(shot, review.added))
        for index, shot in enumerate(shots)
    )
    return Reviewed(session, rows, tuple(notes), done, waits=waits)


MOVED = (ReasonCode.LANDING_BY_HAND, ReasonCode.RELEASE_BY_HAND)
"""Reasons of a shot that was fitted with what a person stated of its ends."""


def _waits(session: Session) -> bool:
    """Return whether the results were made without the decisions as they stand."""
    made_with = read_provenance(folder_of(session.folder) / "shots.json").inputs.get(REVIEW_FILE)
    path = review_path(session)
    return made_with != (sha256_of(path) if path.is_file() else None)


def refuse_bare(place: Path) -> None:
    """Raise InputError for a video file without a session: nothing is decided about its shots."""
    if place.is_file() and place.suffix.lower() != ".toml":
        raise InputError(
            "is a video file without a session, and decisions belong to a session",
            where=str(place),
            remedy=f"make one of it: lobmeter new FOLDER {typed(place)}, then lobmeter measure "
            "FOLDER and lobmeter review FOLDER",
        )


def added_of(shot: Shot, added: Iterable[AddedShot]) -> AddedShot | None:
    """Return the addition that a shot was made from, None for one that was found."""
    if all(reason.code is not ReasonCode.ADDED_BY_HAND for reason in shot.reasons):
        return None
    mine = [one for one in added if one.clip == shot.clip]
    return next((one for one in sorted(mine, key=_begins) if _holds(shot, one)), None)


def _begins(one: AddedShot) -> float:
    return one.begins_s


def _holds(shot: Shot, one: AddedShot) -> bool:
    """Return whether a shot's flight holds the first place of an addition."""
    end_s = shot.release_s + LONGEST_S
    return shot.release_s - MATCHING_S <= one.begins_s <= end_s


def waiting_note(one: AddedShot) -> str:
    """Return the note on an added shot that is not in the results."""
    return (
        f"{one.where}: the shot added at {one.begins_s:g} s of {one.clip} is not in the results; "
        "lobmeter measure brings it there"
    )


def measured_shots(session: Session) -> list[Shot]:
    """Return the rows of a session's results.

    Raises
    ------
    InputError
        Where there are none.
    """
    try:
        return read_shots(folder_of(session.folder) / "shots.csv")
    except FileNotFoundError:
        raise InputError(
            "there are no results to review yet",
            where=str(session.folder),
            remedy=f"lobmeter measure {typed(session.folder)}",
        ) from None


def _refuse_unknown(clip: str, session: Session) -> None:
    """Raise InputError for a clip that neither the session names nor a decision."""
    files = [each.file for each in session.clips]
    review = read_review(session)
    decided = [one.clip for one in review.decisions] + [one.clip for one in review.added]
    if clip in files or clip in decided:
        return
    same = [file for file in files if PurePosixPath(file).name == PurePosixPath(clip).name]
    near = same[0] if same else nearest(clip, files)
    guess = f"did you mean {near}? The" if near else "the"
    raise InputError(
        f"{clip} is no clip of the session",
        where="--clip",
        remedy=f"{guess} clips are {', '.join(files)}",
    )


def place_of(session: Session, wanted: Wanted) -> tuple[str, float, str]:
    """Return clip and time of release of the shot that is meant, and its name.

    Raises
    ------
    InputError
        Where it is not there.
    """
    clip = wanted.clip
    files = [each.file for each in session.clips]
    if clip is None:
        if len(files) != 1:
            remedy = f"name one of {', '.join(files)}"
            raise InputError("the session has several clips", where="--clip", remedy=remedy)
        clip = files[0]
    _refuse_unknown(clip, session)
    if wanted.release_s is not None:
        return clip, wanted.release_s, f"the shot of {clip} at {wanted.release_s:g} s"
    if wanted.shot is None:
        raise InputError("which shot?", where="--shot", remedy="give its number in the table")
    rows = [shot for shot in measured_shots(session) if shot.clip == clip]
    for shot in rows:
        if shot.shot == wanted.shot:
            return clip, shot.release_s, f"shot {shot.shot} of {clip}"
    numbers = ", ".join(str(shot.shot) for shot in rows) or "none"
    raise InputError(
        f"there is no shot {wanted.shot} of {clip} in the results",
        where="--shot",
        remedy=f"the shots of this clip are {numbers}",
    )
