"""Changing ``review.toml``: decisions about shots, shots added, changes taken back."""

from collections.abc import Callable
from dataclasses import replace
from functools import wraps
from pathlib import Path
from typing import Concatenate, ParamSpec

from calibration.errors import InputError
from tracker.measurement.added import picks_along
from tracker.records import RejectedCandidate
from tracker.results import alone
from tracker.results.matching import paired
from tracker.session import (
    REVIEW_FILE,
    AddedShot,
    Decision,
    Place,
    Review,
    Session,
    parse_review,
    read_review,
    read_session,
    with_added,
    with_decision,
    without_added,
    without_decision,
)
from tracker.session.history import Step, text_of
from tracker.workflow.edit import CHANGING, last_made, write_recorded
from tracker.workflow.kept import KeptSession
from tracker.workflow.review import (
    Reviewed,
    Wanted,
    added_of,
    measured_shots,
    place_of,
    review_session,
)

P = ParamSpec("P")


def _one_at_a_time(
    change: Callable[Concatenate[Path, P], Reviewed],
) -> Callable[Concatenate[Path, P], Reviewed]:
    """Return a change of a session's folder that no other program makes at the same time."""

    @wraps(change)
    def changed(folder: Path, /, *given: P.args, **named: P.kwargs) -> Reviewed:
        with alone(folder, CHANGING):
            return change(folder, *given, **named)

    return changed


@_one_at_a_time
def decide_shot(folder: Path, wanted: Wanted) -> Reviewed:
    """Write a decision about one shot into ``review.toml`` and the history.

    A decision about the same shot is replaced; what the new one leaves open stays.

    Raises
    ------
    InputErrors
        Where the shot is not there or the decision is not whole.
    """
    session = read_session(folder, filmed=False)
    clip, release_s, name = place_of(session, wanted)
    decisions = read_review(session).decisions
    number = _number(decisions, clip, release_s)
    decision = Decision(clip, release_s)
    if number is not None:
        decision = replace(decisions[number], clip=clip)
    if wanted.verdict is not None:
        decision = replace(decision, verdict=wanted.verdict, reason=wanted.reason)
    elif wanted.reason:
        decision = replace(decision, reason=wanted.reason)
    if wanted.setup is not None:
        decision = replace(decision, setup=wanted.setup)
    decision = replace(decision, ends=wanted.ends.after(decision.ends))
    before = text_of(session.folder, REVIEW_FILE)
    made = _changed(session, with_decision(before, decision, number), f"{name}: {decision.words}")
    return replace(made, about=(clip, release_s))


@_one_at_a_time
def add_missed(folder: Path, added: AddedShot, kept: KeptSession | None = None) -> Reviewed:
    """Write a shot that the search missed into ``review.toml`` and the history.

    Parameters
    ----------
    folder : Path
    added : AddedShot
        Its clip may be empty where the session has only one.
    kept : KeptSession or None
        With it the shot is measured first, and refused where no flight passes its places.

    Raises
    ------
    InputErrors
        Where its clip is none of the session, its places are not in order of time, or no flight
        from the release passes through them.
    """
    session = read_session(folder, filmed=False)
    clip, _, _ = place_of(session, Wanted(clip=added.clip or None, release_s=added.begins_s))
    if clip not in [each.file for each in session.clips]:
        files = ", ".join(each.file for each in session.clips)
        raise InputError(f"{clip} is no clip of the session", remedy=f"the clips are {files}")
    added = replace(added, clip=clip)
    what = f"the shot of {clip} at {added.begins_s:g} s: {added.words}"
    text = with_added(text_of(session.folder, REVIEW_FILE), added)
    parse_review(text, session)
    if kept is not None:
        kept.measured(added)
    made = _changed(session, text, what)
    return replace(made, about=(clip, added.begins_s))


def take_candidate(kept: KeptSession, candidate: RejectedCandidate, reason: str = "") -> Reviewed:
    """Add a rejected candidate as a shot, by places of the ball along its path.

    Raises
    ------
    InputError
        Where hardly any of its path lies inside the frame.
    """
    picks = picks_along(candidate, kept.facts(candidate.clip))
    times = kept.times_s(candidate.clip, picks)
    places = tuple(Place(at_s, pick.pixel) for at_s, pick in zip(times, picks.places, strict=True))
    added = AddedShot(candidate.clip, places, picks.u_px, reason=reason)
    return add_missed(kept.session.folder, added, kept)


@_one_at_a_time
def take_back(folder: Path, wanted: Wanted) -> Reviewed:
    """Remove the decision about one shot, or the shot that was added; the history keeps it.

    Raises
    ------
    InputError
        Where there is neither.
    """
    session = read_session(folder, filmed=False)
    clip, release_s, name = place_of(session, wanted)
    review = read_review(session)
    number = _number(review.decisions, clip, release_s)
    if number is not None:
        text = without_decision(text_of(session.folder, REVIEW_FILE), number)
        return _changed(session, text, f"{name}: decision taken back")
    addition = _addition(session, review, clip, release_s)
    if addition is None:
        raise InputError(f"has no decision about {name}", where=REVIEW_FILE)
    text = without_added(text_of(session.folder, REVIEW_FILE), addition)
    return _changed(session, text, f"{name}: addition taken back")


@_one_at_a_time
def undo(folder: Path) -> Reviewed:
    """Take back the last change of ``review.toml`` that a program made.

    Raises
    ------
    InputError
        Where there is none, or the file was edited by hand since.
    """
    session = read_session(folder, filmed=False)
    change = last_made(folder, REVIEW_FILE)
    if change is None:
        raise InputError("there is nothing to undo", where=REVIEW_FILE)
    if change.after != text_of(session.folder, REVIEW_FILE):
        raise InputError(
            "was edited by hand after the last change that can be undone",
            where=REVIEW_FILE,
            remedy="take back one shot's decision with --shot and --take-back, or edit the file",
        )
    return _changed(session, change.before, change.what, Step.UNDO)


def _changed(session: Session, text: str, done: str, step: Step = Step.CHANGE) -> Reviewed:
    """Write ``review.toml`` after the history."""
    write_recorded(
        session.folder, done, REVIEW_FILE, (text_of(session.folder, REVIEW_FILE), text), step
    )
    return review_session(session.folder, f"undone: {done}" if step is Step.UNDO else done)


def _addition(session: Session, review: Review, clip: str, release_s: float) -> int | None:
    """Return the number of the addition that is meant, None where there is none."""
    begun = {index: one.begins_s for index, one in enumerate(review.added) if one.clip == clip}
    pairs = paired([release_s], list(begun.values()))
    if pairs:
        return list(begun)[pairs[0]]
    for shot in measured_shots(session):
        if shot.clip == clip and paired([release_s], [shot.release_s]):
            one = added_of(shot, review.added)
            return None if one is None else review.added.index(one)
    return None


def _number(decisions: tuple[Decision, ...], clip: str, release_s: float) -> int | None:
    """Return the number of the decision about a release, None where there is none."""
    mine = [index for index, one in enumerate(decisions) if one.clip == clip]
    pairs = paired([release_s], [decisions[index].release_s for index in mine])
    return mine[pairs[0]] if pairs else None
