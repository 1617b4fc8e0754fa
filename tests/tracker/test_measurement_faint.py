"""Faint balls are looked for in a second pass, where the first one found nothing."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import calibrated, circumstances
from tracker.measurement.passes import NO_OBSERVERS
from tracker.measurement.starts import release
from tracker.measurement.starts.protocol import Findings
from tracker.records import Quality

CONTEXT = clip_context(circumstances(calibrated()))


def sized(diameter_px: float) -> release.ClipContext:
    return replace(CONTEXT, settings=replace(CONTEXT.settings, diameter_px=diameter_px))


def findings(quality: Quality) -> Findings:
    found = Findings(CONTEXT.camera)
    found.shots.append(SimpleNamespace(shot=SimpleNamespace(quality=quality)))
    return found


@pytest.mark.parametrize("diameter_px", [1.4, 2.49, 2.5, 6.0])
@pytest.mark.parametrize("second", [Quality.CHECK, Quality.REJECTED])
def test_only_small_balls_are_looked_for_again_and_only_a_shot_counts(
    monkeypatch: pytest.MonkeyPatch, diameter_px: float, second: Quality
) -> None:
    looked: list[bool] = []

    def search(context: release.ClipContext, *_: object) -> Findings:
        looked.append(context.faint and context.search_context().faint)
        assert context.settings.most == 4 * CONTEXT.settings.most
        return again

    first, again = findings(Quality.REJECTED), findings(second)
    monkeypatch.setattr(release, "_search", search)
    monkeypatch.setattr(release.Timing, "of_file", lambda _: None)
    context = sized(diameter_px)
    assert not context.search_context().faint
    found = release._with_faint(context, first, NO_OBSERVERS)
    assert looked == [True] * (diameter_px < 2.5)
    assert found is (again if looked and second is Quality.CHECK else first)
