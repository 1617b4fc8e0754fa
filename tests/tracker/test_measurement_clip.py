"""The one entry: what a start finds becomes numbered rows, or the cause of there being none."""

import pkgutil
from dataclasses import FrozenInstanceError, dataclass, field, is_dataclass, replace
from importlib import import_module
from typing import Any

import numpy as np
import pytest

from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import calibrated, circumstances, request
from tests.tracker.invented_shot import invented
from tracker import measurement
from tracker.measurement import FittedShot, Observers, measure
from tracker.measurement.starts import Findings
from tracker.records import Quality, Reason, ReasonCode

CAUSE = Reason(ReasonCode.TAPED_IN_FEET)
CAMERA = calibrated()


def facts() -> Any:
    context = clip_context(circumstances(CAMERA))
    object.__setattr__(context.facts, "notes", ("a note of the file",))
    return context.facts


def shot(release_s: float, quality: Quality = Quality.GOOD) -> FittedShot:
    found = invented()[0]
    path = found.path
    assert path is not None
    later = release_s - found.shot.release_s
    return FittedShot(
        replace(found.shot, release_s=release_s, quality=quality, shot=0),
        tuple(
            replace(point, frame=point.frame + round(120 * later), time_s=point.time_s + later)
            for point in found.points
        ),
        replace(path, times_s=path.times_s + later),
    )


@dataclass
class Stub:
    """A start that finds what it was given."""

    shots: list[FittedShot]
    asked: list[object] = field(default_factory=list)

    def find(self, facts: object, request: object, observers: Observers) -> Findings:
        return Findings(CAMERA, self.shots, notes=["a note of the start"])

    def causes_of_no_shot(self, *given: object) -> tuple[Reason, ...]:
        self.asked.append(given[3])
        return (CAUSE,)


def test_rows_are_numbered_in_order_of_time_with_their_points() -> None:
    start = Stub([shot(20.0), shot(4.0), shot(9.0)])
    result = measure(facts(), request(), start)
    assert [each.shot.release_s for each in result.shots] == [4.0, 9.0, 20.0]
    assert [each.shot.shot for each in result.shots] == [1, 2, 3]
    for number, each in enumerate(result.shots, start=1):
        assert {point.shot for point in each.points} == {number}
    assert result.notes == ("a note of the file", "a note of the start")
    assert result.camera is CAMERA and result.causes == () and start.asked == []


@pytest.mark.parametrize("shots", [[], [Quality.REJECTED]])
def test_the_cause_is_stated_where_there_is_no_shot(shots: list[Quality]) -> None:
    start = Stub([shot(4.0, quality) for quality in shots])
    result = measure(facts(), request(), start)
    assert result.causes == (CAUSE,)
    assert start.asked == [[each.shot for each in start.shots]]
    assert result.notes[-1].startswith("No shot was found") and "feet" in result.notes[-1]


@pytest.mark.parametrize("where", ["find", "causes_of_no_shot"])
def test_a_fit_beyond_all_numbers_warns_nobody(
    where: str, recwarn: pytest.WarningsRecorder
) -> None:
    start = Stub([])
    found = getattr(start, where)

    def beyond(*given: object) -> object:
        far = np.array([1e308]) * 10.0
        assert np.isnan((far - far)[0])
        return found(*given)

    setattr(start, where, beyond)
    measure(facts(), request(), start)
    assert not recwarn.list


def test_a_doubtful_shot_needs_no_cause() -> None:
    start = Stub([shot(4.0, Quality.CHECK)])
    assert measure(facts(), request(), start).causes == ()
    assert start.asked == []


def test_a_doubt_about_the_whole_session_is_one_of_every_row_that_counts() -> None:
    doubt = Reason(ReasonCode.NEVER_LANDS)
    shots = [shot(4.0), shot(9.0, Quality.CHECK), shot(14.0, Quality.REJECTED)]
    result = measure(facts(), replace(request(), doubts=(doubt,)), Stub(shots))
    given = [each.shot.reasons for each in shots]
    assert [each.shot.quality for each in result.shots] == [
        Quality.CHECK, Quality.CHECK, Quality.REJECTED,
    ]  # fmt: skip
    assert [doubt in each.shot.reasons for each in result.shots] == [True, True, False]
    assert result.shots[2].shot.reasons == given[2]


FILLED_ON_THE_WAY = {
    "CloseUps", "FramePass", "Findings", "NearMeasurement", "Renewals",
    "UntapedMeasurement",
}  # fmt: skip
"""What a pass or a search fills while it runs; all else is handed on as it was made."""


def test_what_one_step_hands_to_the_next_cannot_be_changed() -> None:
    names = [
        each.name for each in pkgutil.walk_packages(measurement.__path__, "tracker.measurement.")
    ]
    made = {
        value
        for name in names
        for value in vars(import_module(name)).values()
        if isinstance(value, type) and is_dataclass(value) and value.__module__ == name
    }
    assert len(made) > 30
    for each in made:
        one = object.__new__(each)
        if each.__name__ in FILLED_ON_THE_WAY:
            one.anything = 1  # type: ignore[attr-defined]
        else:
            with pytest.raises(FrozenInstanceError):
                one.anything = 1  # type: ignore[attr-defined]
