"""Shots: stepped through in a real browser, judged, moved, added; by mouse, keyboard and touch."""

import re
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from unittest.mock import AsyncMock, Mock, patch

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.app.conftest import ROOT, Served, ready
from tests.app.loops import awaited
from tests.faces.measured_close import measured_close
from tracker.app.shots import desk as desks
from tracker.app.shots.desk import Desk
from tracker.app.shots.film import SIGN_PX
from tracker.app.shots.panel import Panel
from tracker.app.stale import STALE, not_kept
from tracker.measurement import ClipResult
from tracker.records import Reason, ReasonCode, RejectedCandidate, Shot
from tracker.report.signs import EVENTS, svg_path
from tracker.results import read_shots
from tracker.results.cache import FOLDER_VARIABLE
from tracker.results.details import read_points
from tracker.session import Verdict, read_review, read_session
from tracker.video import inspect
from tracker.workflow import clips as measuring
from tracker.workflow.measure import MeasureOptions, measure_session

Visit = Callable[[Path, str], Page]
CLIP = "clips/140mm.mp4"


def measured_with(server: Served, folder: Path) -> None:
    """Measure a session and keep that where the server looks for it."""
    measure_session(folder, options=MeasureOptions(cache=server.home.parent / "cache"))


def test_a_clip_that_moved_in_the_session_has_its_new_number(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def shots(number: int) -> Mock:
        kept = Mock(session=number, tasks=[Mock()])
        kept.tasks[0].ready.clip.file = CLIP
        return Mock(kept=kept, shots=(), film=lambda _: number)

    desk = Desk(Mock(look=Mock(session=0)), shots(0), clip=CLIP)
    assert desk.film() == 0
    desk.view.look.session = 1  # type: ignore[misc]
    monkeypatch.setattr(desks, "shots_now", lambda *_: shots(1))
    awaited(desk.read())
    assert desk.film() == 1


@pytest.mark.parametrize(("done", "left"), [(False, "into the net"), (True, "")])
def test_a_reason_stays_until_its_decision_is_written(done: bool, left: str) -> None:
    desk = Mock(candidate=None, judge=AsyncMock(return_value=done))
    panel = Panel(desk, Mock(), Mock(), _reason="into the net ", _entry=Mock(props={}))
    awaited(panel.judge(Verdict.REJECT))
    desk.judge.assert_awaited_once_with(Verdict.REJECT, "into the net")
    assert panel._reason.strip() == left


def test_a_reason_typed_for_a_shot_is_none_of_a_candidate() -> None:
    desk = Desk(Mock(review=AsyncMock()), Mock(), candidate=Mock())
    panel = Panel(desk, Mock(), Mock(), _reason="into the net")
    with patch.object(desks, "take_candidate") as taken:
        awaited(panel.judge(Verdict.ACCEPT))
        _, decide = desk.view.review.await_args.args
        decide()
    assert "into the net" not in taken.call_args.args


@pytest.fixture
def lane(tmp_path: Path, server: Served, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A measured session of one shot whose measurement is kept where the server looks for it."""
    made = measured_close(tmp_path_factory)
    shutil.copytree(made / "cache", server.home.parent / "cache", dirs_exist_ok=True)
    return Path(shutil.copytree(made / "lane", tmp_path / "lane"))


@pytest.fixture
def truly(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same as the search sees it, for the true places of the ball."""
    return measured_close(tmp_path_factory) / "lane"


@pytest.fixture
def missed(tmp_path: Path, server: Served, truly: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The session as a search measured it that rejected the only ball."""
    folder = Path(shutil.copytree(ROOT / "sample_clips" / "close", tmp_path / "missed"))
    text = (folder / "session.toml").read_text(encoding="utf-8")
    # Another mass: its measurement is kept beside that of the session as it is.
    other = text.replace("[ball]", f"[ball]\nmass_g = {57.0 + (hash(str(tmp_path)) % 997) / 1000}")
    (folder / "session.toml").write_text(other, encoding="utf-8")
    whole = measuring.measure

    def blind(*given: object) -> ClipResult:
        result = whole(*given)  # type: ignore[arg-type]
        (shot,) = result.shots
        assert shot.path is not None
        candidate = RejectedCandidate(
            CLIP,
            shot.shot.release_s,
            20.0,
            30,
            60,
            (Reason(ReasonCode.DETECTIONS_FEW, {"hits": 30.0}),),
            shot.path.times_s,
            shot.path.pixels,
        )
        return replace(result, shots=(), rejected_candidates=(candidate,))

    monkeypatch.setattr(measuring, "measure", blind)
    measured_with(server, folder)
    monkeypatch.setattr(measuring, "measure", whole)
    return folder


def opened(page: Page) -> Page:
    """Wait until the film shows its frame."""
    page.locator(".film[data-frame]").wait_for()
    return page


def frame_of(page: Page) -> int:
    """The frame that the film has reached."""
    return int(page.locator(".film").get_attribute("data-frame") or -1)


def click_ball(page: Page, column: float, row: float) -> None:
    """Click a pixel of the frame, which a person scrolls to."""
    page.locator(".film-stage").scroll_into_view_if_needed()
    box = page.locator(".film-inner svg").bounding_box()
    size = page.locator(".film-inner svg").get_attribute("viewBox")
    assert box is not None and size is not None
    _, _, width, height = map(float, size.split())
    x = box["x"] + (column + 0.5) / width * box["width"]
    page.mouse.click(x, box["y"] + (row + 0.5) / height * box["height"])


def _down(page: Page) -> int:
    """Return how far down the page the film is."""
    return page.locator(".film-stage").evaluate(
        "each => Math.round(each.getBoundingClientRect().top + scrollY)"
    )


def rows(folder: Path) -> list[Shot]:
    return read_shots(folder / "results" / "shots.csv")


def bring_in(page: Page) -> None:
    """Bring the decisions into the results, and wait until they are there."""
    page.keyboard.press("m")
    waiting = page.get_by_text("do not yet").or_(page.get_by_text("brought up to date"))
    expect(waiting).to_be_hidden()


def to_frame(page: Page, frame: int) -> None:
    page.locator(".film-controls input[type=range]").fill(str(frame))
    expect(page.locator(".film")).to_have_attribute("data-frame", str(frame))


@pytest.mark.campaign
def test_a_shot_is_stepped_through_in_true_time(visit: Visit, lane: Path) -> None:
    page = opened(visit(lane, "shots"))
    (shot,) = rows(lane)
    facts = inspect(lane / CLIP)
    begins = frame_of(page)
    assert abs(facts.file_times_s[begins] - shot.release_s) < 1.1 / facts.file_fps
    page.keyboard.press("ArrowRight")
    expect(page.locator(".film")).to_have_attribute("data-frame", str(begins + 1))
    page.keyboard.press("Shift+ArrowRight")
    expect(page.locator(".film")).to_have_attribute("data-frame", str(begins + 11))
    # The clip plays slower than life: eleven frames are true seconds.
    since = re.search(r"([\d.]+) s after the release", page.locator(".film-where").inner_text())
    assert since is not None
    wanted = (facts.file_times_s[begins + 11] - shot.release_s) / facts.pace
    assert float(since[1]) == pytest.approx(wanted, abs=6e-4)
    shown = page.evaluate("document.querySelector('.film video').currentTime")
    step = facts.file_times_s[begins + 12] - facts.file_times_s[begins + 11]
    assert shown == pytest.approx(facts.file_times_s[begins + 11] + step / 2, abs=1e-4)
    page.keyboard.press("End")
    page.keyboard.press("Home")
    expect(page.locator(".film")).to_have_attribute("data-frame", str(begins))
    nearest = int(np.argmin(np.abs(facts.file_times_s - shot.release_s)))
    for frame, said in ((nearest, "at the release"), (nearest - 2, "s before the release")):
        to_frame(page, frame)
        expect(page.locator(".film-where")).to_contain_text(said)
    signs = [each.get_attribute("d") for each in page.locator(".spot.cased").all()]
    assert signs == [svg_path(EVENTS[event], SIGN_PX) for event in ("release", "apex", "landing")]


@pytest.mark.campaign
def test_the_ball_lies_in_the_middle_of_the_magnified_view(visit: Visit, lane: Path) -> None:
    page = opened(visit(lane, "shots"))
    points = read_points(lane / "results" / "tracks.csv")[CLIP, 1]
    used = [point for point in points if point.used]
    to_frame(page, used[len(used) // 2].frame)
    page.wait_for_timeout(200)
    middle, corner = page.evaluate(
        """() => {
          const pen = document.querySelector('.film-loupe').getContext('2d');
          const mean = (low, high) => {
            let sum = 0;
            for (const x of [low, high]) for (const y of [low, high]) {
              const [r, g, b] = pen.getImageData(x, y, 1, 1).data;
              sum += (r + g - 2 * b) / 4;
            }
            return sum;
          };
          return [mean(112, 128), mean(12, 228)];
        }"""
    )
    # A yellow ball: more red and green than blue, which the sky is not.
    assert middle > corner + 40


@pytest.mark.campaign
def test_zooming_brings_the_ball_into_the_middle(visit: Visit, lane: Path) -> None:
    page = opened(visit(lane, "shots"))
    points = read_points(lane / "results" / "tracks.csv")[CLIP, 1]
    used = [point for point in points if point.used]
    to_frame(page, used[len(used) // 2].frame)
    before = page.locator(".film-stage").bounding_box()
    page.keyboard.press("z")
    expect(page.get_by_role("button", name="Whole frame")).to_be_visible()
    stage = page.locator(".film-stage").bounding_box()
    ball = page.locator(".film circle.ball").last.bounding_box()
    assert stage is not None and ball is not None and stage == before
    for at, size in (("x", "width"), ("y", "height")):
        middle = ball[at] + ball[size] / 2  # type: ignore[literal-required]
        inside = (middle - stage[at]) / stage[size]  # type: ignore[literal-required]
        assert 0.3 < inside < 0.7


@pytest.mark.campaign
def test_a_shot_is_rejected_with_a_reason_by_keyboard_and_taken_back(
    visit: Visit, lane: Path
) -> None:
    page = opened(visit(lane, "shots"))
    film = _down(page)
    page.keyboard.press("r")
    expect(page.locator(".notices")).to_contain_text("Say first why the shot is rejected")
    expect(page.locator("#reason")).to_be_focused()
    page.keyboard.type("it touched the net")
    page.get_by_role("button", name="Reject").click()
    expect(page.locator(".shots-table")).to_contain_text("rejected")
    (decision,) = read_review(read_session(lane)).decisions
    assert decision.reason == "it touched the net" and decision.verdict == "reject"
    expect(page.get_by_text("do not yet")).to_be_visible()
    # What is said of the results stands where it was said before; it moved nothing.
    assert _down(page) == film
    assert [row.quality.value for row in rows(lane)] != ["rejected"]
    page.locator(".film-stage").focus()
    page.keyboard.press("t")
    expect(page.locator(".shots-table .mark")).not_to_contain_text("rejected")
    assert read_review(read_session(lane)).decisions == ()
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".shots-table")).to_contain_text("rejected")


@pytest.mark.long
def test_a_moved_release_is_answered_at_once_and_reaches_the_results(
    visit: Visit, lane: Path
) -> None:
    page = opened(visit(lane, "shots"))
    (before,) = rows(lane)
    points = read_points(lane / "results" / "tracks.csv")[CLIP, 1]
    first = next(point for point in points if point.used)
    page.locator(".film-stage").focus()
    page.keyboard.press("s")
    expect(page.locator(".film-where")).to_contain_text("click it")
    to_frame(page, first.frame)
    click_ball(page, first.column_px, first.row_px)
    expect(page.locator(".shots-view")).to_contain_text("A person gave its release")
    (decision,) = read_review(read_session(lane)).decisions
    assert decision.ends.release_px is not None
    assert decision.ends.release_px == pytest.approx((first.column_px, first.row_px), abs=2.0)
    assert decision.ends.moved_release_s == pytest.approx(
        inspect(lane / CLIP).file_times_s[first.frame], abs=1e-4
    )
    assert rows(lane) == [before]
    bring_in(page)
    (after,) = rows(lane)
    assert after.reasons[0].code is ReasonCode.RELEASE_BY_HAND
    assert after.carry_m != before.carry_m


@pytest.mark.campaign
def test_a_taped_landing_narrows_the_carry(visit: Visit, lane: Path) -> None:
    page = opened(visit(lane, "shots"))
    (before,) = rows(lane)
    page.get_by_text("The landing was taped").click()
    page.get_by_label("Along").fill(f"{before.landing_along_m:.2f}".replace(".", ","))
    page.get_by_label("Give or take").fill("10 cm")
    page.get_by_role("button", name="Use this landing").click()
    expect(page.locator(".shots-view")).to_contain_text("A person gave its landing")
    carry = page.locator(".shots-table td.number").nth(1).inner_text()
    assert before.carry_u_m is not None and before.carry_u_m > 0.5
    assert float(carry.split("±")[1]) < 0.2


@pytest.mark.long
def test_a_missed_shot_is_added_by_two_clicks(visit: Visit, missed: Path, truly: Path) -> None:
    page = opened(visit(missed, "shots"))
    expect(page.locator(".shots-list")).to_contain_text("No shot")
    points = read_points(truly / "results" / "tracks.csv")[CLIP, 1]
    used = [point for point in points if point.used]
    page.get_by_role("button", name="Add a missed shot").click()
    asked = ("Click the ball in one frame", "Now step on, and click again")
    for point, words in zip((used[len(used) // 5], used[3 * len(used) // 4]), asked, strict=True):
        expect(page.locator(".film-where")).to_contain_text(words)
        to_frame(page, point.frame)
        click_ball(page, point.column_px, point.row_px)
    expect(page.locator(".shots-table")).to_contain_text("Shot 1")
    (added,) = read_review(read_session(missed)).added
    assert len(added.places) == 2
    # First from the two places alone, then from the ball's picture in every frame.
    expect(page.locator(".notices")).to_contain_text("In the next results it is shot 1")
    bring_in(page)
    (found,), (true,) = rows(missed), rows(truly)
    assert found.exit_speed_mps == pytest.approx(true.exit_speed_mps, rel=3e-3)
    assert found.frames_seen > 0.9 * true.frames_seen


@pytest.mark.campaign
def test_a_rejected_candidate_is_looked_at_and_taken(
    visit: Visit, missed: Path, truly: Path
) -> None:
    page = opened(visit(missed, "shots"))
    page.get_by_text("1 rejected candidate").click()
    page.get_by_role("button", name="at ").click()
    expect(page.locator(".shots-view")).to_contain_text("Not a shot, since: Only 30 frames")
    page.get_by_role("button", name="Take it as a shot").click()
    expect(page.locator(".shots-table")).to_contain_text("Shot 1")
    (true,) = rows(truly)
    speed = page.locator(".shots-table td.number").first.inner_text()
    assert float(speed.split()[0]) == pytest.approx(true.exit_speed_mps or 0.0, rel=0.01)


@pytest.mark.campaign
def test_a_clip_that_the_browser_cannot_decode_is_drawn_by_the_server(
    server: Served, tab: Page, lane: Path
) -> None:
    tab.route("**/clip/*", lambda route: route.fulfill(body=b"no film", content_type="video/mp4"))
    tab.goto(f"{server.open(lane)}/shots")
    ready(tab)
    expect(tab.get_by_text("cannot decode the clip")).to_be_visible()
    begins = frame_of(opened(tab))
    tab.keyboard.press("ArrowRight")
    expect(tab.locator(".film")).to_have_attribute("data-frame", str(begins + 1))
    assert f"/frame/0/{begins + 1}?" in (tab.locator(".film img").get_attribute("src") or "")


@pytest.mark.campaign
def test_a_release_is_moved_by_keyboard_alone(visit: Visit, lane: Path) -> None:
    page = opened(visit(lane, "shots"))
    page.locator(".film-stage").focus()
    page.keyboard.press("Home")
    page.keyboard.press("s")
    expect(page.locator(".film-where")).to_contain_text("Column")
    before = page.locator(".film-where").inner_text()
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("ArrowUp")
    assert page.locator(".film-where").inner_text() != before
    page.keyboard.press("Enter")
    expect(page.locator(".shots-view")).to_contain_text("A person gave its release")
    assert len(read_review(read_session(lane)).decisions) == 1


@pytest.mark.campaign
def test_a_phone_shows_and_judges_by_touch(server: Served, narrow_tab: Page, lane: Path) -> None:
    narrow_tab.goto(f"{server.open(lane)}/shots")
    ready(narrow_tab)
    opened(narrow_tab)
    narrow_tab.locator("#reason").tap()
    narrow_tab.locator("#reason").fill("two of us saw it")
    narrow_tab.get_by_role("button", name="Accept").tap()
    expect(narrow_tab.locator(".shots-view")).to_contain_text("accepted: two of us saw it")
    wide = narrow_tab.evaluate("document.documentElement.scrollWidth")
    assert wide <= 390


@pytest.mark.campaign
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_serious_bars_anyone(visit: Visit, lane: Path, tab: Page, scheme: str) -> None:
    tab.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
    page = opened(visit(lane, "shots"))
    page.get_by_text("The landing was taped").click()
    found = Axe().run(page).response["violations"]
    serious = [one["id"] for one in found if one["impact"] in ("serious", "critical")]
    assert serious == []


@pytest.mark.campaign
def test_a_session_that_was_not_kept_says_what_to_do(visit: Visit, measured: Path) -> None:
    text = (measured / "session.toml").read_text(encoding="utf-8")
    (measured / "session.toml").write_text(text.replace("57", "58"), encoding="utf-8")
    page = visit(measured, "shots")
    expect(page.locator("#main")).to_contain_text("Measure it again")


def test_where_nothing_is_kept_measuring_again_alone_is_not_asked_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv(FOLDER_VARIABLE, "")
    assert not_kept().endswith(
        f"{FOLDER_VARIABLE} is set to nothing. Start Lobmeter without it and measure again;"
    )
    monkeypatch.setenv(FOLDER_VARIABLE, "anywhere")
    assert not_kept() == f"{STALE} Measure it again;"


@pytest.mark.campaign
def test_a_hostile_reason_is_shown_as_it_is(visit: Visit, lane: Path) -> None:
    words = '<img src=x onerror="alert(1)"> ]] \n"""'.replace("\n", "\\n")
    page = opened(visit(lane, "shots"))
    page.locator("#reason").fill(words)
    page.get_by_role("button", name="Reject").click()
    expect(page.locator(".shots-view")).to_contain_text(words)
    (decision,) = read_review(read_session(lane)).decisions
    assert decision.reason == words


@pytest.mark.campaign
def test_text_twice_as_large_puts_the_film_below_the_list(visit: Visit, lane: Path) -> None:
    page = opened(visit(lane, "shots"))
    page.set_viewport_size({"width": 1100, "height": 760})
    film, shots = page.locator(".film-stage"), page.locator(".shots-list")
    beside = [each.bounding_box() for each in (shots, film)]
    assert beside[0] is not None and beside[1] is not None
    assert beside[1]["x"] > beside[0]["x"] + beside[0]["width"]
    page.add_style_tag(content="html { font-size: 200% !important }")
    below = [each.bounding_box() for each in (shots, film)]
    assert below[0] is not None and below[1] is not None
    assert below[1]["y"] >= below[0]["y"] + below[0]["height"]
    assert below[1]["width"] > 600.0
    assert page.evaluate("document.documentElement.scrollWidth") <= 1100
