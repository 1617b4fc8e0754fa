"""Field: markers picked by mouse, by keyboard and by touch; mistakes pointed at; undo."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.app.conftest import Served, copied, ready
from tests.app.marking import (
    click_pixel,
    drag_at_once,
    marker,
    on_screen,
    pick_by_keyboard,
    pick_by_mouse,
    pick_by_touch,
    row_of,
    wait_saved,
    wait_until,
)  # fmt: skip
from tests.app.test_app_access import usable
from tests.tracker.test_workflow_stands import film, view
from tracker.app.parts import unbroken
from tracker.session import MarkerEntry, read_session
from tracker.workflow.calibrate import calibrate_session
from tracker.workflow.questions import session_questions

Visit = Callable[[Path, str], Page]
WIDE = {
    "foot of the launcher": (128.7, 733.7),
    "10 m cone": (588.4, 727.7),
    "20 m cone": (1037.2, 725.5),
    "30 m cone": (1471.9, 722.5),
    "40 m cone": (1889.6, 714.9),
}
LAST = {name: WIDE[name] for name in ("30 m cone", "40 m cone")}


@pytest.fixture
def wide(tmp_path: Path) -> Path:
    """A copy of the wide sample, all five markers picked."""
    return copied("wide", tmp_path)


@pytest.fixture
def blank(wide: Path) -> Path:
    """The same without a pick."""
    return _unpicked(wide, 5)


@pytest.fixture
def half_done(wide: Path) -> Path:
    """The same with the last two still to be picked."""
    return _unpicked(wide, 2)


def _unpicked(folder: Path, last: int) -> Path:
    file = folder / "session.toml"
    lines = file.read_text("utf-8").splitlines()
    picks = [number for number, line in enumerate(lines) if line.startswith("pixel")]
    gone = set(picks[-2 * last :])
    kept = [line for number, line in enumerate(lines) if number not in gone]
    file.write_text("\n".join(kept) + "\n", "utf-8")
    return folder


def test_a_notice_stays_until_its_field_is_accepted_and_covers_it_never(
    visit: Visit, wide: Path
) -> None:
    tab = visit(wide, "field")
    height, notice = tab.locator("#release-height"), tab.locator(".notices p")
    # Where the field stands at the window's lower edge, the notice comes upon it.
    tab.set_viewport_size({"width": 600, "height": 500})
    height.fill("waist")
    height.evaluate("each => scrollBy(0, each.getBoundingClientRect().bottom - innerHeight + 2)")
    tab.keyboard.press("Tab")
    expect(notice).to_contain_text('"waist" is no length')
    tab.wait_for_function(
        """() => document.querySelector("#release-height").getBoundingClientRect().bottom
            <= document.querySelector(".said-here").getBoundingClientRect().top"""
    )
    # What is accepted elsewhere says nothing of this field.
    row_of(tab, "20 m cone").click()
    along = tab.get_by_role("textbox", name=re.compile("^Along"))
    expect(along).to_have_value("20")
    along.fill("20.1")
    along.press("Tab")
    wait_until(tab, lambda: marker(wide, "20 m cone").ground_m == (20.1, 0.0, 0.0))
    expect(notice).to_contain_text('"waist" is no length')
    height.fill("85")
    height.press("Tab")
    expect(notice).to_have_count(0)
    # Taken, with the question that the check of a session asks.
    expect(tab.locator(".field-questions p")).to_contain_text("If it is in centimetres, write 0.85")
    (asked,) = session_questions(read_session(wide))
    expect(tab.locator(".field-questions p")).to_have_text(unbroken(asked))
    height.fill("0.85")
    height.press("Tab")
    expect(tab.locator(".field-questions p")).to_have_count(0)
    tab.locator(".mark-stage").focus()
    tab.keyboard.press("a")
    expect(notice).to_contain_text("every marker of the list is picked")
    row_of(tab, "30 m cone").click()
    expect(notice).to_have_count(0)


@pytest.mark.campaign
def test_coordinates_typed_one_after_another_are_all_saved(visit: Visit, wide: Path) -> None:
    tab = visit(wide, "field")
    row_of(tab, "20 m cone").click()
    along = tab.get_by_role("textbox", name=re.compile("^Along"))
    expect(along).to_have_value("20")
    along.focus()
    # Nobody waits for the answer to the first before typing the next.
    for words in ("20.1", "0.2", "0.1"):
        tab.keyboard.press("Control+a")
        tab.keyboard.type(words)
        tab.keyboard.press("Tab")
    wait_until(tab, lambda: marker(wide, "20 m cone").ground_m == (20.1, 0.2, 0.1))


@pytest.mark.long
def test_markers_by_mouse(visit: Visit, half_done: Path) -> None:
    tab = visit(half_done, "field")
    pick_by_mouse(tab, half_done, LAST)
    _same_as_the_command(tab, half_done)


@pytest.mark.long
def test_markers_by_keyboard(visit: Visit, half_done: Path) -> None:
    tab = visit(half_done, "field")
    pick_by_keyboard(tab, half_done, LAST)
    _same_as_the_command(tab, half_done)


@pytest.mark.campaign
def test_markers_by_touch(server: Served, narrow_tab: Page, half_done: Path) -> None:
    narrow_tab.goto(f"{server.open(half_done)}/field")
    ready(narrow_tab)
    pick_by_touch(narrow_tab, half_done, LAST)
    _same_as_the_command(narrow_tab, half_done)


@pytest.mark.campaign
def test_a_wrong_marker_is_pointed_at_and_undo_takes_it_back(visit: Visit, wide: Path) -> None:
    tab = visit(wide, "field")
    before = marker(wide, "20 m cone").pixel
    row_of(tab, "20 m cone").click()
    expect(tab.locator(".mark-where")).to_contain_text("20 m cone")
    start, end = on_screen(tab, *before), on_screen(tab, before[0] + 40, before[1] + 25)
    tab.mouse.move(*start)
    tab.mouse.down()
    tab.mouse.move(*end, steps=4)
    tab.mouse.up()
    expect(tab.locator(".mark.suspect text")).to_have_text("20 m cone: does not agree")
    expect(tab.locator(".field-answer")).to_contain_text(
        "its label, its coordinates or its pixel is wrong"
    )
    expect(row_of(tab, "20 m cone")).to_contain_text("does not agree")
    moved = marker(wide, "20 m cone").pixel
    assert moved == pytest.approx((before[0] + 40, before[1] + 25), abs=2.0)
    tab.get_by_role("button", name="Undo").click()
    expect(tab.locator(".mark.suspect")).to_have_count(0)
    expect(tab.locator(".notices")).to_contain_text("Undone: 20 m cone picked")
    assert marker(wide, "20 m cone").pixel == before

    # A marker that is not chosen is held before the server has heard of the choice.
    column, row = marker(wide, "40 m cone").pixel
    drag_at_once(tab, on_screen(tab, column, row), on_screen(tab, column - 30, row + 20))
    wait_until(tab, lambda: marker(wide, "40 m cone").pixel != (column, row))
    assert marker(wide, "40 m cone").pixel == pytest.approx((column - 30, row + 20), abs=2.0)


@pytest.mark.long
def test_feet_for_metres_are_named_and_the_typed_feet_mend_them(visit: Visit, wide: Path) -> None:
    file = wide / "session.toml"
    written = file.read_text("utf-8")
    file.write_text(written.replace("[30.0, 0.0, 0.0]", "[98.4, 0.0, 0.0]  # wheel tape"), "utf-8")
    tab = visit(wide, "field")
    expect(tab.locator(".field-answer")).to_contain_text(
        'The coordinates of marker "30 m cone" are in feet: [29.99, 0, 0] agrees with the rest'
    )
    expect(tab.locator(".mark.suspect text")).to_have_text("30 m cone: does not agree")
    row_of(tab, "30 m cone").click()
    along = tab.get_by_role("textbox", name=re.compile("^Along"))
    expect(along).to_have_value("98.4")
    along.fill("98 ft 5 in")
    along.press("Tab")
    expect(tab.locator(".mark.suspect")).to_have_count(0)
    expect(along).to_have_value("29.997")
    assert marker(wide, "30 m cone").ground_m == (pytest.approx(29.997), 0.0, 0.0)
    # What the person wrote beside it is still there.
    assert "# wheel tape" in file.read_text("utf-8")


@pytest.mark.campaign
def test_swapped_axes_are_pointed_at(visit: Visit, wide: Path) -> None:
    file = wide / "session.toml"
    swapped = re.sub(r"ground_m = \[(\S+), 0.0", r"ground_m = [0.0, \1", file.read_text("utf-8"))
    file.write_text(swapped, "utf-8")
    tab = visit(wide, "field")
    expect(tab.locator(".field-answer")).to_contain_text("Along and across are swapped")
    expect(tab.locator(".mark.suspect")).to_have_count(5)


@pytest.mark.long
def test_suggestions_are_accepted_together(visit: Visit, half_done: Path) -> None:
    tab = visit(half_done, "field")
    expect(tab.locator(".mark.suggested")).to_have_count(2)
    tab.get_by_role("button", name="Accept 2 suggestions").click()
    expect(tab.locator(".mark.picked")).to_have_count(5)
    for name in LAST:
        found = marker(half_done, name)
        assert found.pixel == pytest.approx(WIDE[name], abs=3.0)
        assert 0.3 < found.pixel_u < 1.0
    _same_as_the_command(tab, half_done)


@pytest.mark.campaign
def test_what_is_missing_is_said_with_the_measurement_to_add(visit: Visit, blank: Path) -> None:
    file = blank / "session.toml"
    file.write_text(re.sub(r"position_m = .*\n", "", file.read_text("utf-8")), "utf-8")
    tab = visit(blank, "field")
    expect(tab.locator(".field-answer")).to_contain_text("No marker has a pixel")
    for name in list(WIDE)[:3]:
        row_of(tab, name).click()
        expect(tab.locator(".mark-where")).to_contain_text(name)
        click_pixel(tab, *WIDE[name])
        wait_saved(tab, blank, name)
    expect(tab.locator(".field-answer")).to_contain_text("tape the camera's position")
    tab.get_by_text("What else is known of the camera").click()
    for label, text in (("Camera, along", "17.33"), ("Camera, across", "-28,8 m")):
        tab.get_by_label(label).fill(text)
    tab.get_by_label("Camera, up").fill("5 ft 8 in")
    tab.get_by_label("Camera, up").press("Tab")
    expect(tab.locator(".field-answer")).to_contain_text("A landing at 20 m: ±")
    position = read_session(blank).camera.position_m
    assert position == pytest.approx((17.33, -28.8, 68 * 0.0254), abs=6e-4)


HOSTILE = "<img src=x onerror=\"document.title='taken'\">'\"]}; 5 m"


@pytest.mark.campaign
def test_a_hostile_name_is_shown_as_it_is(visit: Visit, wide: Path) -> None:
    tab = visit(wide, "field")
    tab.get_by_role("button", name="Add a marker").click()
    expect(tab.get_by_label("Name")).to_have_value("50 m")
    tab.get_by_label("Name").fill(HOSTILE)
    tab.get_by_label("Name").press("Tab")
    expect(row_of(tab, HOSTILE)).to_be_visible()
    click_pixel(tab, 1500.0, 640.0)
    wait_saved(tab, wide, HOSTILE)
    expect(tab.locator(".mark text", has_text="onerror")).to_have_count(1)
    assert "taken" not in tab.title()
    assert tab.locator(".field-page img, .mark-stage img").count() == 0
    tab.get_by_role("button", name="Delete marker").click()
    expect(row_of(tab, HOSTILE)).to_have_count(0)
    assert [one.name for one in read_session(wide).markers] == list(WIDE)


@pytest.mark.long
def test_the_filled_page_can_be_used_by_everybody(visit: Visit, half_done: Path) -> None:
    tab = visit(half_done, "field")
    expect(tab.locator(".mark.picked")).to_have_count(3)
    expect(tab.locator(".field-done")).to_contain_text("3 of 5 picked, saved.")
    tab.set_viewport_size({"width": 1100, "height": 800})
    # The answer stands right below the picture, and every marker has its name.
    stage, answer = (tab.locator(each).bounding_box() for each in (".mark-stage", ".field-answer"))
    assert stage is not None and answer is not None
    assert 0.0 <= answer["y"] - stage["y"] - stage["height"] < 40.0
    expect(tab.locator(".mark-stage .mark text")).to_have_count(tab.locator(".mark").count())
    tab.get_by_text("What else is known of the camera").click()
    usable(tab)


@pytest.mark.campaign
def test_what_is_being_typed_stays_while_the_page_changes(visit: Visit, wide: Path) -> None:
    tab = visit(wide, "field")
    row_of(tab, "20 m cone").click()
    along = tab.get_by_role("textbox", name=re.compile("^Along"))
    expect(along).to_have_value("20")
    # The picture takes the focus, and a field that loses it is taken as finished.
    expect(tab.get_by_role("application")).to_be_focused()
    along.fill("20.5")
    file = wide / "session.toml"
    # Replaced as a whole, as editors do: the page reads it at any moment.
    beside = file.with_suffix(".new")
    beside.write_text(file.read_text("utf-8").replace("1.72]", "1.74]"), "utf-8")
    beside.replace(file)
    expect(tab.get_by_label("Camera, up")).to_have_value("1.74")
    expect(along).to_have_value("20.5")
    along.press("Tab")
    row_of(tab, "10 m cone").click()
    expect(along).to_have_value("10")
    # The page saves beside what it shows: the next marker may be there first.
    wait_until(tab, lambda: marker(wide, "20 m cone").ground_m == (20.5, 0.0, 0.0))


@pytest.mark.campaign
def test_a_name_that_is_taken_is_refused_in_a_sentence(visit: Visit, wide: Path) -> None:
    tab = visit(wide, "field")
    row_of(tab, "20 m cone").click()
    expect(tab.get_by_label("Name")).to_have_value("20 m cone")
    tab.get_by_label("Name").fill("30 m cone")
    tab.get_by_label("Name").press("Tab")
    expect(tab.locator(".notices .fault")).to_contain_text('"30 m cone" names two markers')
    assert marker(wide, "20 m cone").pixel == WIDE["20 m cone"]


@pytest.mark.campaign
def test_a_pick_is_taken_away_and_another_frame_shown(visit: Visit, wide: Path) -> None:
    tab = visit(wide, "field")
    row_of(tab, "10 m cone").click()
    expect(tab.get_by_role("application")).to_be_focused()
    tab.keyboard.press("Delete")
    expect(tab.locator(".mark.expected")).to_have_count(1)
    assert marker(wide, "10 m cone").pixel is None
    expect(row_of(tab, "10 m cone")).to_contain_text(re.compile("not picked|suggested"))
    frame = tab.locator(".mark-stage image")
    expect(frame).to_have_attribute("href", re.compile(r"/frame/0/0$"))
    tab.get_by_role("button", name="Frame after").click()
    expect(frame).to_have_attribute("href", re.compile(r"/frame/0/1$"))


def _same_as_the_command(tab: Page, folder: Path) -> None:
    _, (clip,) = calibrate_session(folder)
    assert len(clip.calibration.markers) == 5
    said = clip.calibration.summary
    expect(tab.locator(".field-answer")).to_contain_text(f"{said[:1].upper()}{said[1:]}.")


@pytest.mark.campaign
def test_ball_wind_and_slow_motion_are_stated_without_a_file(visit: Visit, wide: Path) -> None:
    tab = visit(wide, "field")
    tab.get_by_text("Ball, wind and slow motion").click()
    wind = tab.get_by_label("Wind along")
    expect(wind).to_have_value(f"{read_session(wide).air.wind_along_mps:g}")
    wind.fill("-9 km/h")
    wind.press("Tab")
    expect(wind).to_have_value("-2.5")
    tab.get_by_label("Wind across").fill("a breeze")
    tab.get_by_label("Wind across").press("Tab")
    expect(tab.locator(".notices .fault")).to_contain_text("write it as 1.5, as 12 km/h")
    tab.get_by_label("True frame rate").fill("240")
    tab.get_by_label("True frame rate").press("Tab")
    wait_until(tab, lambda: read_session(wide).camera.capture_fps == 240.0)
    tab.locator("label", has_text="Ball").locator("select").select_option("football")
    wait_until(tab, lambda: read_session(wide).ball.type == "football")
    assert read_session(wide).air.wind_along_mps == -2.5
    tab.set_viewport_size({"width": 390, "height": 844})
    assert not tab.evaluate("document.documentElement.scrollWidth > window.innerWidth")


@pytest.mark.campaign
def test_a_clip_before_which_the_camera_moved_is_picked_anew(visit: Visit, tmp_path: Path) -> None:
    folder = copied("wheels", tmp_path)
    film(folder / "clips" / "140mm.mp4", view(2, (1280, 720)), size=(1280, 720))
    before = read_session(folder, filmed=False)
    tab = visit(folder, "field")
    moved = "clips/140mm.mp4: was the camera moved before this clip? Its background"
    expect(tab.locator(".field-questions")).to_contain_text(moved)
    expect(tab.locator(".field-sharing")).to_contain_text("Every clip without picks of its own")
    chosen = tab.locator(".field-picture select").first
    third = before.clips[2].path
    third.rename(third.with_suffix(".away"))
    chosen.select_option("2")
    expect(tab.get_by_text("there is no such file")).to_be_visible()
    expect(chosen).to_have_value("0")
    third.with_suffix(".away").rename(third)
    chosen.select_option("1")
    expect(tab.locator(".field-sharing")).to_contain_text(moved)
    expect(tab.locator(".field-questions")).not_to_contain_text(moved)
    tab.get_by_role("button", name="Pick anew for this clip").click()
    expect(tab.get_by_text("This clip has picks of its own.")).to_be_visible()
    name = before.markers[0].name
    row_of(tab, name).click()
    click_pixel(tab, 300.0, 500.0)
    wait_until(tab, lambda: _own(folder, 1)[0].pixel is not None)
    expect(tab.get_by_text(moved)).to_have_count(0)
    assert [one.pixel for one in _own(folder, 1)[1:]] == [None] * (len(before.markers) - 1)
    after = read_session(folder, filmed=False)
    assert (after.clips[0], after.clips[2]) == (before.clips[0], before.clips[2])
    tab.get_by_role("button", name="Take the other clips' picks again").click()
    expect(tab.locator(".field-sharing")).to_contain_text(moved)
    assert _own(folder, 1) == before.markers
    tab.get_by_role("button", name="Undo").click()
    expect(tab.get_by_text("This clip has picks of its own.")).to_be_visible()


@pytest.mark.campaign
def test_clips_of_one_other_view_are_picked_once(visit: Visit, tmp_path: Path) -> None:
    folder = copied("wheels", tmp_path)
    for name in ("140mm", "180mm"):
        film(folder / "clips" / f"{name}.mp4", view(2, (1280, 720)), size=(1280, 720))
    shared = read_session(folder, filmed=False).markers
    tab = visit(folder, "field")
    both = "clips/140mm.mp4, clips/180mm.mp4: was the camera moved before these clips?"
    expect(tab.locator(".field-questions")).to_contain_text(both)
    tab.locator(".field-picture select").first.select_option("1")
    tab.get_by_role("button", name="Pick anew for this clip").click()
    expect(tab.get_by_text("This clip has picks of its own.")).to_be_visible()
    offered = tab.get_by_role("button", name="Give these picks to the other clip of this view")
    for number, one in enumerate(shared):
        expect(offered).to_have_count(0)
        assert one.pixel is not None
        row_of(tab, one.name).click()
        expect(tab.locator(".mark-where")).to_contain_text(one.name)
        click_pixel(tab, one.pixel[0] - 20.0, one.pixel[1] - 30.0)
        wait_until(tab, lambda at=number: _own(folder, 1)[at].pixel is not None)
    offered.click()
    mine = [(one.name, one.ground_m, one.pixel) for one in _own(folder, 1)]
    wait_until(
        tab, lambda: [(one.name, one.ground_m, one.pixel) for one in _own(folder, 2)] == mine
    )
    assert _own(folder, 0) == shared
    expect(tab.get_by_text("was the camera moved")).to_have_count(0)
    expect(offered).to_have_count(0)


def _own(folder: Path, clip: int) -> tuple[MarkerEntry, ...]:
    return read_session(folder, filmed=False).clips[clip].markers
