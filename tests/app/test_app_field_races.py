"""Field: what a person does while the page still saves, or shows, what was done before."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.app.conftest import copied
from tests.app.marking import drag_at_once, marker, on_screen, row_of, wait_until
from tracker.results import alone
from tracker.session import FieldChange, MarkerEntry, read_session
from tracker.workflow import field_edits as edits
from tracker.workflow.edit import digest_of, edit_session

Visit = Callable[[Path, str], Page]


@pytest.fixture
def wide(tmp_path: Path) -> Path:
    """A copy of the wide sample, all five markers picked."""
    return copied("wide", tmp_path)


@pytest.mark.campaign
@pytest.mark.parametrize("then", ["21.5", "waist"])
def test_what_is_typed_over_a_text_that_is_being_saved_stays(
    visit: Visit, wide: Path, then: str
) -> None:
    tab = visit(wide, "field")
    row_of(tab, "20 m cone").click()
    along = tab.get_by_role("textbox", name=re.compile("^Along"))
    up = tab.get_by_role("textbox", name=re.compile("^Up"))
    expect(along).to_have_value("20")
    expect(tab.get_by_role("application")).to_be_focused()
    with alone(wide, "a test holds the session back"):
        along.fill("20.5")
        up.fill("10 cm")
        up.press("Enter")
        along.fill(then)
        if then == "waist":
            along.press("Enter")
            expect(tab.locator(".notices")).to_contain_text('"waist" is no length')
    # Saved and shown one after another.
    expect(up).to_have_value("0.1")
    assert marker(wide, "20 m cone").ground_m == (20.5, 0.0, 0.1)
    expect(along).to_have_value(then)
    along.fill("21.5 ")
    along.press("Enter")
    expect(along).to_have_value("21.5")
    wait_until(tab, lambda: marker(wide, "20 m cone").ground_m == (21.5, 0.0, 0.1))


@pytest.mark.campaign
def test_a_marker_keeps_its_form_through_names_that_follow_each_other(
    visit: Visit, wide: Path
) -> None:
    tab = visit(wide, "field")
    tab.get_by_role("button", name="Add a marker").click()
    along = tab.get_by_role("textbox", name=re.compile("^Along"))
    expect(along).to_have_value("50")
    with alone(wide, "a test holds the session back"):
        for metres in ("55", "60", "65", "70"):
            along.fill(metres)
            along.press("Enter")
    wait_until(tab, lambda: read_session(wide).markers[-1].name == "70 m")
    assert read_session(wide).markers[-1].ground_m == (70.0, 0.0, 0.0)
    expect(tab.get_by_label("Name")).to_have_value("70 m")


@pytest.mark.campaign
def test_a_pick_is_of_the_clip_that_it_was_made_on(visit: Visit, tmp_path: Path) -> None:
    folder = copied("wheels", tmp_path)
    session = read_session(folder, filmed=False)
    name, pixel = session.markers[1].name, session.markers[1].pixel
    assert pixel is not None
    apart = edits.apart(session, session.clips[1])
    own = FieldChange(("clip", 1, "marker", 1, "pixel"), list(pixel))
    edit_session(folder, digest_of(folder), "picks of its own", [*apart, own])
    tab = visit(folder, "field")
    chosen = tab.locator(".field-picture select").first
    frame = tab.locator(".mark-stage image")
    for clip in ("1", "0"):
        chosen.select_option(clip)
        expect(frame).to_have_attribute("href", re.compile(rf"/frame/{clip}/0$"))
    row_of(tab, name).click()
    expect(tab.locator(".mark-where")).to_contain_text(name)
    ends = on_screen(tab, *pixel), on_screen(tab, pixel[0] + 40.0, pixel[1] - 30.0)
    drag_at_once(tab, *ends, then=(chosen, "1"))
    expect(frame).to_have_attribute("href", re.compile(r"/frame/1/0$"))
    moved = pytest.approx((pixel[0] + 40.0, pixel[1] - 30.0), abs=2.0)
    wait_until(tab, lambda: own_of(folder, 0)[1].pixel == moved)
    expect(tab.locator(".field-done")).to_contain_text("saved")
    assert own_of(folder, 1)[1].pixel == pixel


def own_of(folder: Path, clip: int) -> tuple[MarkerEntry, ...]:
    return read_session(folder, filmed=False).clips[clip].markers
