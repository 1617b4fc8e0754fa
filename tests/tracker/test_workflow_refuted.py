"""Causes of no shot that would have spoilt the good shots of other clips."""

import operator
from dataclasses import replace

import pytest

from tests.tracker.invented_shot import CAMERA
from tests.tracker.test_workflow_results import small
from tracker.records import Quality, Reason, ReasonCode, sentence
from tracker.session import ClipEntry
from tracker.workflow.measured import MeasuredClip
from tracker.workflow.refuted import without_refuted

SLOW = Reason(ReasonCode.PLAYS_SLOWLY, {"rate_fps": 48.0, "assumed_fps": 30.0})
NOTHING = Reason(ReasonCode.NOTHING_FALLS)


def clip(quality: Quality | None, *causes: Reason) -> MeasuredClip:
    shots = ()
    if quality is not None:
        one = small(1)
        shots = (replace(one, shot=replace(one.shot, quality=quality)),)
    notes = ("a note", *([sentence(causes)] if causes else []))
    entry: ClipEntry = None  # type: ignore[assignment]
    return MeasuredClip(entry, None, CAMERA, shots, notes, (), causes)


def test_slow_motion_is_not_the_cause_where_other_clips_give_good_shots() -> None:
    missed = clip(Quality.REJECTED, SLOW)
    good = clip(Quality.GOOD)
    same, mended = without_refuted([good, missed])
    assert same is good
    (cause,) = mended.causes
    release_s = missed.shots[0].shot.release_s
    assert (cause.code, cause.numbers) == (ReasonCode.ONLY_REJECTED, {"release_s": release_s})
    assert mended.notes == ("a note", sentence((cause,)))
    assert mended.shots is missed.shots


@pytest.mark.parametrize(
    "clips",
    [
        [clip(Quality.CHECK), clip(Quality.REJECTED, SLOW)],
        [clip(Quality.GOOD), clip(None, SLOW)],
        [clip(Quality.GOOD), clip(Quality.REJECTED, NOTHING)],
        [clip(Quality.REJECTED, SLOW)],
    ],
)
def test_what_nothing_refutes_stays(clips: list[MeasuredClip]) -> None:
    assert all(map(operator.is_, without_refuted(clips), clips))
