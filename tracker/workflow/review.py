"""``lobmeter review``: a person's decisions about the shots of a measured session."""

from dataclasses import dataclass, replace
from pathlib import Path

from calibration.errors import InputError
from tracker.records import Shot
from tracker.results import folder_of, put_in_place, read_shots
from tracker.results.matching import paired
from tracker.session import (
    REVIEW_FILE,
    Decision,
    Session,
    Verdict,
    journal,
    parse_review,
    read_review,
    read_session,
    review_path,
    with_decision,
    without_decision,
)
from tracker.workflow.decisions import matched, unmatched_note


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
    """

    clip: str | None = None
    shot: int | None = None
    release_s: float | None = None
    verdict: Verdict | None = None
    reason: str = ""
    setup: str | None = None


@dataclass(frozen=True)
class Reviewed:
    """The decisions of a session.

    Attributes
    ----------
    session : Session
    rows : tuple of (Shot, Decision or None)
        Every shot of the results with the decision about it.
    notes : tuple of str
        On decisions that fit no shot.
    done : str
        What was changed, in words; empty where nothing was.
    """

    session: Session
    rows: tuple[tuple[Shot, Decision | None], ...]
    notes: tuple[str, ...]
    done: str = ""


def review_session(folder: Path, done: str = "") -> Reviewed:
    """Return the shots of a session with the decisions about them.

    Raises
    ------
    InputErrors
        With every fault of ``session.toml``, ``review.toml`` or the results.
    """
    session = read_session(folder, filmed=False)
    shots, decisions = _shots(session), read_review(session)
    found = matched(shots, decisions)
    used = set(found.values())
    return Reviewed(
        session,
        tuple((shot, found.get(index)) for index, shot in enumerate(shots)),
        tuple(unmatched_note(one) for one in decisions if one not in used),
        done,
    )


def decide_shot(folder: Path, wanted: Wanted) -> Reviewed:
    """Write a decision about one shot into ``review.toml`` and the journal.

    A decision about the same shot is replaced; what the new one leaves open stays.

    Raises
    ------
    InputErrors
        Where the shot is not there or the decision is not whole.
    """
    session = read_session(folder, filmed=False)
    clip, release_s, name = _place(session, wanted)
    decisions = read_review(session)
    number = _number(decisions, clip, release_s)
    decision = Decision(clip, release_s)
    if number is not None:
        decision = replace(decisions[number], clip=clip)
    if wanted.verdict is not None:
        decision = replace(decision, verdict=wanted.verdict, reason=wanted.reason)
    if wanted.setup is not None:
        decision = replace(decision, setup=wanted.setup)
    before = _text(session)
    return _changed(session, with_decision(before, decision, number), f"{name}: {decision.words}")


def take_back(folder: Path, wanted: Wanted) -> Reviewed:
    """Remove the decision about one shot; the journal keeps it.

    Raises
    ------
    InputError
        Where there is none.
    """
    session = read_session(folder, filmed=False)
    clip, release_s, name = _place(session, wanted)
    number = _number(read_review(session), clip, release_s)
    if number is None:
        raise InputError(f"has no decision about {name}", where=REVIEW_FILE)
    text = without_decision(_text(session), number)
    return _changed(session, text, f"{name}: decision taken back")


def undo(folder: Path) -> Reviewed:
    """Take back the last change that was made by this command.

    Raises
    ------
    InputError
        Where there is none, or the file was edited by hand since.
    """
    session = read_session(folder, filmed=False)
    text = _text(session)
    change = journal.last_change(session.folder, text)
    if change is None:
        raise InputError("there is nothing to undo", where=REVIEW_FILE)
    return _changed(session, change.before, f"undone: {change.what}", undoes=True)


def _changed(session: Session, text: str, done: str, undoes: bool = False) -> Reviewed:
    """Write ``review.toml`` after the journal."""
    parse_review(text, session)
    journal.record(session.folder, done, _text(session), text, undoes)
    if text:
        put_in_place(session.folder, {REVIEW_FILE: text.encode("utf-8")})
    else:
        review_path(session).unlink(missing_ok=True)
    return review_session(session.folder, done)


def _text(session: Session) -> str:
    path = review_path(session)
    return path.read_text(encoding="utf-8-sig") if path.is_file() else ""


def _shots(session: Session) -> list[Shot]:
    try:
        return read_shots(folder_of(session.folder) / "shots.csv")
    except FileNotFoundError:
        raise InputError(
            "there are no results to review yet",
            where=str(session.folder),
            remedy=f"lobmeter measure {session.folder}",
        ) from None


def _number(decisions: tuple[Decision, ...], clip: str, release_s: float) -> int | None:
    """Return the number of the decision about a release, None where there is none."""
    mine = [index for index, one in enumerate(decisions) if one.clip == clip]
    pairs = paired([release_s], [decisions[index].release_s for index in mine])
    return mine[pairs[0]] if pairs else None


def _place(session: Session, wanted: Wanted) -> tuple[str, float, str]:
    """Return clip and time of release of the shot that is meant, and its name."""
    clip = wanted.clip
    files = [each.file for each in session.clips]
    if clip is None:
        if len(files) != 1:
            remedy = f"name one of {', '.join(files)}"
            raise InputError("the session has several clips", where="--clip", remedy=remedy)
        clip = files[0]
    if wanted.release_s is not None:
        return clip, wanted.release_s, f"the shot of {clip} at {wanted.release_s:g} s"
    if wanted.shot is None:
        raise InputError("which shot?", where="--shot", remedy="give its number in the table")
    rows = [shot for shot in _shots(session) if shot.clip == clip]
    for shot in rows:
        if shot.shot == wanted.shot:
            return clip, shot.release_s, f"shot {shot.shot} of {clip}"
    numbers = ", ".join(str(shot.shot) for shot in rows) or "none"
    raise InputError(
        f"there is no shot {wanted.shot} of {clip} in the results",
        where="--shot",
        remedy=f"the shots of this clip are {numbers}",
    )
