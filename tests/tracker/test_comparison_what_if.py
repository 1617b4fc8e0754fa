"""A setup with numbers changed, as the page's sliders change them, and its chart and words."""

import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest

from calibration.errors import InputError
from tests.tracker.invented_outings import session
from tracker.comparison.target import GRAINS, SETTINGS
from tracker.comparison.what_if import Curve, Outlook, Seen
from tracker.launcher.discharge import Discharge
from tracker.report.document.sweep_chart import sweep_chart
from tracker.report.outlook_words import discharge_sentence, outlook_sentence
from tracker.session import read_session
from tracker.statistics.components import Estimate
from tracker.workflow.launcher import Launcher
from tracker.workflow.predict import predict_sessions
from tracker.workflow.standing import standing

NAME = "140 mm wheels"


@pytest.fixture(scope="module")
def lane(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("fen") / "lane"
    return session(folder, {"100 mm wheels": 4, NAME: 4, "180 mm wheels": 0})


@pytest.fixture(scope="module")
def launcher(lane: Path) -> Launcher:
    return Launcher(lane)


def test_without_changes_it_is_the_prediction_of_the_command(launcher, lane) -> None:
    own = launcher.outlook(NAME, {})
    (command,) = predict_sessions([lane], NAME).setups
    assert own.own
    assert own.prediction.exit_speed == command.prediction.exit_speed
    assert own.prediction.carry == command.prediction.carry
    assert "guard the gap" in own.cautions[0]
    assert "against" not in own.safety


def test_a_larger_wheel_is_that_of_a_sweep(launcher, lane) -> None:
    found = launcher.outlook(NAME, {"wheel.diameter_mm": 160.0})
    sweeps = ["wheel.diameter_mm=160:180:2"]
    along = predict_sessions([lane], NAME, sweeps).sweep
    assert not found.own
    assert found.prediction.carry.value == pytest.approx(along.predictions[0].carry.value, rel=0.01)
    assert re.search(r"the wheels hold \d+ J against \d+ J now", found.safety)


def test_sliders_reach_from_grain_to_grain_about_the_present(launcher) -> None:
    turned = {one.key: one for one in launcher.turned(NAME)}
    assert tuple(turned) == SETTINGS
    for key, one in turned.items():
        assert one.low <= one.present <= one.high
        for end in (one.low, one.high):
            assert end / GRAINS[key] == pytest.approx(round(end / GRAINS[key]), abs=1e-6)
    assert (turned["motor.duty_percent"].low, turned["motor.duty_percent"].high) == (30.0, 100.0)
    assert turned["battery.rest_v"].present == 12.0


def test_a_curve_holds_what_was_shot_within_its_ends(launcher) -> None:
    found = launcher.curve(NAME, {"motor.duty_percent": 80.0}, "wheel.diameter_mm")
    assert [seen.name for seen in found.seen] == ["100 mm wheels", NAME]
    assert found.values[0] == 84.0 and found.values[-1] == 210.0
    full = launcher.curve(NAME, {}, "wheel.diameter_mm")
    for slow, fast in zip(found.expected, full.expected, strict=True):
        assert slow.value < fast.value


def test_tables_of_a_further_setup_are_those_of_the_larger_wheel(launcher, lane) -> None:
    entry = read_session(lane).setup(NAME)
    made = launcher.tables_with(entry, {"wheel.diameter_mm": 150.0, "battery.rest_v": 12.6})
    assert made["wheel"] == {"kind": "spoked", "diameter_mm": 150.0, "mass_g": 241.1}
    assert made["battery"] == {"capacity_ah": 7.0, "rest_v": 12.6}
    assert entry.parts["wheel"]["diameter_mm"] == 140.0


def test_a_wanted_carry_that_nothing_has_is_refused(launcher) -> None:
    with pytest.raises(InputError, match="900 m is no carry"):
        launcher.settings(NAME, 900.0)
    assert "carries 30 m on average" in launcher.settings(NAME, 30.0)[1]


def test_a_chart_has_its_band_marks_and_place() -> None:
    expected = (Estimate(20.0, 1.0), Estimate(25.0, 1.0), None, Estimate(30.0, 1.0))
    seen = (Seen("<b>wheels</b>", 110.0, Estimate(24.0, 0.5)),)
    drawn = sweep_chart(
        Curve("wheel.diameter_mm", "carry_m", (100.0, 120.0, 140.0, 160.0), expected, seen), 120.0
    )
    root = ElementTree.fromstring(str(drawn))
    styles = [one.get("class") for one in root]
    # One run of two values; the single one behind the gap makes no band.
    assert styles.count("band s0") == 1 and styles.count("path s0") == 1
    assert styles.count("fill s1") == 1 and styles.count("thin dashed s1") == 1
    assert "<b>wheels</b>" in [one.text for one in root]
    assert root.findtext("title") == "carry along outer diameter of the wheels, mm"
    band = next(one for one in root if one.get("class") == "band s0")
    heights = [float(point.split(",")[1]) for point in band.get("points").split()]
    # Lower edge first, from left to right; upwards is a smaller height.
    assert heights[0] > heights[3] and heights[1] < heights[0]


def test_words_say_what_keeps_a_ball_in(launcher) -> None:
    good = launcher.outlook(NAME, {}).prediction
    words = outlook_sentence(Outlook(good, True, "", ()))
    assert re.fullmatch(r"Expected: exit speed [\d.]+ m/s ± .+ and carry .+ m \(95 %\)\.", words)
    alone = replace(good, carry=None)
    assert "carry" not in outlook_sentence(Outlook(alone, True, "", ()))
    held = replace(good, starts=False)
    assert outlook_sentence(Outlook(held, True, "", ())) == "The motor cannot start its wheel."
    stuck = replace(good, exit_speed=Estimate(0.0, 0.0))
    assert outlook_sentence(Outlook(stuck, True, "", ())) == "The ball sticks in the gap."


@pytest.mark.parametrize(("shots", "hundredth"), [(143.0, True), (88.0, False)])
def test_words_of_an_evening(shots: float, hundredth: bool) -> None:
    one = Discharge(
        Estimate(shots, 19.0), Estimate(0.93, 0.01), Estimate(0.91, 0.01), Estimate(3.2, 0.4), 0.0
    )
    words = discharge_sentence(one)
    assert words.startswith(f"One charge is enough for {shots:.0f} ±19 shots; the last is 9 %")
    assert ("the 100th 7 %" in words) == hundredth
    assert words.endswith("ready again after 3.2 ±0.4 s.")


def test_standing_is_comparison_and_plan(lane: Path) -> None:
    found = standing(lane, "carry_m", 2.0)
    assert found.sentences[0].startswith('Build "180 mm wheels"')
    assert found.plan[0].startswith('"180 mm wheels": 5 more shots')
    assert [one.name for one in found.setups] == ["100 mm wheels", NAME, "180 mm wheels"]
    assert not (lane / "results" / "comparison-carry-m.png").exists()
