"""Causes of no shot that the other clips of a session refute."""

from collections.abc import Sequence
from dataclasses import replace

from tracker.records import Quality, Reason, ReasonCode, sentence
from tracker.workflow.measured import MeasuredClip

OF_ALL = frozenset(
    {ReasonCode.PLAYS_SLOWLY, ReasonCode.PLAYS_AT_LIFE_SPEED, ReasonCode.TAPED_IN_FEET}
)
"""What is stated once for every clip of a session: its frame rate, and the unit of its lengths."""


def without_refuted(clips: Sequence[MeasuredClip]) -> tuple[MeasuredClip, ...]:
    """Return clips without causes that would have spoilt the good shots of the others too.

    A clip with a rejected row, which says why it is one, then points to that row. Without one the
    cause stays: this clip alone may play in slow motion.

    Parameters
    ----------
    clips : sequence of MeasuredClip
        Of one session, with a person's decisions applied.
    """
    good = any(one.shot.quality is Quality.GOOD for clip in clips for one in clip.shots)
    return tuple(_pointing_to_its_row(clip) if good else clip for clip in clips)


def _pointing_to_its_row(clip: MeasuredClip) -> MeasuredClip:
    if not clip.shots or not clip.causes or clip.causes[0].code not in OF_ALL:
        return clip
    row = Reason(ReasonCode.ONLY_REJECTED, {"release_s": clip.shots[0].shot.release_s})
    return replace(clip, causes=(row,), notes=(*clip.said, sentence((row,))))
