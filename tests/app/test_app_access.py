"""Whoever uses the page: no serious finding of axe-core, light, dark and narrow."""

from collections.abc import Callable
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from tests.app.conftest import Served, ready
from tracker.app.registry import pages

Visit = Callable[[Path, str], Page]
SERIOUS = ("serious", "critical")


def findings(tab: Page) -> list[str]:
    """Return what axe-core finds serious, each with its place."""
    found = Axe().run(tab).response["violations"]
    return [
        f"{each['id']}: {node['target']} {node.get('failureSummary', '')}"
        for each in found
        if each["impact"] in SERIOUS
        for node in each["nodes"]
    ]


@pytest.mark.campaign
@pytest.mark.parametrize("page", [page.path for page in pages()])
def test_a_page_can_be_used_by_everybody(visit: Visit, measured: Path, page: str) -> None:
    """Light and dark, from 360 to 2560 px wide, with text twice as large."""
    tab = visit(measured, page)
    usable(tab)


def usable(tab: Page) -> None:
    """Check what stands in a tab: its findings, its width, its text twice as large."""
    for scheme in ("light", "dark"):
        tab.emulate_media(color_scheme=scheme, reduced_motion="reduce")  # type: ignore[arg-type]
        assert findings(tab) == []
    assert tab.evaluate(MOVING) == []
    assert tab.evaluate(SMALL) == []
    for width in (360, 2560):
        tab.set_viewport_size({"width": width, "height": 800})
        assert widest(tab) <= width
    tab.set_viewport_size({"width": 1280, "height": 800})
    tab.add_style_tag(content="html { font-size: 200% !important }")
    assert widest(tab) <= 1280


MOVING = """() => [...document.querySelectorAll("#main *, header *")].filter((each) => {
  const look = getComputedStyle(each);
  return parseFloat(look.transitionDuration) > 0 || look.animationName !== "none";
}).map((each) => each.outerHTML.slice(0, 80))"""
"""What moves though a person asked for less motion."""

SMALL = """() => [...document.querySelectorAll(
  "button, select, summary, input, a[href]:not(.skip), [tabindex='0'], [role=button]"
)].filter((each) => {
  const box = each.getBoundingClientRect();
  const shown = box.width && box.height && getComputedStyle(each).visibility === "visible";
  return shown && (box.width < 24 || box.height < 24) && !each.closest("p, .chooser");
}).map((each) => each.outerHTML.slice(0, 120))"""
"""What is pointed at and smaller than 24 x 24 px (WCAG 2.2, 2.5.8), apart from links in a text."""


def widest(tab: Page) -> int:
    return int(tab.evaluate("document.documentElement.scrollWidth"))


def test_the_empty_beginning_has_no_serious_fault(server: Served, tab: Page) -> None:
    tab.goto(f"{server.base}/begin")
    ready(tab)
    assert findings(tab) == []
