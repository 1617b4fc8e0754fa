"""Evenings: the logbook, the report, the films."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.app.conftest import Served, ready
from tests.tracker.test_report_document import facts_of
from tracker.records import Quality, Reason, ReasonCode
from tracker.report.document import report_page
from tracker.session import read_session

Visit = Callable[[Path, str], Page]


@pytest.mark.campaign
def test_a_measured_evening_goes_into_the_logbook_and_is_opened_from_it(
    server: Served, visit: Visit, measured: Path
) -> None:
    file = measured / "session.toml"
    file.write_text(file.read_text("utf-8").replace("close 15", "wheels & <b>nets</b>"), "utf-8")
    tab = visit(measured, "evenings")
    report = tab.get_by_role("button", name="Write the report")
    report.evaluate("each => each.dataset.stays = 'yes'")
    tab.get_by_role("button", name="Put into the logbook").click()
    expect(tab.get_by_role("status")).to_contain_text("is in the logbook now")
    line = tab.locator(".entry", has_text="wheels & <b>nets</b>")
    expect(line).to_contain_text("1 shot")
    # Put anew, a button loses the press that is on its way to it.
    expect(report).to_have_attribute("data-stays", "yes")
    line.get_by_role("button").click()
    tab.wait_for_url("**/measure")
    assert tab.url.startswith(server.open(measured))


@pytest.mark.campaign
def test_a_session_gets_its_name_and_day(visit: Visit, measured: Path) -> None:
    file = measured / "session.toml"
    file.write_text(file.read_text("utf-8").replace("date = ", "# date = "), "utf-8")
    tab = visit(measured, "evenings")
    name, day = tab.get_by_label("Name of this session"), tab.get_by_label("Filmed on")
    expect(name).to_have_value("Fen Lane, close 15")
    expect(day).to_have_value("")
    tops = [box["y"] for box in (name.bounding_box(), day.bounding_box()) if box is not None]
    assert tops == [tops[0]] * 2
    name.fill("Three wheels, for the committee")
    name.press("Tab")
    expect(tab.get_by_role("heading", name="Three wheels, for the committee")).to_be_visible()
    day.fill("17.5.2026")
    day.press("Tab")
    expect(tab.locator(".notices")).to_contain_text("write it as 2026-05-17")
    day.fill("2026-05-17")
    day.press("Tab")
    expect(tab.locator(".notices .fault")).to_have_count(0)
    written = read_session(measured)
    assert (written.name, written.date) == ("Three wheels, for the committee", date(2026, 5, 17))
    tab.get_by_role("button", name="Put into the logbook").click()
    line = tab.locator(".entry", has_text="Three wheels, for the committee")
    expect(line).to_contain_text("17 May 2026")


@pytest.mark.campaign
def test_a_report_is_written_and_read(visit: Visit, measured: Path) -> None:
    tab = visit(measured, "evenings")
    tab.locator("[data-keys~=r]").wait_for()
    tab.keyboard.press("r")
    expect(tab.get_by_role("link", name="Read the report")).to_be_visible()
    with tab.expect_download() as download:
        tab.get_by_role("link", name="Download it").click()
    assert (
        Path(download.value.path()).read_bytes()
        == (measured / "results" / "report.html").read_bytes()
    )


@pytest.mark.campaign
def test_a_shots_reason_is_read_whole_on_a_phone(narrow_tab: Page) -> None:
    facts = facts_of(("140 mm wheels",))
    numbers = {"taped_u_cm": 5.0, "distance_m": 20.0, "before_mps": 1.0, "after_mps": 0.4}
    why = (Reason(ReasonCode.TAPE_ONE_DISTANCE, numbers),)
    shot = replace(facts.shots[0].shot, quality=Quality.CHECK, reasons=why)
    assert len(shot.reason) > 100
    rows = (replace(facts.shots[0], shot=shot), *facts.shots[1:])
    narrow_tab.set_content(report_page(replace(facts, shots=rows)))
    place = narrow_tab.locator(".reason div").bounding_box()
    width = narrow_tab.viewport_size["width"]
    assert place["x"] >= 0 and place["x"] + place["width"] <= width
    narrow_tab.locator(".wide:has(.shots)").evaluate("each => each.scrollLeft = 200")
    moved = narrow_tab.locator(".reason div").bounding_box()
    assert moved["x"] >= 0 and moved["x"] + moved["width"] <= width


@pytest.mark.long
def test_films_are_made_and_downloaded(visit: Visit, measured: Path) -> None:
    tab = visit(measured, "evenings")
    tab.get_by_role("button", name="Make the films").click()
    link = tab.get_by_role("link", name="Download 140mm-overlay.mp4")
    expect(link).to_be_visible()
    assert (measured / "results" / "140mm-overlay.mp4").is_file()


@pytest.mark.campaign
def test_an_evening_that_was_not_measured_says_so(visit: Visit, session: Path) -> None:
    tab = visit(session, "evenings")
    expect(tab.get_by_text("Measure the session first")).to_be_visible()
    assert tab.get_by_role("button", name="Write the report").count() == 0


def test_the_logbook_is_listed_without_a_session(server: Served, tab: Page) -> None:
    tab.goto(f"{server.base}/evenings")
    ready(tab)
    expect(tab.get_by_role("heading", name="Logbook")).to_be_visible()
