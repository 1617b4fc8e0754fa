"""A clip of which nobody stated the ball: what falls as another one does is measured as that."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from unittest.mock import Mock

import pytest

from tests.tracker.invented_shot import CAMERA
from tests.tracker.test_workflow_results import small
from tracker.flight.ball import ball_named
from tracker.measurement import ClipRequest, ClipResult
from tracker.records import Quality, Reason, ReasonCode, sentence
from tracker.session import bare_session
from tracker.workflow import clips, finishing
from tracker.workflow.entering import entry_of
from tracker.workflow.inputs import results_of
from tracker.workflow.measured import MeasuredClip, SessionResult
from tracker.workflow.presumed_ball import ball_instead


def another(least_cm: float, most_cm: float) -> Reason:
    numbers = {"release_s": 1.0, "stated_cm": 6.7, "least_cm": least_cm, "most_cm": most_cm}
    return Reason(ReasonCode.ANOTHER_BALL, numbers)


@pytest.mark.parametrize(
    ("least_cm", "most_cm", "name"),
    [
        (14.0, 36.0, "football"),
        (8.7, 22.3, "football"),
        (2.3, 6.0, "table tennis"),
    ],
)
def test_the_ball_of_the_table_nearest_in_size_is_presumed(least_cm, most_cm, name) -> None:
    found = ball_instead([another(least_cm, most_cm)])
    assert found is not None
    ball, reason = found
    stated = ball_named(name)
    assert ball.name == name and ball.diameter_m == stated.diameter_m
    assert ball.diameter_u_m == pytest.approx(0.1 * stated.diameter_m)
    assert ball.mass_u_kg == pytest.approx(0.5 * stated.mass_kg)
    assert reason.code is ReasonCode.BALL_PRESUMED
    assert reason.clause.endswith(
        f"{least_cm:.0f} to {most_cm:.0f} cm across, so it is taken to be: {name}"
    )


def test_a_size_that_no_ball_of_the_table_has_tells_none() -> None:
    assert ball_instead([another(10.0, 20.0)]) is None


def test_only_another_ball_as_the_first_cause_tells_one() -> None:
    assert ball_instead([]) is None
    assert ball_instead([Reason(ReasonCode.NOTHING_FALLS), another(14.0, 36.0)]) is None


@pytest.mark.parametrize(
    ("stated", "second", "balls", "said"),
    [
        (None, "shot", ["tennis", "football"], "football"),
        (None, "none", ["tennis", "football"], "tennis"),
        ("tennis", "shot", ["tennis", "football"], "tennis"),
        ("tennis", "none", ["tennis", "football"], "tennis"),
    ],
)
def test_a_clip_is_searched_again_for_the_ball_that_falls(
    stated, second, balls, said, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    session = bare_session(tmp_path / "toss.mp4", stated)
    camera = CAMERA
    nothing = Reason(ReasonCode.NOTHING_FALLS)
    none = ClipResult((), ("none",), camera, (), (another(14.0, 36.0), nothing))
    row = replace(small(1).shot, quality=Quality.CHECK)
    shot = ClipResult((replace(small(1), shot=row),), ("a shot",), camera)
    asked: list[ClipRequest] = []

    def measured(facts, request, start, observers) -> ClipResult:
        asked.append(request)
        return shot if len(asked) > 1 and second == "shot" else none

    monkeypatch.setattr(clips, "measure", measured)
    facts = SimpleNamespace(frame_count=60, size_px=(1920, 1080), capture_fps=None)
    ready = clips.ReadyClip(session.clips[0], facts, None)  # type: ignore[arg-type]
    found = clips.measure_ready(session, ready)
    assert [request.ball.name for request in asked] == balls
    if len(asked) > 1:
        assert [each.code for each in asked[1].doubts] == [ReasonCode.BALL_PRESUMED]
    whole = shot if said == "football" else none
    assert found.shots == whole.shots
    # Another ball is named only where the clip gives a shot of it.
    named = () if whole is shot else none.causes[:1] if second == "shot" else (nothing,)
    assert found.causes == named
    assert not named or found.notes[-1] == sentence(named)
    taken = [note for note in found.notes if "the ball is taken to be" in note]
    assert taken == [f"the ball is taken to be {said} (--ball for another)"]


@pytest.mark.parametrize(
    ("stated", "presumed", "kept"),
    [(None, "football", "football"), ("cricket", None, "cricket"), (None, None, "tennis")],
)
def test_the_logbook_keeps_the_ball_that_a_bare_clip_was_measured_with(
    stated, presumed, kept, tmp_path: Path
) -> None:
    """The file alone does not say it when it is added to the logbook."""
    path = tmp_path / "toss.mp4"
    session = bare_session(path, stated)
    numbers = {"least_cm": 14.0, "most_cm": 36.0}
    reasons = (Reason(ReasonCode.BALL_PRESUMED, numbers, presumed),) if presumed else ()
    row = replace(
        small(1).shot, clip="toss.mp4", setup="toss", quality=Quality.CHECK, reasons=reasons
    )
    clip = MeasuredClip(session.clips[0], None, CAMERA, (replace(small(1), shot=row),), ())
    result = SessionResult(session, (clip,), results_of(session))
    task = Mock(digests={"toss.mp4": "ab" * 32}, from_anywhere=False)
    finishing._write(result, {}, [task])
    entry = entry_of(bare_session(path), path)
    assert entry.conditions["ball_type"] == kept
    assert len(entry.shots) == 1
