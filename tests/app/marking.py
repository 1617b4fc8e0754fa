"""Markers picked in the frame as a person does: by mouse, by keyboard, by touch."""

import re
import time
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.app.conftest import PATIENCE_MS
from tracker.session import MarkerEntry, read_session

MAGNIFIED = 8
MOST_STEPS = 80
"""Presses of the Tab key within which everything of a page is reached."""
Places = Mapping[str, tuple[float, float]]
"""Column and row of markers, by their names."""


def pick_by_mouse(tab: Page, folder: Path, places: Places) -> None:
    """Click on each marker, then drag the magnified picture for the last tenths."""
    for name, (column, row) in places.items():
        row_of(tab, name).click()
        expect(tab.locator(".mark-where")).to_contain_text(name)
        click_pixel(tab, column + 1.5, row - 1.0)
        wait_saved(tab, folder, name)
        picked = marker(folder, name)
        assert picked.pixel == pytest.approx((column, row), abs=2.5)
        assert picked.pixel_u == 1.0
        drag_magnified(tab, column - picked.pixel[0], row - picked.pixel[1])
        wait_saved(tab, folder, name, (column, row))
        assert marker(folder, name).pixel_u == 0.3


def pick_by_keyboard(tab: Page, folder: Path, places: Places) -> None:
    """Walk to each marker with the arrow keys alone; "n" goes on to the next."""
    walk_to(tab, tab.get_by_role("application"))
    for number, (name, place) in enumerate(places.items()):
        if number:
            tab.keyboard.press("n")
        expect(tab.locator(".mark-where")).to_contain_text(name)
        walk(tab, *place)
        tab.keyboard.press("Enter")
        wait_saved(tab, folder, name, place)


def pick_by_touch(tab: Page, folder: Path, places: Places) -> None:
    """Tap on each marker, then drag the magnified picture with a finger."""
    for name, (column, row) in places.items():
        row_of(tab, name).tap()
        expect(tab.locator(".mark-where")).to_contain_text(name)
        tab.touchscreen.tap(*on_screen(tab, column, row))
        wait_saved(tab, folder, name)
        picked = marker(folder, name).pixel
        assert picked == pytest.approx((column, row), abs=8.0)
        drag_by_touch(tab, column - picked[0], row - picked[1])
        wait_saved(tab, folder, name, (column, row))


def row_of(tab: Page, name: str) -> Locator:
    return tab.locator(".field-markers button", has=tab.get_by_text(name, exact=True))


def walk_to(tab: Page, target: Locator) -> None:
    """Press Tab, or Shift and Tab for what lies before, until a control has the focus."""
    expect(target).to_be_visible()
    for _ in range(MOST_STEPS):
        where = target.evaluate(
            """each => each === document.activeElement ? "" :
                each.compareDocumentPosition(document.activeElement) & 4 ? "Shift+Tab" : "Tab\""""
        )
        if not where:
            return
        tab.keyboard.press(where)
    pytest.fail("the keyboard does not reach it")


def on_screen(tab: Page, column: float, row: float) -> tuple[float, float]:
    """Return where a pixel of the frame is on the screen."""
    tab.locator(".mark-stage").scroll_into_view_if_needed()
    at = tab.evaluate(
        """([x, y]) => {
            const at = new DOMPoint(x, y).matrixTransform(
                document.querySelector(".mark-stage svg").getScreenCTM());
            return [at.x, at.y];
        }""",
        [column, row],
    )
    return at[0], at[1]


def click_pixel(tab: Page, column: float, row: float) -> None:
    tab.mouse.click(*on_screen(tab, column, row))


def walk(tab: Page, column: float, row: float) -> None:
    """Move the cursor to a pixel with the arrow keys."""
    said = tab.locator(".mark-where").inner_text()
    at = [float(text) for text in re.findall(r"(?:column|row) (-?[\d.]+)", said)]
    for here, wanted, keys in (
        (at[0], column, ("ArrowLeft", "ArrowRight")),
        (at[1], row, ("ArrowUp", "ArrowDown")),
    ):
        left = round(10 * (wanted - here))
        key = keys[left > 0]
        large, rest = divmod(abs(left), 250)
        for modifier, times in (("Control+", large), ("Shift+", rest // 10), ("", rest % 10)):
            for _ in range(times):
                tab.keyboard.press(modifier + key)


def drag_magnified(tab: Page, columns: float, rows: float) -> None:
    """Drag the magnified picture with the mouse, so that the crosshair moves over it."""
    tab.locator(".mark-loupe").scroll_into_view_if_needed()
    box = tab.locator(".mark-loupe").bounding_box()
    assert box
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    tab.mouse.move(x, y)
    tab.mouse.down()
    tab.mouse.move(x - MAGNIFIED * columns, y - MAGNIFIED * rows)
    tab.mouse.up()


DRAG_AT_ONCE = """async ([from, to, select, value]) => {
    Element.prototype.setPointerCapture = () => {};
    const pressed = document.elementFromPoint(...from);
    for (const [kind, [x, y]] of [["down", from], ["move", to], ["up", to]]) {
        pressed.dispatchEvent(new PointerEvent("pointer" + kind, {
            bubbles: true, clientX: x, clientY: y, pointerType: "mouse", button: 0,
        }));
        await Promise.resolve();
    }
    if (select) {
        select.value = value;
        select.dispatchEvent(new Event("change"));
    }
}"""
"""Press, move, release, choose: in one turn of the browser, so that no answer comes between."""


def drag_at_once(
    tab: Page,
    start: tuple[float, float],
    end: tuple[float, float],
    then: tuple[Locator, str] | None = None,
) -> None:
    """Drag in the picture, with all of it done before the server has heard of its beginning.

    Then another value of a choice may be taken in the same moment.
    """
    choice = [] if then is None else [then[0].element_handle(), then[1]]
    tab.evaluate(DRAG_AT_ONCE, [start, end, *choice])


def drag_by_touch(tab: Page, columns: float, rows: float) -> None:
    """Drag the magnified picture with a finger, so that the crosshair moves over it."""
    loupe = tab.locator(".mark-loupe")
    loupe.scroll_into_view_if_needed()
    box = loupe.bounding_box()
    assert box
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    client = tab.context.new_cdp_session(tab)
    ends = ("touchStart", x, y), ("touchMove", x - MAGNIFIED * columns, y - MAGNIFIED * rows)
    for kind, at_x, at_y in ends:
        points = [{"x": at_x, "y": at_y}]
        client.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    client.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})


def marker(folder: Path, name: str) -> MarkerEntry:
    session = read_session(folder, filmed=False)
    return next(one for one in session.clips[0].markers if one.name == name)


def wait_saved(
    tab: Page, folder: Path, name: str, pixel: tuple[float, float] | None = None
) -> None:
    """Wait until a marker has a pixel in the file, or that very pixel."""

    def is_saved() -> bool:
        found = marker(folder, name).pixel
        near = pixel is None or found == pytest.approx(pixel, abs=0.051)
        return found is not None and near

    wait_until(tab, is_saved)


def wait_until(tab: Page, holds: Callable[[], bool]) -> None:
    """Wait until a page has done what it does beside showing it."""
    until = time.monotonic() + PATIENCE_MS / 1000
    while time.monotonic() < until:
        if holds():
            return
        tab.wait_for_timeout(25)
    pytest.fail("the page has not done what was waited for")
