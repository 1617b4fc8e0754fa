"""Long work in a process of its own: what the page hears of it, and how it ends."""

import os
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from calibration.errors import InputError
from tests.app import workers
from tracker.app.running import words_of
from tracker.app.work import Phase, Work, start
from tracker.app.workspace import OpenSession, Workspace


def until(true: Callable[[], bool], seconds: float = 60.0) -> bool:
    """Wait until something holds."""
    waiting, end = threading.Event(), time.monotonic() + seconds
    while not true() and time.monotonic() < end:
        waiting.wait(0.02)
    return true()


def ended(work: Work) -> Work:
    assert until(lambda: work.phase is not Phase.RUNNING)
    return work


def test_progress_and_results_come_before_the_end() -> None:
    work = ended(start("Adding", workers.adds, 2, 3))
    assert (work.phase, work.result, work.arrived) == (Phase.DONE, 5, ["one", "two"])
    assert (work.progress, work.share) == ({"a": (4, 4)}, 1.0)


@pytest.mark.parametrize(
    ("function", "said"),
    [
        (workers.complains, "session.toml, [release], height_m: is missing; give one."),
        (workers.fails, "The program failed (ZeroDivisionError: by nothing)."),
        (workers.dies, "The work was ended from outside; start it again."),
    ],
)
def test_a_failure_is_a_sentence(function: Callable[..., None], said: str) -> None:
    work = ended(start("Trying", function))
    assert work.phase is Phase.FAILED
    assert work.faults[0].startswith(said)


def test_cancelled_work_ends_at_once(tmp_path: Path) -> None:
    session = OpenSession(1, tmp_path)
    work = session.start("wait", "Waiting", workers.waits)
    assert until(lambda: work.arrived != [])
    assert words_of(work) == "Waiting: waiting …"
    with pytest.raises(InputError, match="is running already"):
        session.start("wait", "Waiting", workers.waits)
    work.cancel()
    assert work.phase is Phase.CANCELLED
    pid = work.arrived[0]
    assert until(lambda: not _runs(pid), 10.0)


def _runs(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except OSError:
        return False
    return True


def test_time_left_is_that_of_the_present_look() -> None:
    work = Work("Measuring")
    assert work.left_s is None
    for done in (0, 50, 100, 0):
        work.report("a.mp4", done, 100)
        work.report("b.mp4", 100, 100)
    assert (work.looks, work.share) == (2, 0.5)
    assert work.left_s is None
    work.report("a.mp4", 50, 100)
    left = work.left_s
    assert left is not None and 0.0 <= left < 1.0


def test_a_session_is_opened_once(tmp_path: Path) -> None:
    workspace = Workspace([tmp_path], tmp_path / "home")
    assert workspace.open(tmp_path / ".") is workspace.sessions[0]
    (tmp_path / "other").mkdir()
    assert workspace.open(tmp_path / "other").number == 2
    for number in (0, 3, -1):
        with pytest.raises(InputError, match="no such session"):
            workspace.session(number)


def test_whoever_waits_is_told_what_happens_from_the_first_moment() -> None:
    work = Work("Measuring")
    assert words_of(work) == "Measuring: starting …"
    work.report("a.mp4", 0, 300)
    work.report("b.mp4", 0, 100)
    assert words_of(work) == "Measuring: 0 % done, frame 0 of 400."
    work.report("a.mp4", 3, 300)
    assert words_of(work) == "Measuring: 1 % done, frame 3 of 400."
    report = Work("Making the report")
    report.report("report", 0, 1)
    assert words_of(report) == "Making the report: 0 % done."
