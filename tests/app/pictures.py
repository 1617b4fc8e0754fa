"""Pictures of the page: ``python -m tests.app.pictures [FOLDER]``.

Without a folder, the ones that docs shows are made anew; with one, every page goes there from top
to bottom in every look: light, dark, narrow, wide, and with text twice as large.
"""

import os
import shutil
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

from tests.app.conftest import ROOT, Served, chromium, ready, start_server
from tracker.app.registry import pages
from tracker.workflow.measure import MeasureOptions, measure_session

DOCS = ROOT / "docs" / "page"
LOOKS = {
    "light": ("light", 1100, 760),
    "dark": ("dark", 1100, 760),
    "narrow": ("light", 360, 740),
    "wide": ("light", 2560, 1440),
    "large": ("light", 1100, 760),
}
"""Colours and size, px, of each look."""
TWICE = "html { font-size: 200% !important }"
"""What makes the text of the look "large" twice as large."""
KEPT = (
    ("begin", "light"),
    ("field", "light"),
    ("measure", "light"),
    ("measure", "dark"),
    ("shots", "light"),
    ("setups", "light"),
    ("launcher", "light"),
    ("before", "light"),
    ("evenings", "light"),
    ("send", "narrow"),
)
"""Pages and looks that docs/page.md shows."""
MOST_LOOKS, STILL_LOOKS = 240, 6
"""Half seconds in which a page may change, and in which it must stay as it is."""
QUALITY = 60
"""JPEG quality: a picture of a page takes some 50 kB."""


def picture(browser: Browser, address: str, look: str, target: Path, whole: bool) -> None:
    """Make one picture, of the whole page or of what a screen shows of it."""
    scheme, width, height = LOOKS[look]
    tab = browser.new_page(viewport={"width": width, "height": height}, color_scheme=scheme)  # type: ignore[arg-type]
    tab.goto(address)
    ready(tab)
    if look == "large":
        tab.add_style_tag(content=TWICE)
    settle(tab)
    tab.screenshot(path=target, type="jpeg", quality=QUALITY, full_page=whole)
    tab.close()


def settle(tab: Page) -> None:
    """Wait until what a page shows stays as it is: some of it is computed first."""
    shown, still = "", 0
    for _ in range(MOST_LOOKS):
        tab.wait_for_timeout(500)
        now = tab.locator("body").inner_text()
        busy = "being compared" in now or "…" in now
        shown, still = now, still + 1 if now == shown and not busy else 0
        if still >= STILL_LOOKS:
            return


def make(
    folder: Path, wanted: list[tuple[str, str]], server: Served, session: Path, whole: bool
) -> None:
    """Make the wanted pictures, each a page and a look, of a session's pages."""
    folder.mkdir(parents=True, exist_ok=True)
    address = server.open(session)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=chromium(), args=["--no-sandbox", "--hide-scrollbars"]
        )
        for page, look in wanted:
            target = folder / f"{page}-{look}.jpg"
            picture(browser, f"{address}/{page}", look, target, whole)
        browser.close()


def main() -> None:
    """Make the pictures."""
    there = [page.path for page in pages()]
    every = [(page, look) for page in there for look in LOOKS]
    kept = [each for each in KEPT if each[0] in there]
    with tempfile.TemporaryDirectory() as made:
        session = Path(made) / "Fen Lane"
        shutil.copytree(ROOT / "sample_clips" / "wheels", session)
        measure_session(session, options=MeasureOptions(jobs=2, cache=Path(made) / "cache"))
        # The page shows where sessions are kept: within a home folder, as a person has it.
        os.environ.update(HOME=made, USERPROFILE=made)
        server = start_server(Path(made))
        try:
            if len(sys.argv) > 1:
                make(Path(sys.argv[1]), every, server, session, True)
            else:
                make(DOCS, kept, server, session, False)
        finally:
            server.process.kill()
            server.process.wait()


if __name__ == "__main__":
    main()
