"""The whole job from a dropped clip to a report: by mouse, by keyboard, by touch."""

import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from tests.app.conftest import ROOT, Served, ready, watched
from tests.app.pictures import LOOKS
from tracker.workflow.measure import measure_session
from tracker.workflow.report import report_sessions

CLIP = ROOT / "sample_clips" / "close" / "clips" / "140mm.mp4"
PATIENCE_MS = 500_000
"""Time for measuring on a machine that is busy with other work, ms."""

Press = Callable[[Page, Locator], None]


def by_mouse(_: Page, target: Locator) -> None:
    target.click()


def by_touch(_: Page, target: Locator) -> None:
    target.tap()


def by_keyboard(tab: Page, target: Locator) -> None:
    """Walk to a control with the Tab key, see that it shows the focus, and press it."""
    expect(target).to_be_visible()
    for _ in range(80):
        if target.evaluate("each => each === document.activeElement"):
            break
        tab.keyboard.press("Tab")
    expect(target).to_be_focused()
    assert target.evaluate("each => getComputedStyle(each).outlineStyle") != "none"
    tab.keyboard.press("Enter")


def from_clip_to_report(tab: Page, server: Served, press: Press) -> Path:
    """Do the whole job; return the session's folder."""
    tab.goto(f"{server.base}/begin")
    ready(tab)
    with tab.expect_file_chooser() as chooser:
        press(tab, tab.get_by_label("Choose clips"))
    chooser.value.set_files(CLIP)
    tab.wait_for_url("**/measure")
    ready(tab)
    expect(tab.locator(".answer .lead")).to_contain_text("One shot", timeout=PATIENCE_MS)
    expect(tab.locator("svg polyline.line")).to_have_count(1)
    press(tab, tab.get_by_role("navigation").get_by_role("link", name="Evenings"))
    tab.wait_for_url("**/evenings")
    ready(tab)
    press(tab, tab.get_by_role("button", name="Put into the logbook"))
    expect(tab.get_by_role("status")).to_contain_text("in the logbook")
    press(tab, tab.get_by_role("button", name="Write the report"))
    read = tab.get_by_role("link", name="Read the report")
    expect(read).to_be_visible(timeout=PATIENCE_MS)
    press(tab, read)
    expect(tab.locator("h1")).to_be_visible()
    newest = max(server.home.glob("140mm*"), key=lambda folder: folder.stat().st_mtime)
    return newest


def same_by_command(folder: Path, made: Path) -> None:
    """Check that the commands give the same rows and the same report."""
    shutil.copytree(folder, made / folder.name, ignore=shutil.ignore_patterns("results"))
    other = made / folder.name
    measure_session(other)
    rows, same = folder / "results" / "shots.csv", other / "results" / "shots.csv"
    assert rows.read_bytes() == same.read_bytes()
    report_sessions([other])
    times = re.compile(rb"\d\d\d\d-\d\d-\d\d[T ]\d\d:\d\d")
    pages = [each / "results" / "report.html" for each in (folder, other)]
    first, second = (times.sub(b"", page.read_bytes()) for page in pages)
    assert len(first) == pytest.approx(len(second), rel=1e-3)


@pytest.mark.parametrize(
    "press",
    [
        pytest.param(by_mouse, marks=pytest.mark.campaign),
        pytest.param(by_keyboard, marks=pytest.mark.long),
    ],
    ids=["mouse", "keyboard"],
)
def test_from_a_dropped_clip_to_a_report(
    server: Served, tab: Page, tmp_path: Path, press: Press
) -> None:
    same_by_command(from_clip_to_report(tab, server, press), tmp_path)


@pytest.mark.campaign
def test_from_a_dropped_clip_to_a_report_by_touch(
    server: Served, narrow_tab: Page, tmp_path: Path
) -> None:
    same_by_command(from_clip_to_report(narrow_tab, server, by_touch), tmp_path)


def test_a_phone_sends_a_clip_into_its_session(
    server: Served, browser: Browser, measured: Path
) -> None:
    address = server.open(measured)
    width, height = LOOKS["narrow"][1:]
    for phone in watched(
        browser, viewport={"width": width, "height": height}, has_touch=True, is_mobile=True
    ):
        phone.goto(server.phone_link(address))
        ready(phone)
        expect(phone.get_by_text("1 clip in the session.")).to_be_visible()
        expect(phone.get_by_role("table")).to_be_visible()
        with phone.expect_file_chooser() as chooser:
            phone.get_by_label("Choose clips").tap()
        chooser.value.set_files(
            {"name": "VID_7.mp4", "mimeType": "video/mp4", "buffer": CLIP.read_bytes()}
        )
        expect(phone.get_by_text("2 clips in the session.")).to_be_visible()
        assert phone.locator("nav").count() == 0
        assert phone.locator("main img, #main img").first.evaluate("each => each.naturalWidth") > 0
    assert (measured / "clips" / "VID_7.mp4").read_bytes() == CLIP.read_bytes()


@pytest.mark.campaign
def test_a_connection_that_breaks_in_the_middle_goes_on_by_itself(
    server: Served, browser: Browser, session: Path
) -> None:
    tab = browser.new_page()
    address = server.open(session)
    tab.goto(server.phone_link(address))
    ready(tab)
    cut = {"left": 2}

    def broken(route: object) -> None:
        if cut["left"]:
            cut["left"] -= 1
            route.abort()  # type: ignore[attr-defined]
        else:
            route.continue_()  # type: ignore[attr-defined]

    tab.context.route("**/upload/*", broken)
    big = CLIP.read_bytes() + bytes(5 * 2**20)
    tab.get_by_label("Choose clips").set_input_files(
        {"name": "long.mp4", "mimeType": "video/mp4", "buffer": big}
    )
    expect(tab.get_by_text("goes on by itself")).to_be_visible()
    expect(tab.get_by_text("2 clips in the session.")).to_be_visible(timeout=20_000)
    assert (session / "clips" / "long.mp4").read_bytes() == big
    tab.close()
