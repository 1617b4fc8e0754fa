"""Check of a session: faults, facts and advice."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from calibration.errors import InputError, InputErrors
from tracker.session import SESSION_FILE, ClipEntry, Session, read_session
from tracker.video import ClipFacts
from tracker.workflow.advice import camera_advice, launcher_advice, session_advice
from tracker.workflow.gains import Advice, Rank, shares_of
from tracker.workflow.questions import clip_questions, session_questions
from tracker.workflow.stand import calibrate, leaves_gravity, refuse_competing
from tracker.workflow.stands import FactsOf, facts_once, moved_clips


class Kind(StrEnum):
    """Kind of a finding."""

    FAULT = "fault"
    QUESTION = "question"
    ADVICE = "advice"
    FACT = "fact"


@dataclass(frozen=True)
class Finding:
    """One thing that was found, in a sentence.

    Attributes
    ----------
    kind : Kind
    sentence : str
    order : tuple of float
        Puts advice in order, what gains most first.
    """

    kind: Kind
    sentence: str
    order: tuple[float, float] = (0.0, 0.0)


def check_session(folder: Path) -> tuple[Finding, ...]:
    """Check a session without measuring it.

    Parameters
    ----------
    folder : Path
        The session's folder.

    Returns
    -------
    tuple of Finding
        Faults, with which nothing can be measured; facts; questions on what is likely a slip; and
        advice, what gains most first.
    """
    try:
        session = read_session(folder)
    except InputError as error:
        return tuple(Finding(Kind.FAULT, sentence) for sentence in error.sentences())
    found: list[Finding] = [Finding(Kind.FACT, _about(session))]
    found.extend(Finding(Kind.QUESTION, sentence) for sentence in session_questions(session))
    shares = shares_of(session)
    facts_of = facts_once(session)
    by_clip = {each.file: _check_clip(session, each, shares, facts_of) for each in session.clips}
    found.extend(_together(by_clip))
    found.extend(Finding(Kind.QUESTION, one.sentence) for one in moved_clips(session, facts_of))
    found.extend(_advised((*session_advice(session), *launcher_advice(session)), shares))
    advice = sorted((one for one in found if one.kind is Kind.ADVICE), key=lambda one: one.order)
    return (*(one for one in found if one.kind is not Kind.ADVICE), *advice)


def _advised(advice: Iterable[Advice], shares: Mapping[str, float]) -> list[Finding]:
    """Return advice as findings."""
    return [Finding(Kind.ADVICE, one.sentence, one.order(shares)) for one in advice]


def _together(by_clip: Mapping[str, Sequence[Finding]]) -> list[Finding]:
    """Return the findings of the clips; what is found of several is stated once, with all names."""
    clips_of: dict[tuple[Kind, str], list[str]] = {}
    orders: dict[tuple[Kind, str], tuple[float, float]] = {}
    for file, findings in by_clip.items():
        for one in findings:
            key = (one.kind, one.sentence.replace(file, CLIP))
            orders[key] = min(one.order, orders.get(key, one.order))
            clips = clips_of.setdefault(key, [])
            if file not in clips:
                clips.append(file)
    found = []
    for (kind, sentence), clips in sorted(clips_of.items(), key=lambda each: len(each[1])):
        every = len(clips) == len(by_clip) > 1
        said = sentence.replace(CLIP, EVERY.lower() if every else ", ".join(clips))
        if said.startswith(EVERY.lower()):
            said = EVERY + said.removeprefix(EVERY.lower())
        found.append(Finding(kind, said, orders[kind, sentence]))
    return found


EVERY = "Every clip"

CLIP = "\0"
"""Stands for the name of a clip in a sentence that several may share."""


def _about(session: Session) -> str:
    when = f" of {session.date.isoformat()}" if session.date else ""
    clips = "1 clip" if len(session.clips) == 1 else f"{len(session.clips)} clips"
    return f'{SESSION_FILE}: "{session.name}"{when}, {clips}, ball {session.ball.type}.'


def _check_clip(
    session: Session, clip: ClipEntry, shares: Mapping[str, float], facts_of: FactsOf
) -> list[Finding]:
    """Return what there is to say of one clip."""
    try:
        facts = facts_of(clip)
    except InputError as error:
        found = [Finding(Kind.FAULT, sentence) for sentence in error.sentences()]
        return found + [Finding(Kind.ADVICE, sentence) for sentence in _unpicked(clip)]
    try:
        calibration = calibrate(session, clip, facts.size_px)
        refuse_competing(clip, calibration)
    except InputError as error:
        if isinstance(error, InputErrors) and leaves_gravity(clip, error):
            return [Finding(Kind.FACT, _film(clip, facts)), *_gravity_alone(clip, error)]
        found = [Finding(Kind.FAULT, sentence) for sentence in error.sentences()]
        return found + [Finding(Kind.ADVICE, sentence) for sentence in _unpicked(clip)]
    found = [Finding(Kind.FACT, _film(clip, facts))]
    found.append(Finding(Kind.FACT, f"{clip.file}: {calibration.summary}."))
    found.extend(Finding(Kind.QUESTION, text) for text in clip_questions(clip, calibration))
    # What is asked about a marker is not repeated as advice.
    asked = tuple(one.text for one in calibration.suspects)
    rest = [note for note in calibration.notes if not note.startswith(asked)]
    found += [Finding(Kind.FACT, f"{clip.file}: {note.rstrip('.')}.") for note in facts.notes]
    found += [Finding(Kind.ADVICE, sentence) for sentence in _unpicked(clip)]
    noted = [Advice(f"{clip.file}: {note.rstrip('.')}.", Rank.GUARD) for note in rest]
    return found + _advised((*noted, *camera_advice(session, clip, calibration)), shares)


def _gravity_alone(clip: ClipEntry, error: InputErrors) -> list[Finding]:
    """Say that a clip can be measured, and at what price, without a calibrated camera."""
    found = [Finding(Kind.ADVICE, sentence) for sentence in error.sentences()]
    words = (
        f"{clip.file}: as it is, measure takes gravity as the scale, which leaves the exit speed "
        "to some percent and the azimuth open."
    )
    return [*found, Finding(Kind.ADVICE, words)]


def _film(clip: ClipEntry, facts: ClipFacts) -> str:
    width, height = facts.size_px
    true_fps = facts.file_fps * facts.pace
    slow = f", playing {facts.pace:.3g} times slower than life" if facts.pace != 1.0 else ""
    return (
        f"{clip.file}: {width} x {height}, {true_fps:.4g} frames a second{slow}, "
        f"{facts.duration_s:.1f} s, {facts.codec}."
    )


def _unpicked(clip: ClipEntry) -> list[str]:
    """Name the markers whose pixel is still to be picked."""
    names = [entry.name for entry in clip.markers if entry.pixel is None]
    if not names:
        return []
    listed = ", ".join(f'"{name}"' for name in names)
    return [
        f"{SESSION_FILE}, [[marker]] {listed}: no pixel yet; add pixel = [column, row] "
        f"where the marker stands in {clip.file}."
    ]
