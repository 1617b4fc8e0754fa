"""Field: markers picked by mouse, by keyboard and by touch; mistakes pointed at; undo."""

import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.app.conftest import Served, copied, ready, watched
from tracker.session import MarkerEntry, read_session
from tracker.workflow.calibrate import calibrate_session

Visit = Callable[[Path, str], Page]
MAGNIFIED = 8
WIDE = {
    "foot of the launcher": (128.7, 733.7),
    "10 m cone": (588.4, 727.7),
    "20 m cone": (1037.2, 725.5),
    "30 m cone": (1471.9, 722.5),
    "40 m cone": (1889.6, 714.9),
}


@pytest.fixture
def wide(tmp_path: Path) -> Path:
    """A copy of the wide sample, all five markers picked."""
    return copied("wide", tmp_path)


@pytest.fixture
def blank(wide: Path) -> Path:
    """The same without a pick."""
    file = wide / "session.toml"
    lines = file.read_text("utf-8").splitlines()
    kept = [line for line in lines if not line.startswith("pixel")]
    file.write_text("\n".join(kept) + "\n", "utf-8")
    return wide


def test_five_markers_by_mouse(visit: Visit, blank: Path) -> None:
    tab = visit(blank, "field")
    for name, (column, row) in WIDE.items():
        _choose(tab, name)
        _click(tab, column + 1.5, row - 1.0)
        expect(_row(tab, name)).not_to_contain_text("not picked")
        _wait_saved(tab, blank, name)
        # The click is a screen's pixel wide; the magnified picture gives the last tenths.
        tab.locator(".mark-loupe").scroll_into_view_if_needed()
        box = tab.locator(".mark-loupe").bounding_box()
        assert box
        picked = _marker(blank, name).pixel
        assert picked == pytest.approx((column, row), abs=2.5)
        middle = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        tab.mouse.move(*middle)
        tab.mouse.down()
        tab.mouse.move(
            middle[0] - MAGNIFIED * (column - picked[0]), middle[1] - MAGNIFIED * (row - picked[1])
        )
        tab.mouse.up()
        _wait_saved(tab, blank, name, (column, row))
        assert _marker(blank, name).pixel_u == 0.3
    _same_as_the_command(tab, blank)


def test_five_markers_by_keyboard(visit: Visit, blank: Path) -> None:
    tab = visit(blank, "field")
    expect(_row(tab, "10 m cone")).to_be_visible()
    for number, (name, (column, row)) in enumerate(WIDE.items()):
        if number == 0:
            tab.get_by_role("application").focus()
        else:
            tab.keyboard.press("n")
        expect(tab.locator(".mark-where")).to_contain_text(name)
        _walk(tab, column, row)
        tab.keyboard.press("Enter")
        _wait_saved(tab, blank, name, (column, row))
    _same_as_the_command(tab, blank)


def test_five_markers_by_touch(server: Served, narrow_tab: Page, blank: Path) -> None:
    tab = narrow_tab
    tab.goto(f"{server.open(blank)}/field")
    ready(tab)
    for name, (column, row) in WIDE.items():
        tab.get_by_role("button", name=re.compile(f"^{name}")).tap()
        expect(tab.locator(".mark-where")).to_contain_text(name)
        x, y = _on_screen(tab, column, row)
        tab.touchscreen.tap(x, y)
        _wait_saved(tab, blank, name)
        picked = _marker(blank, name).pixel
        assert picked == pytest.approx((column, row), abs=8.0)
        _drag_by_touch(tab, column - picked[0], row - picked[1])
        _wait_saved(tab, blank, name, (column, row))
    _same_as_the_command(tab, blank)


def _row(tab: Page, name: str) -> object:
    return tab.locator(".field-markers button", has=tab.locator(".name", has_text=name))


def _choose(tab: Page, name: str) -> None:
    _row(tab, name).click()
    expect(tab.locator(".mark-where")).to_contain_text(name)


def _on_screen(tab: Page, column: float, row: float) -> tuple[float, float]:
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


def _click(tab: Page, column: float, row: float) -> None:
    tab.mouse.click(*_on_screen(tab, column, row))


def _walk(tab: Page, column: float, row: float) -> None:
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


def _drag_by_touch(tab: Page, columns: float, rows: float) -> None:
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


def _marker(folder: Path, name: str) -> MarkerEntry:
    session = read_session(folder, filmed=False)
    return next(one for one in session.clips[0].markers if one.name == name)


def _wait_saved(
    tab: Page, folder: Path, name: str, pixel: tuple[float, float] | None = None
) -> None:
    """Wait until a marker has a pixel in the file, or that very pixel."""
    for _ in range(200):
        found = _marker(folder, name).pixel
        if found is not None and (pixel is None or found == pytest.approx(pixel, abs=0.051)):
            return
        tab.wait_for_timeout(25)
    pytest.fail(f"{name} is at {found} in the file")


def _same_as_the_command(tab: Page, folder: Path) -> None:
    _, (clip,) = calibrate_session(folder)
    assert len(clip.calibration.markers) == 5
    said = clip.calibration.summary
    expect(tab.locator(".field-answer")).to_contain_text(f"{said[:1].upper()}{said[1:]}.")
