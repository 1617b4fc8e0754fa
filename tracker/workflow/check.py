"""Check of a session: faults, facts and advice."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from calibration.errors import InputError, InputErrors
from tracker.session import SESSION_FILE, ClipEntry, Session, read_session
from tracker.video import ClipFacts
from tracker.workflow.advice import camera_advice, launcher_advice, session_advice
from tracker.workflow.inputs import inspected
from tracker.workflow.questions import clip_questions, session_questions
from tracker.workflow.stand import calibrate, leaves_gravity, refuse_competing


class Kind(StrEnum):
    """Kind of a finding."""

    FAULT = "fault"
    QUESTION = "question"
    ADVICE = "advice"
    FACT = "fact"


@dataclass(frozen=True)
class Finding:
    """One thing that was found, in a sentence."""

    kind: Kind
    sentence: str


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
        advice.
    """
    try:
        session = read_session(folder)
    except InputError as error:
        return tuple(Finding(Kind.FAULT, sentence) for sentence in error.sentences())
    found: list[Finding] = [Finding(Kind.FACT, _about(session))]
    found.extend(Finding(Kind.QUESTION, sentence) for sentence in session_questions(session))
    found.extend(_together({each.file: _check_clip(session, each) for each in session.clips}))
    found.extend(Finding(Kind.ADVICE, sentence) for sentence in session_advice(session))
    found.extend(Finding(Kind.ADVICE, sentence) for sentence in launcher_advice(session))
    return tuple(found)


def _together(by_clip: Mapping[str, Sequence[Finding]]) -> list[Finding]:
    """Return the findings of the clips; what is found of several is stated once, with all names."""
    clips_of: dict[tuple[Kind, str], list[str]] = {}
    for file, findings in by_clip.items():
        for one in findings:
            clips = clips_of.setdefault((one.kind, one.sentence.replace(file, CLIP)), [])
            if file not in clips:
                clips.append(file)
    found = []
    for (kind, sentence), clips in sorted(clips_of.items(), key=lambda each: len(each[1])):
        every = len(clips) == len(by_clip) > 1
        said = sentence.replace(CLIP, EVERY.lower() if every else ", ".join(clips))
        if said.startswith(EVERY.lower()):
            said = EVERY + said.removeprefix(EVERY.lower())
        found.append(Finding(kind, said))
    return found


EVERY = "Every clip"

CLIP = "\0"
"""Stands for the name of a clip in a sentence that several may share."""


def _about(session: Session) -> str:
    when = f" of {session.date.isoformat()}" if session.date else ""
    clips = "1 clip" if len(session.clips) == 1 else f"{len(session.clips)} clips"
    return f'{SESSION_FILE}: "{session.name}"{when}, {clips}, ball {session.ball.type}.'


def _check_clip(session: Session, clip: ClipEntry) -> list[Finding]:
    """Return what there is to say of one clip."""
    try:
        facts = inspected(session, clip)
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
    for kind, notes in ((Kind.FACT, facts.notes), (Kind.ADVICE, rest)):
        found += [Finding(kind, f"{clip.file}: {sentence.rstrip('.')}.") for sentence in notes]
    for sentence in (*_unpicked(clip), *camera_advice(session, clip, calibration)):
        found.append(Finding(Kind.ADVICE, sentence))
    return found


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
