"""Setups on the page: the words and figures of the commands, by mouse, keyboard and touch."""

import re
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from unittest.mock import AsyncMock, Mock

import pytest
from playwright.sync_api import Page, expect

from tests.app.conftest import Served, ready
from tests.app.loops import awaited
from tests.app.marking import wait_until
from tests.tracker.invented_outings import session as invented
from tracker.app.setups.showing import Showing
from tracker.app.stale import is_stale
from tracker.app.work import Phase
from tracker.session import read_session
from tracker.workflow.compare import compare_outings
from tracker.workflow.gathering import gather

Visit = Callable[[Path, str], Page]
WHEELS = {"100 mm wheels": 5, "140 mm wheels": 4, "180 mm wheels": 0}


@pytest.fixture
def lane(tmp_path: Path) -> Path:
    return invented(tmp_path / "Fen Lane", WHEELS)


def test_results_that_are_being_replaced_are_not_called_old(tmp_path: Path) -> None:
    look = Mock(measured=True, outdated=False, results=tmp_path, session=Mock(bare=False))
    assert not awaited(is_stale(Mock(look=look)))


def answered(tab: Page) -> Page:
    """Wait until the setups have been compared."""
    expect(tab.locator("svg.chart").first).to_be_visible()
    return tab


def test_the_answer_is_that_of_the_command(visit: Visit, lane: Path) -> None:
    tab = answered(visit(lane, "setups"))
    said = compare_outings(gather([lane], filmed=False), "carry_m", None).sentences
    expect(tab.locator(".lead")).to_have_text(said[0])
    tab.get_by_text("Every difference, and what limits it").click()
    listed = [" ".join(text.split()) for text in tab.locator("details li").all_inner_texts()]
    assert listed == list(said[3:])
    expect(tab.get_by_role("table")).to_contain_text("predicted")
    expect(tab.get_by_role("img", name="landings from above")).to_be_visible()
    expect(tab.get_by_role("img", name="carry, measured and predicted, by setup")).to_be_visible()
    assert not (lane / "results" / "comparison-carry-m.png").exists()


@pytest.mark.campaign
def test_a_difference_that_matters_changes_chances_and_plan(visit: Visit, lane: Path) -> None:
    tab = answered(visit(lane, "setups"))
    tab.get_by_label("Difference that matters").fill("2,5")
    tab.keyboard.press("Tab")
    heading = tab.get_by_role("columnheader", name="by 2.5 m")
    expect(heading).to_be_visible()
    expect(tab.locator("li").first).to_contain_text("180 mm wheels")
    tab.get_by_label("Difference that matters").fill("far")
    tab.keyboard.press("Tab")
    expect(tab.get_by_role("status")).to_contain_text("far")


@pytest.mark.campaign
def test_another_quantity_is_chosen_by_the_keyboard(visit: Visit, lane: Path) -> None:
    tab = answered(visit(lane, "setups"))
    tab.get_by_label("What is compared").focus()
    tab.keyboard.type("exit")
    expect(tab.locator(".lead")).to_contain_text("m/s")
    expect(tab.get_by_role("columnheader", name="mean, m/s")).to_be_visible()


@pytest.mark.campaign
def test_a_change_of_the_file_changes_the_answer(visit: Visit, lane: Path) -> None:
    tab = answered(visit(lane, "setups"))
    file = lane / "session.toml"
    file.write_text(file.read_text("utf-8").replace("180 mm wheels", "the large wheels"), "utf-8")
    expect(tab.locator(".lead")).to_contain_text("the large wheels")


@pytest.mark.campaign
def test_a_name_is_shown_and_not_run(visit: Visit, lane: Path) -> None:
    file, name = lane / "session.toml", "<img src=x onerror=alert(1)>"
    file.write_text(file.read_text("utf-8").replace("180 mm wheels", name), "utf-8")
    tab = answered(visit(lane, "setups"))
    expect(tab.locator(".lead")).to_contain_text(name)
    expect(tab.locator("svg.chart text", has_text=name)).to_have_count(1)
    assert tab.locator("img[src=x]").count() == 0


@pytest.mark.campaign
def test_one_setup_alone_says_what_to_do(visit: Visit, tmp_path: Path) -> None:
    lane = invented(tmp_path / "Fen Lane", {"140 mm wheels": 1})
    file = lane / "session.toml"
    kept = re.sub(r"\[setup\.\w+\]\n(?:\w.*\n)*", "", file.read_text("utf-8"))
    file.write_text(kept, "utf-8")
    tab = visit(lane, "setups")
    expect(tab.locator(".lead")).to_have_text(
        '"140 mm wheels" has 1 shot, and there is no other setup to compare. Film another, or '
        "describe it on the page Launcher: then it stands here with its prediction."
    )
    expect(tab.locator("svg.chart").first).to_contain_text("140 mm wheels")
    expect(tab.get_by_role("table")).to_have_count(0)
    expect(tab.locator(".lead").get_by_role("link", name="Launcher")).to_be_visible()


@pytest.mark.campaign
def test_single_shots_are_not_ranked_and_clips_get_setups_of_their_own(
    visit: Visit, tmp_path: Path
) -> None:
    lane = invented(tmp_path / "Fen Lane", {"100 mm wheels": 1, "140 mm wheels": 1})
    file = lane / "session.toml"
    kept = re.sub(r"\[setup\.\w+\]\n(?:\w.*\n)*", "", file.read_text("utf-8"))
    file.write_text(kept, "utf-8")
    clips = read_session(lane, filmed=False).clips
    assert len(clips) == 2
    tab = visit(lane, "setups")
    expect(tab.locator(".lead")).to_have_count(1)
    expect(tab.locator(".lead")).to_contain_text(
        'There is one shot each of "100 mm wheels", "140 mm wheels".'
    )
    tab.get_by_text("Which setup each clip shows").click()
    entry = tab.get_by_label(clips[0].file)
    entry.fill("Gruppe 3 – Rad 140 mm")
    entry.press("Tab")
    wait_until(tab, lambda: _shown(lane) == ["Gruppe 3 – Rad 140 mm", "140 mm wheels"])
    tab.get_by_role("button", name="Call each clip's setup as its file").click()
    wait_until(tab, lambda: _shown(lane) == [Path(clip.file).stem for clip in clips])
    tab.get_by_role("button", name="Undo").click()
    expect(entry).to_have_value("Gruppe 3 – Rad 140 mm")


@pytest.mark.campaign
def test_many_clips_with_long_names_get_their_setups_by_a_few_entries(
    visit: Visit, tmp_path: Path
) -> None:
    lane = invented(tmp_path / "Fen Lane", {"140 mm wheels": 2})
    names = [f"clips/VID_20260517_191{minute}05.mp4" for minute in range(5)]
    entries = "".join(f'[[clip]]\nfile = "{each}"\nsetup = "140 mm wheels"\n' for each in names)
    with (lane / "session.toml").open("a", encoding="utf-8") as file:
        file.write(entries)
    tab = visit(lane, "setups")
    labels = [tab.locator(".label", has_text=each).bounding_box() for each in names]
    boxes = [tab.get_by_label(each).bounding_box() for each in names]
    row = [box for box in [*labels, *boxes] if box is not None]
    assert len(row) == 10
    for one, next_one in pairwise(boxes):
        assert one and next_one
        assert one["x"] + one["width"] < next_one["x"] or one["y"] < next_one["y"]
    assert max(box["x"] + box["width"] for box in row) < 1280
    entry = tab.get_by_label(names[1])
    entry.fill("180 mm wheels")
    entry.press("Tab")
    tab.get_by_role("button", name="180 mm wheels for the 3 clips below too").click()
    wait_until(tab, lambda: _shown(lane) == ["140 mm wheels"] * 2 + ["180 mm wheels"] * 4)
    expect(tab.get_by_role("button", name="below too")).to_have_count(0)


def test_a_name_given_while_results_are_made_is_brought_in_afterwards() -> None:
    work = Mock(phase=Phase.RUNNING)
    view = Mock(renew=AsyncMock(), opened=Mock(works={"measure": work}))
    showing = object.__new__(Showing)
    showing.view = view
    showing._bring()
    view.opened.start.assert_not_called()
    view.complain.assert_not_called()
    work.phase = Phase.DONE
    for _ in range(2):
        awaited(showing.ended())
        view.opened.start.assert_called_once()
    assert view.renew.await_count == 2


def _shown(lane: Path) -> list[str]:
    return [clip.setup for clip in read_session(lane, filmed=False).clips]


def test_without_shots_the_page_says_what_to_do(visit: Visit, session: Path) -> None:
    tab = visit(session, "setups")
    expect(tab.locator(".lead")).to_contain_text("expected; there is no other")
    expect(tab.locator("li").first).to_contain_text("5 more shots")


@pytest.mark.campaign
def test_without_shots_and_tables_too(visit: Visit, session: Path) -> None:
    file = session / "session.toml"
    kept = re.sub(r"\[setup\.\w+\]\n(?:\w.*\n)*", "", file.read_text("utf-8"))
    file.write_text(kept, "utf-8")
    tab = visit(session, "setups")
    expect(tab.locator(".lead")).to_contain_text("No setup has a shot yet.")


@pytest.mark.campaign
def test_a_phone_shows_it_in_one_column(narrow_tab: Page, server: Served, lane: Path) -> None:
    narrow_tab.goto(f"{server.open(lane)}/setups")
    ready(narrow_tab)
    answered(narrow_tab)
    assert narrow_tab.evaluate("document.documentElement.scrollWidth") <= 390
    heads = narrow_tab.locator("thead").bounding_box()
    assert heads is not None and heads["width"] <= 2
