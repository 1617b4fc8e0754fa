"""One server and one browser a worker; a tab and a copy of a sample session a test."""

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import (
    Browser,
    BrowserContext,
    Page,
    Playwright,
    Request,
    expect,
    sync_playwright,
)

from tests.faces.measured_close import measured_close

ROOT = Path(__file__).parents[2]
NAMES = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome")
"""What Chromium is called. Its shell without windows draws the same pages with the same engine, for
two thirds of the processor time."""

PATIENCE_MS = 180_000
"""How long a test waits for what must come: workers step back for everything else that a machine
does, so on a loaded one a search of a second takes twenty."""
expect.set_options(timeout=PATIENCE_MS)


def chromium() -> str | None:
    """Return where this machine has Chromium, None where it has none."""
    return next((path for path in map(shutil.which, NAMES) if path), None)


class Served:
    """A running server."""

    def __init__(self, process: "subprocess.Popen[str]") -> None:
        assert process.stdout is not None
        self.process = process
        self.home = Path(process.args[-1])
        """The folder in which it makes new sessions."""
        self.begin = process.stdout.readline().strip()
        self.base = self.begin.rsplit("/", 1)[0]
        """Link without a page: `f"{base}/begin"`."""

    def open(self, folder: Path) -> str:
        """Open a session; return the address that its pages begin with: `f"{…}/measure"`."""
        return f"{self.base}/{self._answer(f'open {folder}')}"

    def phone_link(self, address: str) -> str:
        """Let a phone in to a session that was opened; return the link of its page."""
        return self._answer(f"phone {address.rsplit('/', 1)[1]}")

    def _answer(self, line: str) -> str:
        assert self.process.stdin is not None and self.process.stdout is not None
        self.process.stdin.write(f"{line}\n")
        self.process.stdin.flush()
        return self.process.stdout.readline().strip()


def start_server(folder: Path) -> Served:
    """Start a server whose cache and logbook lie in a folder; `process.kill()` ends it."""
    environment = {
        **os.environ,
        "PYTHONPATH": str(ROOT),
        "LOBMETER_CACHE": str(folder / "cache"),
        "LOBMETER_DB": str(folder / "logbook.sqlite3"),
    }
    command = [sys.executable, "-m", "tests.app.served", str(folder / "Lobmeter")]
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
    return Served(
        subprocess.Popen(command, cwd=ROOT, env=environment, text=True, encoding="utf-8", **pipes)  # type: ignore[call-overload]
    )


@pytest.fixture(scope="session")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The server that most tests of a worker share."""
    served = start_server(tmp_path_factory.mktemp("server"))
    yield served
    served.process.kill()
    served.process.wait()


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    with sync_playwright() as started:
        yield started


@pytest.fixture(scope="session")
def browser(playwright: Playwright) -> Iterator[Browser]:
    path = chromium()
    if path is None:
        if os.environ.get("CI"):
            pytest.fail("CI needs Chromium: the page is tested in a real browser")
        pytest.skip("no Chromium on this machine")
    started = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
    yield started
    started.close()


@pytest.fixture
def tab(browser: Browser) -> Iterator[Page]:
    """A tab of 1280 x 900; afterwards: no script failed, nothing was asked of another host."""
    yield from watched(browser)


@pytest.fixture
def narrow_tab(browser: Browser) -> Iterator[Page]:
    """A tab as a phone has it, 390 x 844, with touch."""
    yield from watched(browser, viewport={"width": 390, "height": 844}, has_touch=True)


CONTEXTS: dict[str, BrowserContext] = {}
"""One for each kind of tab, with an empty tab that keeps its process and cache: to start a process
and read the scripts of the page costs as much as most tests."""


def watched(browser: Browser, **options: object) -> Iterator[Page]:
    """Give a tab and check afterwards what every tab must keep to."""
    kind = repr(sorted(options.items()))
    if kind not in CONTEXTS:
        # Without motion, which a browser without a graphics card draws at a great cost.
        usual = {"viewport": {"width": 1280, "height": 900}, "reduced_motion": "reduce"}
        shape = {**usual, **options}
        CONTEXTS[kind] = browser.new_context(**shape)  # type: ignore[arg-type]
        CONTEXTS[kind].new_page()
    context = CONTEXTS[kind]
    page = context.new_page()
    outside: list[str] = []
    failed: list[str] = []

    def asked(request: Request) -> None:
        parts = urlsplit(request.url)
        if parts.scheme not in ("data", "blob") and parts.hostname != "127.0.0.1":
            outside.append(request.url)

    context.on("request", asked)
    page.on("pageerror", lambda error: failed.append(str(error)))
    page.on("console", lambda said: failed.append(said.text) if said.type == "error" else None)
    yield page
    cookies = context.cookies()
    # The next test finds the browser as a person does who comes for the first time.
    page.evaluate("window.origin.startsWith('http') && localStorage.clear()")
    for each in context.pages[1:]:
        each.close()
    context.remove_listener("request", asked)
    context.clear_cookies()
    assert (outside, failed, cookies) == ([], [], [])


@pytest.fixture
def session(tmp_path: Path) -> Path:
    """A copy of a sample session that was not measured: one clip, two seconds, markers picked."""
    return copied("close", tmp_path)


@pytest.fixture
def measured(tmp_path: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same, measured."""
    made = measured_close(tmp_path_factory) / "lane"
    return Path(shutil.copytree(made, tmp_path / "measured" / "Fen Lane"))


@pytest.fixture
def visit(server: Served, tab: Page) -> Callable[[Path, str], Page]:
    """Open a page of a session in the tab: ``visit(session, "measure")``."""

    def go(folder: Path, page: str) -> Page:
        tab.goto(f"{server.open(folder)}/{page}")
        ready(tab)
        return tab

    return go


def ready(page: Page) -> None:
    """Wait until a tab is connected to its server."""
    page.wait_for_function("window.did_handshake")


def copied(sample: str, folder: Path) -> Path:
    """Return a copy of a sample session, without its truth."""
    target = folder / "Fen Lane"
    shutil.copytree(
        ROOT / "sample_clips" / sample,
        target,
        ignore=shutil.ignore_patterns("truth.json", "results"),
    )
    return target
