"""What a person does to a page with a mouse alone, the keyboard alone, a finger alone."""

from pathlib import Path
from typing import Protocol

from playwright.sync_api import Locator, Page, expect

from tests.app.marking import Places, pick_by_keyboard, pick_by_mouse, pick_by_touch, walk_to


class Hand(Protocol):
    """One way to use a page; what is written always comes from the keyboard, or a phone's."""

    tab: Page

    def press(self, target: Locator) -> None:
        """Press a button, a link or what unfolds."""

    def reach(self, target: Locator) -> None:
        """Give a field the focus."""

    def pick(self, folder: Path, places: Places) -> None:
        """Pick markers in the page Field."""

    def point(self, spot: Locator) -> None:
        """Pick the place of the ball two pixels beside a spot that is drawn in the film."""


def write(hand: Hand, target: Locator, words: str) -> None:
    """Write into a field in place of what stands there, and leave it."""
    hand.reach(target)
    expect(target).to_be_focused()
    hand.tab.keyboard.press("Control+a")
    hand.tab.keyboard.type(words)
    hand.tab.keyboard.press("Tab")


class Mouse:
    """The mouse alone."""

    def __init__(self, tab: Page) -> None:
        self.tab = tab

    def press(self, target: Locator) -> None:
        target.click()

    reach = press

    def pick(self, folder: Path, places: Places) -> None:
        pick_by_mouse(self.tab, folder, places)

    def point(self, spot: Locator) -> None:
        x, y = middle(spot)
        self.tab.mouse.click(x + 2, y)


class Touch:
    """A finger alone."""

    def __init__(self, tab: Page) -> None:
        self.tab = tab

    def press(self, target: Locator) -> None:
        target.tap()

    reach = press

    def pick(self, folder: Path, places: Places) -> None:
        pick_by_touch(self.tab, folder, places)

    def point(self, spot: Locator) -> None:
        x, y = middle(spot)
        self.tab.touchscreen.tap(x + 2, y)


class Keyboard:
    """The keyboard alone: whatever it reaches shows that it has the focus."""

    def __init__(self, tab: Page) -> None:
        self.tab = tab

    def press(self, target: Locator) -> None:
        self.reach(target)
        self.tab.keyboard.press("Enter")

    def reach(self, target: Locator) -> None:
        walk_to(self.tab, target)
        assert target.evaluate("each => getComputedStyle(each).outlineStyle") != "none"

    def pick(self, folder: Path, places: Places) -> None:
        pick_by_keyboard(self.tab, folder, places)

    def point(self, spot: Locator) -> None:
        """The cursor begins at the ball, and the picture has the focus."""
        expect(self.tab.locator(".film-stage")).to_be_focused()
        for key in ("ArrowRight", "ArrowRight", "Enter"):
            self.tab.keyboard.press(key)


def middle(spot: Locator) -> tuple[float, float]:
    """Return the middle of an element on the screen."""
    spot.scroll_into_view_if_needed()
    box = spot.bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
