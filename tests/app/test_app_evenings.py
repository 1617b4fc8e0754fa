"""Evenings: the logbook, the report, the films."""

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.app.conftest import Served, ready

Visit = Callable[[Path, str], Page]


@pytest.mark.campaign
def test_a_measured_evening_goes_into_the_logbook_and_is_opened_from_it(
    server: Served, visit: Visit, measured: Path
) -> None:
    file = measured / "session.toml"
    file.write_text(file.read_text("utf-8").replace("close 15", "wheels & <b>nets</b>"), "utf-8")
    tab = visit(measured, "evenings")
    tab.get_by_role("button", name="Put into the logbook").click()
    expect(tab.get_by_role("status")).to_contain_text("is in the logbook now")
    line = tab.locator(".entry", has_text="wheels & <b>nets</b>")
    expect(line).to_contain_text("1 shot")
    line.get_by_role("button").click()
    tab.wait_for_url("**/measure")
    assert tab.url.startswith(server.open(measured))


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
