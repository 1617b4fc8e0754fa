"""Before filming: camera and markers moved from above, and a planned session kept of it."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.app.conftest import Served, copied, ready
from tests.app.marking import wait_until
from tests.app.test_app_access import usable
from tracker.session import Session, read_session
from tracker.workflow.vantage import judge_vantage

Visit = Callable[[Path, str], Page]
PLAN = """\
name = "Fen Lane, planned"   # for June

[release]
height_m = 0.8
angle_deg = 42.0

[camera]
position_m = [17.0, -30.0, 1.5]   # by the gate
field_of_view_deg = 70.0

[[marker]]
name = "launcher"
ground_m = [0.0, 0.0, 0.0]

[[marker]]
name = "20 m"
ground_m = [20.0, 0.0, 0.0]

[[marker]]
name = "40 m"
ground_m = [40.0, 0.0, 0.0]

[planned]
frame_px = [1920, 1080]
fps = 60.0
exit_speed_mps = 20.0
clear_m = 29.0
"""


@pytest.fixture
def planned(tmp_path: Path) -> Path:
    """A session that is planned, not filmed."""
    folder = tmp_path / "planned"
    folder.mkdir()
    (folder / "session.toml").write_text(PLAN, "utf-8")
    return folder


@pytest.mark.campaign
def test_the_expected_figures_are_those_of_the_command(visit: Visit, planned: Path) -> None:
    tab = visit(planned, "before")
    _says_what_the_command_says(tab, planned)


@pytest.mark.long
def test_the_filled_page_can_be_used_by_everybody(visit: Visit, planned: Path) -> None:
    tab = visit(planned, "before")
    expect(tab.locator(".plan-thing")).to_have_count(4)
    usable(tab)


@pytest.mark.campaign
def test_the_field_stays_large_beside_letters_twice_as_large(visit: Visit, planned: Path) -> None:
    tab = visit(planned, "before")
    picture = tab.locator(".plan-picture")
    beside = picture.bounding_box()
    tab.add_style_tag(content="html { font-size: 200% !important }")
    alone = picture.bounding_box()
    assert beside is not None and 600 < beside["width"] < 1000
    assert alone is not None and alone["width"] > 600
    assert not tab.evaluate("document.documentElement.scrollWidth > window.innerWidth")


@pytest.mark.long
def test_dragging_the_camera_is_kept_and_undone(visit: Visit, planned: Path) -> None:
    tab = visit(planned, "before")
    expect(tab.locator(".field-answer")).to_contain_text("Best single change")
    before = tab.locator(".field-answer").inner_text()
    _drag(tab, "", 6.0, -12.0)
    expect(tab.locator(".field-answer")).not_to_contain_text(before[:200])
    wait_until(
        tab, lambda: read_session(planned, filmed=False).camera.position_m != (17.0, -30.0, 1.5)
    )
    position = read_session(planned, filmed=False).camera.position_m
    assert position == pytest.approx((23.0, -42.0, 1.5), abs=0.35)
    _says_what_the_command_says(tab, planned)
    text = (planned / "session.toml").read_text("utf-8")
    assert "# by the gate" in text
    assert "# for June" in text
    tab.get_by_role("button", name="Undo").click()
    wait_until(tab, lambda: (planned / "session.toml").read_text("utf-8") == PLAN)
    expect(tab.locator(".plan-thing.camera")).to_have_attribute(
        "aria-label", "Camera: 17.0 m along, 30.0 m to the right"
    )


@pytest.mark.campaign
def test_the_keyboard_moves_what_has_it(visit: Visit, planned: Path) -> None:
    tab = visit(planned, "before")
    tab.locator(".plan-thing", has_text="20 m").focus()
    for key in ("Control+ArrowUp", "ArrowLeft", "ArrowLeft", "Shift+ArrowDown"):
        tab.keyboard.press(key)
    wait_until(tab, lambda: _place(read_session(planned, filmed=False), "20 m") == (19.0, 4.9, 0.0))
    expect(tab.get_by_role("textbox", name=re.compile("^Across"))).to_have_value("4.9")
    # The one that has the keyboard keeps it.
    expect(tab.locator(".plan-thing.chosen")).to_be_focused()
    assert _place(read_session(planned, filmed=False), "launcher") == (0.0, 0.0, 0.0)


@pytest.mark.campaign
def test_feet_are_taken_and_a_place_in_the_line_of_fire_is_unsuitable(
    visit: Visit, planned: Path
) -> None:
    tab = visit(planned, "before")
    across = tab.get_by_role("textbox", name=re.compile("^Across"))
    expect(across).to_have_value("-30")
    across.fill("-90 ft")
    across.press("Tab")
    expect(tab.locator(".field-answer .lead")).to_contain_text(
        "Unsuitable place: 27.4 m from the line of fire, nearer than 29 m"
    )
    position = read_session(planned, filmed=False).camera.position_m
    assert position == (17.0, -27.43, 1.5)
    across.fill("far")
    across.press("Tab")
    expect(tab.locator(".notices .fault")).to_contain_text('"far" is no length')


@pytest.mark.long
def test_what_is_typed_while_an_earlier_change_is_kept_is_kept_too(
    visit: Visit, planned: Path
) -> None:
    tab = visit(planned, "before")
    expect(tab.get_by_role("textbox", name=re.compile("^Along"))).to_have_value("17")
    tab.get_by_role("textbox", name=re.compile("^Along")).focus()
    for words in ("18", "-31.5", "1.7"):
        tab.keyboard.press("Control+a")
        tab.keyboard.type(words)
        tab.keyboard.press("Tab")
    wait_until(
        tab, lambda: read_session(planned, filmed=False).camera.position_m == (18, -31.5, 1.7)
    )


@pytest.mark.campaign
def test_a_filmed_session_stays_as_it_is_and_a_plan_is_made_of_it(
    visit: Visit, server: Served, tmp_path: Path
) -> None:
    wide = copied("wide", tmp_path)
    written = (wide / "session.toml").read_bytes()
    tab = visit(wide, "before")
    expect(tab.locator(".field-answer")).to_contain_text("Best single change")
    _drag(tab, "40 m cone", -5.0, 2.0)
    tab.get_by_label("Name of the plan").fill("../Fen <b>Lane</b>, June")
    tab.get_by_label("Name of the plan").press("Tab")
    tab.get_by_role("button", name="Keep as a planned session").click()
    expect(tab).to_have_title("Before filming · ../Fen <b>Lane</b>, June")
    expect(tab.locator(".field-side")).to_contain_text("every change is kept in it")
    assert (wide / "session.toml").read_bytes() == written
    (folder,) = server.home.glob("*June*")
    made = read_session(folder, filmed=False)
    assert (made.clips, made.date) == ((), None)
    assert _place(made, "40 m cone") == pytest.approx((35.0, 2.0, 0.0), abs=0.35)
    assert all(marker.pixel is None for marker in made.markers)
    assert made.camera == read_session(wide).camera
    assert made.setups == read_session(wide).setups


@pytest.mark.long
def test_without_a_session_a_usual_field_is_planned_by_touch(
    server: Served, narrow_tab: Page
) -> None:
    tab = narrow_tab
    tab.goto(f"{server.base}/before")
    ready(tab)
    expect(tab.locator(".field-answer")).to_contain_text("Best single change")
    before = _controls(tab)
    _drag(tab, "", 4.0, -8.0, touch=True)
    label = tab.locator(".plan-thing.camera")
    expect(label).not_to_have_attribute("aria-label", re.compile(r"30\.0 m to the right"))
    tab.get_by_role("button", name="Add a marker").tap()
    expect(tab.locator(".plan-thing")).to_have_count(6)
    # The answer to the drag, whose place was told twice, moved nothing that a finger aims at.
    expect(tab.locator(".plan-picture")).to_have_attribute("data-answered", "2")
    assert _controls(tab) == before
    tab.get_by_label("Name of the plan").fill("First evening")
    tab.get_by_label("Name of the plan").press("Tab")
    tab.get_by_role("button", name="Keep as a planned session").tap()
    expect(tab).to_have_title("Before filming · First evening")
    made = read_session(server.home / "First evening", filmed=False)
    assert made.camera.position_m is not None
    assert made.camera.position_m[1] == pytest.approx(-38.0, abs=0.6)
    assert [marker.name for marker in made.markers] == ["0 m", "10 m", "20 m", "30 m", "40 m"]
    assert made.release.height_m == 0.8


def _controls(tab: Page) -> list[float]:
    """Return how far down the page each of its fields and buttons is."""
    return tab.evaluate(
        """[...document.querySelectorAll("#main :is(button, input, select)")]
            .map((each) => Math.round(each.getBoundingClientRect().top + window.scrollY))"""
    )


def _place(session: Session, name: str) -> tuple[float, float, float]:
    return next(one.ground_m for one in session.markers if one.name == name)


def _says_what_the_command_says(tab: Page, folder: Path) -> None:
    from tracker.report.vantage_words import summary

    said = summary(judge_vantage(folder, to=folder / "never.png").vantage)
    (folder / "never.png").unlink()
    for words in (said[0], said[2], said[-1]):
        expect(tab.locator(".field-answer")).to_contain_text(words)


def _drag(tab: Page, key: str, along: float, across: float, touch: bool = False) -> None:
    """Drag the camera (no key) or a marker by metres."""
    tab.locator(".plan-picture").scroll_into_view_if_needed()
    ends = tab.evaluate(
        """([key, along, across]) => {
            const thing = [...document.querySelectorAll(".plan-thing")].find(
                (one) => one.dataset.key === key);
            const here = thing.getScreenCTM();
            const sheet = document.querySelector(".plan-picture svg").getScreenCTM();
            return [here.e, here.f, here.e + along * sheet.a, here.f - across * sheet.d];
        }""",
        [key, along, across],
    )
    if touch:
        client = tab.context.new_cdp_session(tab)
        for kind, x, y in (("touchStart", *ends[:2]), ("touchMove", *ends[2:])):
            points = [{"x": x, "y": y}]
            client.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
        client.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
        return
    tab.mouse.move(*ends[:2])
    tab.mouse.down()
    tab.mouse.move(*ends[2:], steps=5)
    tab.mouse.up()
