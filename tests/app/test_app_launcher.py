"""The launcher on the page: its numbers as fields, sliders for what if, what shots teach."""

import asyncio
import re
import threading
import tomllib
from collections.abc import Callable
from pathlib import Path
from unittest.mock import Mock

import pytest
from playwright.sync_api import Locator, Page, expect

from calibration.errors import InputError
from tests.app.conftest import Served, ready
from tests.app.loops import awaited
from tests.tracker.invented_outings import session as invented
from tracker.app.launcher.names import in_words
from tracker.app.launcher.what_if import WhatIf
from tracker.report.field_words import meaning_of
from tracker.workflow.launcher import Launcher, launcher_of

Visit = Callable[[Path, str], Page]
WHEELS = {"100 mm wheels": 4, "140 mm wheels": 4}


@pytest.fixture
def lane(tmp_path: Path) -> Path:
    return invented(tmp_path / "Fen Lane", WHEELS)


def lead(tab: Page) -> Locator:
    return tab.locator(".lead")


def answered(tab: Page) -> Page:
    """Wait until the launcher has been computed."""
    expect(lead(tab)).to_contain_text("Expected: exit speed")
    return tab


def written(lane: Path, setup: int) -> dict:
    return tomllib.loads((lane / "session.toml").read_text("utf-8"))["setup"][setup]


def carry(tab: Page) -> float:
    found = re.search(r"carry ([0-9.]+)\s", lead(tab).inner_text())
    assert found is not None
    return float(found[1])


def test_a_field_is_put_into_words_once() -> None:
    said = "Drag of the air (losses.windage_factor): 2.92 times; grip.gap_mm says little"
    found = in_words(said)
    assert found == f"Drag of the air: 2.92 times; {meaning_of('grip.gap_mm')} says little"


@pytest.mark.campaign
def test_what_is_expected_is_what_the_command_predicts(visit: Visit, lane: Path) -> None:
    tab = answered(visit(lane, "launcher"))
    own = Launcher(lane).outlook("100 mm wheels", {}).prediction
    assert carry(tab) == pytest.approx(own.carry.value, abs=0.06)
    expect(tab.locator(".caution").first).to_contain_text("guard the gap")
    expect(tab.get_by_text("a guard that holds a burst wheel")).to_be_visible()
    expect(tab.get_by_text("One charge is enough for")).to_be_visible()
    expect(tab.get_by_text("What the model leaves out is about")).to_be_visible()
    square = tab.locator("svg.chart polygon.fill.s1")
    expect(square).to_have_count(2)


@pytest.mark.campaign
def test_a_slider_answers_and_is_set_back_by_a_key(visit: Visit, lane: Path) -> None:
    tab = answered(visit(lane, "launcher"))
    before = (lane / "session.toml").read_bytes()
    there = carry(tab)
    tab.get_by_role("slider", name="Pulse-width control").focus()
    for _ in range(10):
        tab.keyboard.press("ArrowLeft")
    expect(tab.locator(".at").first).to_have_text("90 %")
    expect(tab.get_by_text("nothing is saved")).to_be_visible()
    expect(lead(tab)).not_to_contain_text(f"carry {there:g} m")
    slower = Launcher(lane).outlook("100 mm wheels", {"motor.duty_percent": 90.0}).prediction
    expect(lead(tab)).to_contain_text(f"exit speed {slower.exit_speed.value:.1f}"[:-1])
    tab.locator("#main").focus()
    tab.keyboard.press("0")
    expect(tab.locator(".at").first).to_have_text("100 %")
    expect(tab.get_by_text("As the file has it")).to_be_visible()
    assert (lane / "session.toml").read_bytes() == before


def test_a_move_that_comes_while_another_one_fails_is_answered(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    sliders = WhatIf(Mock(), Mock(turned=lambda _: []), Mock())
    moved, shown = threading.Event(), Mock()

    def computed(_: object, along: str) -> tuple[str, None]:
        moved.wait()
        if along != "grip.gap_mm":
            raise InputError("no ball gets through")
        return along, None

    async def both() -> None:
        first = asyncio.create_task(sliders.ask())
        await asyncio.sleep(0)
        await sliders._chosen("grip.gap_mm")
        moved.set()
        await first

    monkeypatch.setattr(sliders, "_computed", computed)
    monkeypatch.setattr(sliders, "_show", shown)
    awaited(both())
    shown.assert_called_once_with("grip.gap_mm", None)


def test_the_sliders_answer_again_after_a_fault_of_the_program(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    sliders, shown = WhatIf(Mock(), Mock(turned=lambda _: []), Mock()), Mock()
    computed = Mock(side_effect=[ZeroDivisionError, ("carry", None)])
    monkeypatch.setattr(sliders, "_computed", computed)
    monkeypatch.setattr(sliders, "_show", shown)
    with pytest.raises(ZeroDivisionError):
        awaited(sliders.ask())
    awaited(sliders.ask())
    shown.assert_called_once_with("carry", None)


@pytest.mark.campaign
def test_a_finger_moves_a_slider(server: Served, narrow_tab: Page, lane: Path) -> None:
    narrow_tab.goto(f"{server.open(lane)}/launcher")
    ready(narrow_tab)
    tab = answered(narrow_tab)
    slider = tab.get_by_role("slider", name="Pulse-width control")
    slider.scroll_into_view_if_needed()
    box = slider.bounding_box()
    assert box is not None and box["height"] >= 24
    low, high = (float(slider.get_attribute(end) or "nan") for end in ("min", "max"))
    tab.touchscreen.tap(box["x"] + 0.5 * box["width"], box["y"] + 0.5 * box["height"])
    expect(tab.get_by_text("nothing is saved")).to_be_visible()
    there = float(tab.locator(".at").first.inner_text().split()[0])
    assert there == pytest.approx(0.5 * (low + high), abs=0.03 * (high - low))
    slower = Launcher(lane).outlook("100 mm wheels", {"motor.duty_percent": there}).prediction
    assert carry(tab) == pytest.approx(slower.carry.value, abs=0.06)


@pytest.mark.campaign
def test_a_field_is_written_and_undone(visit: Visit, lane: Path) -> None:
    tab = answered(visit(lane, "launcher"))
    there = carry(tab)
    tab.evaluate(
        """() => {
            window.shifted = 0;
            const add = (list) => list.getEntries().forEach((one) => { shifted += one.value; });
            new PerformanceObserver(add).observe({ type: "layout-shift" });
        }"""
    )
    mass = tab.get_by_label("Mass of one wheel without what was added")
    mass.fill("95,5")
    tab.keyboard.press("Tab")
    expect(tab.get_by_role("button", name="Undo")).to_be_enabled()
    assert written(lane, 0)["wheel"]["mass_g"] == 95.5
    # The next field has the focus still, though everything was computed anew.
    expect(tab.get_by_label("Speed without load").or_(tab.locator("input:focus"))).to_have_count(2)
    tab.locator("#main").focus()
    tab.keyboard.press("Control+z")
    expect(mass).to_have_value("110")
    assert written(lane, 0)["wheel"]["mass_g"] == 110.0
    expect(lead(tab)).to_contain_text(f"carry {there:.2f}"[:-1])
    # Sliders and fields stayed where they were while both answers came: a line moves some 0.01.
    assert tab.evaluate("window.shifted") < 0.05


@pytest.mark.campaign
def test_what_is_typed_makes_no_result_old(visit: Visit, measured: Path) -> None:
    tab = visit(measured, "launcher")
    tab.get_by_label("Mass of one wheel without what was added").fill("211")
    tab.keyboard.press("Tab")
    expect(tab.get_by_role("button", name="Undo")).to_be_enabled()
    expect(tab.get_by_text("No shot has taught the model yet. Describe above")).to_be_visible()
    assert "edited after" in " ".join(launcher_of(measured).notes)
    expect(tab.get_by_text("edited after")).to_have_count(0)
    # One that changes what is measured does.
    file = measured / "session.toml"
    file.write_text(file.read_text("utf-8").replace("height_m = 0", "height_m = 1"), "utf-8")
    expect(tab.get_by_text("changed since it was measured")).to_be_visible()


@pytest.mark.campaign
def test_a_word_is_written_and_left_out_again(visit: Visit, lane: Path) -> None:
    tab = answered(visit(lane, "launcher"))
    kind = tab.get_by_label("Chemistry, for how its voltage falls over an evening")
    kind.select_option("lithium-ion")
    expect(tab.get_by_role("button", name="Undo")).to_be_enabled()
    assert written(lane, 0)["battery"]["kind"] == "lithium-ion"
    kind.select_option("")
    tab.wait_for_timeout(0)
    expect(kind).to_have_value("")
    expect(tab.get_by_role("button", name="Undo")).to_have_attribute(
        "title", re.compile("left out")
    )
    assert "kind" not in written(lane, 0)["battery"]


@pytest.mark.campaign
def test_a_number_that_cannot_be_is_refused_in_a_sentence(visit: Visit, lane: Path) -> None:
    tab = answered(visit(lane, "launcher"))
    before = (lane / "session.toml").read_bytes()
    diameter = tab.locator(".fields").get_by_label("Outer diameter of the wheels")
    diameter.fill("-3")
    tab.keyboard.press("Tab")
    expect(tab.locator(".notices")).to_contain_text("give 15 to 1500")
    diameter.fill("wide")
    tab.keyboard.press("Tab")
    expect(tab.locator(".notices")).to_contain_text("wide")
    assert (lane / "session.toml").read_bytes() == before


@pytest.mark.campaign
def test_sliders_become_a_further_setup(visit: Visit, lane: Path) -> None:
    tab = answered(visit(lane, "launcher"))
    tab.get_by_role("slider", name="Outer diameter of the wheels").focus()
    for _ in range(20):
        tab.keyboard.press("ArrowRight")
    expect(tab.locator(".at").nth(3)).to_have_text("120 mm")
    tab.get_by_text("Keep the sliders' numbers as a further setup").click()
    tab.get_by_role("button", name="Add the setup").click()
    expect(tab.locator(".notices")).to_contain_text("Give the new setup a name first")
    tab.get_by_label("Its name").fill("120 mm wheels")
    tab.keyboard.press("Tab")
    tab.get_by_role("button", name="Add the setup").click()
    expect(tab.get_by_role("combobox", name="Setup", exact=True)).to_contain_text("120 mm wheels")
    wheel = written(lane, 2)["wheel"]
    # A wheel drawn larger at the same width: its mass goes with the square.
    assert (wheel["diameter_mm"], wheel["mass_g"]) == (120.0, pytest.approx(158.4, abs=0.1))
    tab.locator("#main").focus()
    tab.keyboard.press("n")
    expect(tab.get_by_role("combobox", name="Setup", exact=True)).to_have_value("140 mm wheels")


@pytest.mark.campaign
def test_a_wanted_carry_names_the_settings(visit: Visit, lane: Path) -> None:
    tab = answered(visit(lane, "launcher"))
    tab.get_by_text("Which settings carry a wanted distance").click()
    tab.get_by_label("Wanted carry").fill("24")
    tab.keyboard.press("Enter")
    expect(tab.get_by_text("carries 24 m on average").first).to_be_visible()
    tab.get_by_label("Wanted carry").fill("900")
    tab.keyboard.press("Enter")
    expect(tab.locator(".notices")).to_contain_text("900 m is no carry")


@pytest.mark.campaign
def test_a_setup_that_says_too_little_is_asked_for_more(visit: Visit, lane: Path) -> None:
    file = lane / "session.toml"
    file.write_text(file.read_text("utf-8").replace("no_load_rpm = 6000.0\n", ""), "utf-8")
    tab = visit(lane, "launcher")
    expect(lead(tab)).to_contain_text("Not enough is known")
    expect(tab.locator(".doubt").first).to_contain_text("no_load_rpm: is missing")


@pytest.mark.campaign
def test_a_session_without_a_setup_begins_one(visit: Visit, lane: Path) -> None:
    file = lane / "session.toml"
    file.write_text(file.read_text("utf-8").split("[[setup]]")[0], "utf-8")
    tab = visit(lane, "launcher")
    expect(lead(tab)).to_contain_text("Nothing says how the launcher is built.")
    tab.get_by_label("Name of the first setup").fill("140 mm wheels")
    tab.keyboard.press("Tab")
    tab.get_by_role("button", name="Describe the launcher").click()
    expect(lead(tab)).to_contain_text("Not enough is known")
    ready(tab)
    assert written(lane, 0) == {"name": "140 mm wheels"}
