"""Several tabs, restarts and kills: nobody's change is lost."""

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.app.conftest import ROOT, Served, copied, ready, start_server
from tracker.session import FieldChange, read_session
from tracker.workflow.edit import digest_of, edit_session, undo, undoable
from tracker.workflow.measure import measure_session

Visit = Callable[[Path, str], Page]


def set_height(folder: Path, metres: float) -> None:
    what = f"height of release {metres} m"
    change = FieldChange(("release", "height_m"), metres)
    edit_session(folder, digest_of(folder), what, [change])


def height_of(folder: Path) -> float:
    return read_session(folder).release.height_m


@pytest.mark.campaign
def test_what_an_earlier_run_changed_is_undone_and_redone(visit: Visit, session: Path) -> None:
    before = height_of(session)
    set_height(session, 1.5)
    tab = visit(session, "measure")
    button = tab.get_by_role("button", name="Undo")
    expect(button).to_have_attribute("title", "height of release 1.5 m")
    button.click()
    expect(tab.get_by_role("status")).to_have_text("Undone: height of release 1.5 m.")
    assert height_of(session) == before
    tab.keyboard.press("Control+Shift+Z")
    expect(tab.get_by_role("status")).to_have_text("Done again: height of release 1.5 m.")
    assert height_of(session) == 1.5
    expect(tab.get_by_role("button", name="Redo")).to_be_disabled()


@pytest.mark.campaign
def test_two_tabs_see_each_other_and_undo_only_what_is_there(
    server: Served, browser: Browser, session: Path
) -> None:
    address = server.open(session)
    set_height(session, 1.5)
    set_height(session, 1.6)
    context = browser.new_context()
    one, two = context.new_page(), context.new_page()
    for tab in (one, two):
        tab.goto(f"{address}/measure")
        ready(tab)
    one.get_by_role("button", name="Undo").click()
    expect(two.get_by_role("status")).to_contain_text("changed elsewhere")
    expect(two.get_by_role("button", name="Undo")).to_have_attribute(
        "title", "height of release 1.5 m"
    )
    two.get_by_role("button", name="Redo").click()
    expect(two.get_by_role("button", name="Redo")).to_be_disabled()
    assert height_of(session) == 1.6
    context.close()


def test_a_change_outside_ends_an_undo_in_a_sentence(visit: Visit, session: Path) -> None:
    set_height(session, 1.5)
    tab = visit(session, "measure")
    file = session / "session.toml"
    by_hand = file.read_text("utf-8") + "\n# taped again on Sunday\n"
    file.write_text(by_hand, "utf-8")
    tab.get_by_role("button", name="Undo").click()
    expect(tab.get_by_role("status")).to_contain_text("changed elsewhere")
    assert file.read_text("utf-8") == by_hand


EDITING = """
import sys
from pathlib import Path
from tests.app.test_app_tabs import set_height
for number in range(10_000):
    set_height(Path(sys.argv[1]), 1.0 + number / 1000)
    print(number, flush=True)
"""


@pytest.mark.parametrize(
    "edits",
    [
        pytest.param(each, marks=pytest.mark.campaign if each < 6 else pytest.mark.long)
        for each in (2, 3, 5, 8, 9, 11, 14, 16, 17, 20, 25, 30)
    ],
)
def test_a_program_killed_while_editing_leaves_a_whole_session(tmp_path: Path, edits: int) -> None:
    """Killed at any moment of the edit that follows those which it has told of."""
    session = copied("close", tmp_path)
    command = [sys.executable, "-c", EDITING, str(session)]
    with subprocess.Popen(
        command, cwd=ROOT, stdout=subprocess.PIPE, env={**os.environ, "PYTHONPATH": str(ROOT)}
    ) as process:
        assert process.stdout is not None
        for _ in range(edits):
            process.stdout.readline()
        process.kill()
    at = height_of(session)
    name = undoable(session).undo
    assert name == f"height of release {at} m"
    undo(session)
    assert height_of(session) == pytest.approx(at - 0.001)
    set_height(session, 9.0)
    assert undoable(session).undo == "height of release 9.0 m"


def children(pid: int) -> set[int]:
    """Return every process that a process started, or that those started."""
    listed = subprocess.run(["ps", "-eo", "pid,ppid"], capture_output=True, text=True, check=True)
    pairs = [tuple(map(int, line.split())) for line in listed.stdout.splitlines()[1:]]
    found, new = set[int](), {pid}
    while new:
        new = {child for child, parent in pairs if parent in new} - found
        found |= new
    return found


def alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except OSError:
        return False
    return True


@pytest.mark.long
@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs a system with signals")
def test_a_server_killed_while_measuring_leaves_no_worker_and_loses_nothing(
    tmp_path: Path, browser: Browser
) -> None:
    session = copied("close", tmp_path)
    before = (session / "session.toml").read_bytes()
    first = start_server(tmp_path)
    tab = browser.new_page()
    tab.goto(f"{first.open(session)}/measure")
    ready(tab)
    tab.get_by_role("button", name="Measure").click()
    expect(tab.locator(".running")).to_contain_text("% done")
    workers = children(first.process.pid)
    assert workers
    first.process.kill()
    first.process.wait()
    until = time.monotonic() + 15
    while any(map(alive, workers)) and time.monotonic() < until:
        time.sleep(0.1)
    assert not any(map(alive, workers))
    assert (session / "session.toml").read_bytes() == before
    assert not (session / "results").exists()
    second = start_server(tmp_path)
    tab.goto(f"{second.open(session)}/measure")
    ready(tab)
    tab.get_by_role("button", name="Measure").click()
    expect(tab.get_by_role("table")).to_be_visible()
    tab.close()
    second.process.kill()
    second.process.wait()
    measured = (session / "results" / "shots.csv").read_bytes()
    other = Path(shutil.copytree(ROOT / "sample_clips" / "close", tmp_path / "other"))
    measure_session(other)
    assert (other / "results" / "shots.csv").read_bytes() == measured


CLICKS = 20


@pytest.mark.campaign
@pytest.mark.skipif(not hasattr(signal, "SIGSTOP"), reason="needs a system with signals")
def test_a_click_answers_while_a_session_is_measured(
    server: Served, tab: Page, tmp_path: Path
) -> None:
    """The server waits for no measurement: a click goes there and back though that stands still.

    What measures is stopped, so that the measurement lasts until the last click on any machine.
    """
    session = copied("wide", tmp_path)
    before = height_of(session)
    set_height(session, 1.5)
    tab.goto(f"{server.open(session)}/measure")
    ready(tab)
    idle = children(server.process.pid)
    tab.get_by_role("button", name="Measure").click()
    expect(tab.locator(".running")).to_contain_text("% done")
    measuring = children(server.process.pid) - idle
    assert measuring, "measured in the server's own process"
    for each in measuring:
        os.kill(each, signal.SIGSTOP)
    try:
        for number in range(CLICKS):
            clicked, other = ("Undo", "Redo") if number % 2 == 0 else ("Redo", "Undo")
            tab.get_by_role("button", name=clicked).click()
            expect(tab.get_by_role("button", name=clicked)).to_be_disabled()
            expect(tab.get_by_role("button", name=other)).to_be_enabled()
            assert height_of(session) == (before if clicked == "Undo" else 1.5)
        expect(tab.locator(".running")).to_contain_text("% done")
    finally:
        for each in measuring:
            os.kill(each, signal.SIGCONT)
    tab.get_by_role("button", name="Cancel").click()
    expect(tab.get_by_role("button", name="Cancel")).to_be_hidden()
