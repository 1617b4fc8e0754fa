"""The whole job from a dropped clip to a report: by mouse, by keyboard, by touch."""

import re
import shutil
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.app.conftest import ROOT, Served, ready, watched
from tests.app.hands import Hand, Keyboard, Mouse, Touch, write
from tests.app.pictures import LOOKS
from tracker.records import Quality, ReasonCode
from tracker.results import read_shots
from tracker.session import Verdict, read_review, read_session
from tracker.video import inspect
from tracker.workflow.measure import measure_session
from tracker.workflow.report import report_sessions

CLIP = ROOT / "sample_clips" / "close" / "clips" / "140mm.mp4"
EVENING = ROOT / "sample_clips" / "wheels"
TWO_SHOTS_S = 6.6
"""End of the second shot of the evening's 140 mm clip, s."""
PATIENCE_MS = 300_000
"""Time for measuring on a machine that is busy with other work, ms."""


@pytest.fixture
def clip(tmp_path: Path) -> Path:
    """A film of two shots as a phone has it: the beginning of a sample clip, not encoded anew."""
    import av

    made = tmp_path / "140mm.mp4"
    with av.open(str(EVENING / "clips" / "140mm.mp4")) as whole, av.open(str(made), "w") as cut:
        stream = cut.add_stream_from_template(whole.streams.video[0])
        for packet in whole.demux(whole.streams.video[0]):
            if packet.pts is not None and packet.pts * packet.time_base < TWO_SHOTS_S:
                packet.stream = stream
                cut.mux(packet)
    return made


def from_clip_to_report(hand: Hand, server: Served, clip: Path) -> Path:
    """Do the whole job; return the session's folder."""
    tab = hand.tab
    tab.goto(f"{server.base}/begin")
    ready(tab)
    with tab.expect_file_chooser() as chooser:
        hand.press(tab.get_by_label("Choose clips"))
    chooser.value.set_files(clip)
    tab.wait_for_url("**/measure")
    ready(tab)
    expect(tab.locator(".answer .lead")).to_contain_text("2 shots", timeout=PATIENCE_MS)
    expect(tab.locator("svg polyline.line")).to_have_count(2)
    expect(tab.locator(".answer")).to_contain_text("Tape one distance")
    folder = max(server.home.glob("140mm*"), key=lambda each: each.stat().st_mtime)
    go(hand, "Field")
    mark_the_field(hand, folder)
    go(hand, "Measure")
    hand.press(tab.get_by_role("button", name="Measure again"))
    expect(tab.locator(".answer .good").first).to_contain_text(
        "The exit speed is now known to", timeout=PATIENCE_MS
    )
    go(hand, "Shots")
    judge_the_shots(hand, folder)
    compare_and_report(hand)
    return folder


def compare_and_report(hand: Hand) -> None:
    """Look at the setups, put the evening into the logbook, write the report and read it."""
    tab = hand.tab
    go(hand, "Setups")
    expect(tab.locator(".lead")).to_contain_text("there is no other setup to compare")
    expect(tab.get_by_role("img", name="carry of every shot")).to_be_visible()
    go(hand, "Evenings")
    hand.press(tab.get_by_role("button", name="Put into the logbook"))
    expect(tab.get_by_role("status")).to_contain_text("in the logbook")
    hand.press(tab.get_by_role("button", name="Write the report"))
    read = tab.get_by_role("link", name="Read the report")
    expect(read).to_be_visible(timeout=PATIENCE_MS)
    hand.press(read)
    expect(tab.locator("h1")).to_be_visible()
    tab.go_back()
    ready(tab)
    expect(read).to_be_visible()


def go(hand: Hand, page: str) -> None:
    """Go to a page by the row of steps."""
    hand.press(hand.tab.get_by_role("navigation").get_by_role("link", name=page))
    hand.tab.wait_for_url(f"**/{page.lower()}")
    ready(hand.tab)


def mark_the_field(hand: Hand, folder: Path) -> None:
    """Add and pick five markers, one taped in feet, and give the camera's place in metres."""
    tab = hand.tab
    truth = read_session(EVENING)
    hand.press(tab.get_by_role("button", name="Add a marker"))
    expect(tab.locator(".notices")).to_contain_text("First tape how high above the ground")
    expect(tab.get_by_label("The ball leaves the launcher at")).to_be_focused()
    write(hand, tab.get_by_label("The ball leaves the launcher at"), "91 cm")
    expect(tab.get_by_role("button", name="Undo")).to_be_enabled()
    for number, entry in enumerate(truth.markers):
        hand.press(tab.get_by_role("button", name="Add a marker"))
        name = f"{10 * number} m"
        expect(tab.get_by_label("Name")).to_have_value(name)
        if number == 4:
            along = tab.get_by_role("textbox", name=re.compile("^Along"))
            write(hand, along, "131 ft 3 in")
            expect(along).to_have_value("40.005")
        assert entry.pixel is not None
        hand.pick(folder, {name: entry.pixel})
    hand.press(tab.get_by_text("What else is known of the camera"))
    assert truth.camera.position_m is not None
    for label, metres in zip(("along", "across", "up"), truth.camera.position_m, strict=True):
        write(hand, tab.get_by_label(f"Camera, {label}"), f"{metres:g}")
    expect(tab.locator(".field-answer")).to_contain_text("A landing at 40 m: ±")
    written = read_session(folder)
    assert written.camera.position_m == truth.camera.position_m
    assert [one.ground_m[0] for one in written.clips[0].markers] == [0, 10, 20, 30, 40.005]


def judge_the_shots(hand: Hand, folder: Path) -> None:
    """Reject the first shot with a reason, move the landing of the second; measure with that."""
    tab = hand.tab
    tab.locator(".film[data-frame]").wait_for()
    write(hand, tab.get_by_label("Reason"), "it touched the net")
    hand.press(tab.get_by_role("button", name="Reject"))
    expect(tab.locator(".shots-table")).to_contain_text("rejected")
    hand.press(tab.get_by_role("button", name="Next shot"))
    expect(tab.locator(".shots-view h2")).to_contain_text("Shot 2")
    hand.press(tab.get_by_role("button", name="To the landing"))
    hand.press(tab.get_by_role("button", name="Move the landing"))
    expect(tab.locator(".film-where")).to_contain_text("click it")
    (shown,) = re.findall(r"^Frame (\d+),", tab.locator(".film-where").inner_text())
    expect(tab.locator(".film")).to_have_attribute("data-frame", shown)
    drawn = tab.locator(".film g", has=tab.locator("circle.ball")).get_attribute("transform")
    column, row = (float(text) for text in re.findall(r"-?[\d.]+", drawn or "")[:2])
    hand.point(tab.locator(".film circle.ball").last)
    expect(tab.locator(".shots-view")).to_contain_text("A person gave its landing")
    rejected, moved = read_review(read_session(folder)).decisions
    assert (rejected.verdict, rejected.reason) == (Verdict.REJECT, "it touched the net")
    # Two pixels of the screen, which are two to eight of the frame, beside the ball.
    assert moved.ends.landing_px == pytest.approx((column + 5.0, row), abs=3.5)
    times_s = inspect(folder / "clips" / "140mm.mp4").file_times_s
    assert moved.ends.landing_s == pytest.approx(times_s[int(shown)] - times_s[0], abs=1e-5)
    hand.press(tab.get_by_role("button", name="Bring them into the results"))
    waiting = tab.get_by_text("do not yet").or_(tab.get_by_text("brought up to date"))
    expect(waiting).to_be_hidden(timeout=PATIENCE_MS)
    first, second = read_shots(folder / "results" / "shots.csv")
    assert first.quality is Quality.REJECTED
    assert ReasonCode.LANDING_BY_HAND in [reason.code for reason in second.reasons]


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


@pytest.mark.campaign
def test_from_a_dropped_clip_to_a_report_by_mouse(
    server: Served, tab: Page, clip: Path, tmp_path: Path
) -> None:
    same_by_command(from_clip_to_report(Mouse(tab), server, clip), tmp_path / "same")


@pytest.mark.long
def test_from_a_dropped_clip_to_a_report_by_keyboard(
    server: Served, tab: Page, clip: Path, tmp_path: Path
) -> None:
    same_by_command(from_clip_to_report(Keyboard(tab), server, clip), tmp_path / "same")


@pytest.mark.long
def test_from_a_dropped_clip_to_a_report_by_touch(
    server: Served, narrow_tab: Page, clip: Path, tmp_path: Path
) -> None:
    same_by_command(from_clip_to_report(Touch(narrow_tab), server, clip), tmp_path / "same")


@pytest.mark.campaign
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
    cut = True

    def broken(route: object) -> None:
        if cut:
            route.abort()  # type: ignore[attr-defined]
        else:
            route.continue_()  # type: ignore[attr-defined]

    tab.context.route("**/upload/*", broken)
    big = CLIP.read_bytes() + bytes(5 * 2**20)
    tab.get_by_label("Choose clips").set_input_files(
        {"name": "long.mp4", "mimeType": "video/mp4", "buffer": big}
    )
    expect(tab.get_by_text("goes on by itself")).to_be_visible()
    cut = False
    expect(tab.get_by_text("2 clips in the session.")).to_be_visible()
    assert (session / "clips" / "long.mp4").read_bytes() == big
    tab.close()
