"""A person's decisions applied to what was measured."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TypeVar

from tracker.records import MeasuredShot, Quality, Reason, ReasonCode, Shot
from tracker.results.matching import paired
from tracker.session import Decision, Verdict
from tracker.workflow.measured import MeasuredClip

Measured = TypeVar("Measured", bound=MeasuredShot)

CODES = {
    Verdict.REJECT: (ReasonCode.REJECTED_BY_HAND, Quality.REJECTED),
    Verdict.ACCEPT: (ReasonCode.ACCEPTED_BY_HAND, Quality.GOOD),
}
"""Reason and quality that each verdict gives."""

NEEDED = ("exit_speed_mps", "carry_m")
"""Figures without which a row cannot be accepted."""


def decide(
    clips: Iterable[MeasuredClip], decisions: Sequence[Decision]
) -> tuple[tuple[MeasuredClip, ...], tuple[str, ...]]:
    """Return the clips with a person's decisions applied, and notes on those that were not.

    Parameters
    ----------
    clips : iterable of MeasuredClip
    decisions : sequence of Decision
    """
    decided = []
    used: set[Decision] = set()
    notes: list[str] = []
    for clip in clips:
        shots = list(clip.shots)
        for index, decision in matched([one.shot for one in shots], decisions).items():
            used.add(decision)
            shots[index] = _applied(shots[index], decision, notes)
        decided.append(replace(clip, shots=tuple(shots)))
    notes += [unmatched_note(one) for one in decisions if one not in used]
    return tuple(decided), tuple(notes)


def matched(shots: Sequence[Shot], decisions: Iterable[Decision]) -> dict[int, Decision]:
    """Return, by the index of a shot, the decision about it.

    Parameters
    ----------
    shots : sequence of Shot
        Of any clips.
    decisions : iterable of Decision
    """
    found: dict[int, Decision] = {}
    listed = list(decisions)
    for file in dict.fromkeys(shot.clip for shot in shots):
        indices = [index for index, shot in enumerate(shots) if shot.clip == file]
        mine = [decision for decision in listed if decision.clip == file]
        pairs = paired([shots[i].release_s for i in indices], [one.release_s for one in mine])
        found |= {indices[i]: mine[j] for i, j in pairs.items()}
    return found


def unmatched_note(decision: Decision) -> str:
    """Return the note on a decision that fits no shot."""
    return (
        f"{decision.where}: no shot of {decision.clip} was released at {decision.release_s:g} s; "
        "the decision is kept and changes nothing"
    )


def _applied(measured: Measured, decision: Decision, notes: list[str]) -> Measured:
    shot = measured.shot
    if decision.setup is not None:
        shot = replace(shot, setup=decision.setup)
    if decision.verdict is Verdict.ACCEPT and any(getattr(shot, name) is None for name in NEEDED):
        notes.append(
            f"{decision.where}: shot {shot.shot} of {shot.clip} has no figures, so it cannot be "
            "accepted"
        )
    elif decision.verdict is not None:
        code, quality = CODES[decision.verdict]
        reasons = (Reason(code, words=decision.reason), *shot.reasons)
        shot = replace(shot, quality=quality, reasons=reasons)
    return replace(measured, shot=shot)
