"""The page's house: link, session, undo over two tabs and restarts."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.app.conftest import Served, ready

Visit = Callable[[Path, str], Page]


def test_a_page_shows_its_session(visit: Visit, session: Path) -> None:
    tab = visit(session, "measure")
    expect(tab.get_by_role("heading", level=1)).to_have_text("Measure")
    expect(tab).to_have_title("Measure · Fen Lane, close 15")
    expect(tab.locator("nav [aria-current=page]")).to_have_text("Measure")


@pytest.mark.campaign
def test_a_change_outside_is_noticed(visit: Visit, session: Path) -> None:
    tab = visit(session, "measure")
    file = session / "session.toml"
    file.write_text(file.read_text("utf-8").replace("height_m =", "height_m  ="), "utf-8")
    expect(tab.get_by_role("status")).to_contain_text("changed elsewhere")


def test_faults_stand_in_the_page_as_the_commands_print_them(visit: Visit, session: Path) -> None:
    file = session / "session.toml"
    file.write_text(file.read_text("utf-8").replace("[ball]", '[ball]\nweight = "x"'), "utf-8")
    expect(visit(session, "measure").locator(".fault")).to_contain_text(
        "[ball], weight: is not a listed field"
    )


@pytest.mark.campaign
def test_the_question_mark_lists_the_keys(visit: Visit, session: Path) -> None:
    tab = visit(session, "measure")
    tab.keyboard.press("?")
    expect(tab.get_by_role("dialog")).to_contain_text("undo")


@pytest.mark.campaign
def test_single_keys_can_be_switched_off_and_on_again(visit: Visit, session: Path) -> None:
    tab = visit(session, "measure")
    for words, listed in (("off", 0), ("on", 1)):
        tab.get_by_role("button", name="Keys").click()
        tab.get_by_role("button", name=f"Switch single keys {words}").click()
        tab.get_by_role("button", name="Close").click()
        expect(tab.get_by_role("dialog")).to_have_count(0)
        tab.keyboard.press("?")
        tab.wait_for_timeout(300)
        expect(tab.get_by_role("dialog")).to_have_count(listed)


def test_a_page_without_a_session_begins(server: Served, tab: Page) -> None:
    tab.goto(f"{server.base}/begin")
    ready(tab)
    expect(tab.get_by_role("heading", level=1)).to_have_text("Begin")


def test_the_keyboard_reaches_no_step_that_is_cut_off(
    server: Served, narrow_tab: Page, session: Path
) -> None:
    narrow_tab.goto(f"{server.open(session)}/measure")
    ready(narrow_tab)
    steps = narrow_tab.locator(".steps a")
    steps.first.focus()
    for step in steps.all():
        expect(step).to_be_focused()
        expect(step).to_be_in_viewport(ratio=1)
        narrow_tab.keyboard.press("Tab")


def test_a_finger_reaches_a_step_at_the_first_tap(
    server: Served, narrow_tab: Page, session: Path
) -> None:
    narrow_tab.goto(f"{server.open(session)}/measure")
    ready(narrow_tab)
    steps = narrow_tab.locator(".steps")
    row = steps.evaluate("each => [each.scrollWidth, each.clientWidth]")
    assert row[0] > row[1], "the row has nothing to scroll, so this tries nothing"
    steps.get_by_role("link", name="Shots").tap()
    narrow_tab.wait_for_url("**/shots")


@pytest.mark.campaign
def test_what_breaks_while_a_page_is_open_is_said_and_mended(visit: Visit, session: Path) -> None:
    tab = visit(session, "measure")
    file = session / "session.toml"
    whole = file.read_text("utf-8")
    file.write_text("name = [", "utf-8")
    expect(tab.get_by_role("alert")).to_contain_text("session.toml, line 1: is not TOML")
    file.write_text(whole, "utf-8")
    expect(tab.get_by_role("alert")).to_be_empty()
    expect(tab.get_by_role("button", name="Measure")).to_be_visible()
    shutil.rmtree(session)
    expect(tab.get_by_role("alert")).to_contain_text("open it anew on the page Begin")


def test_a_clip_that_is_gone_is_named(visit: Visit, measured: Path) -> None:
    (measured / "clips" / "140mm.mp4").unlink()
    tab = visit(measured, "measure")
    expect(tab.get_by_role("status")).to_contain_text("clips/140mm.mp4: there is no such file")
    expect(tab.locator(".lead")).to_contain_text("One shot")


@pytest.mark.campaign
def test_a_notice_is_closed(visit: Visit, session: Path) -> None:
    tab = visit(session, "measure")
    file = session / "session.toml"
    file.write_text(file.read_text("utf-8").replace("height_m =", "height_m  ="), "utf-8")
    close = tab.get_by_role("button", name="Close the notice")
    close.click()
    expect(tab.get_by_role("status")).to_be_empty()
    expect(close).to_be_hidden()
