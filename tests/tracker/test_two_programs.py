"""Two programs on one session or one folder: one waits, or says so, and nothing is lost."""

import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from calibration.errors import InputError
from tests.tracker.rows_only import with_rows
from tracker.results import alone
from tracker.results.folder import replace_results
from tracker.session import FieldChange, Verdict, read_review, read_session
from tracker.session.history import read_history
from tracker.workflow.deciding import decide_shot, undo
from tracker.workflow.edit import CHANGING, ChangedElsewhere, digest_of, edit_review, edit_session
from tracker.workflow.review import Wanted
from tracker.workflow.watch import WatchOptions, watched

SHOTS = 6


@pytest.fixture
def lane(tmp_path: Path) -> Path:
    """A session with rows that no measurement made."""
    folder = tmp_path / "lane"
    folder.mkdir()
    with_rows(folder, SHOTS)
    return folder


def reject(lane: Path, shot: int) -> object:
    return decide_shot(lane, Wanted(shot=shot, verdict=Verdict.REJECT, reason=f"net {shot}"))


def at_once(*calls: Callable[[], object]) -> list[object]:
    """Start calls together, each in a thread; return what came of each."""
    start = threading.Barrier(len(calls))

    def run(call: Callable[[], object]) -> object:
        start.wait()
        return call()

    with ThreadPoolExecutor(len(calls)) as threads:
        return [future.result() for future in [threads.submit(run, call) for call in calls]]


def test_reviews_at_once_lose_no_decision(lane: Path) -> None:
    at_once(*(lambda shot=shot: reject(lane, shot) for shot in range(1, SHOTS + 1)))  # type: ignore[misc]
    review = read_review(read_session(lane, filmed=False))
    assert sorted(one.reason for one in review.decisions) == [f"net {i + 1}" for i in range(SHOTS)]
    assert len(read_history(lane).done) == SHOTS
    at_once(*[lambda: undo(lane)] * SHOTS)
    assert not (lane / "review.toml").exists()


def test_results_written_while_a_shot_is_reviewed_are_whole_and_so_is_the_review(
    lane: Path,
) -> None:
    rows = (lane / "results" / "shots.csv").read_bytes()

    def measured() -> None:
        for number in range(5):
            replace_results(lane / "results", {"shots.csv": rows, "notes.json": b"%d" % number})

    at_once(measured, lambda: [reject(lane, shot) for shot in range(1, SHOTS + 1)])
    assert len(read_review(read_session(lane, filmed=False)).decisions) == SHOTS
    assert (lane / "results" / "shots.csv").read_bytes() == rows
    assert (lane / "results" / "notes.json").read_bytes() == b"4"


def test_a_page_does_not_undo_what_a_command_decided_meanwhile(lane: Path) -> None:
    seen = digest_of(lane)
    reject(lane, 1)
    with pytest.raises(ChangedElsewhere):
        edit_review(lane, seen, "shot 2", lambda: reject(lane, 2))
    with pytest.raises(ChangedElsewhere):
        edit_session(lane, seen, "height", [FieldChange(("release", "height_m"), 1.2)])
    assert [one.reason for one in read_review(read_session(lane, filmed=False)).decisions] == [
        "net 1"
    ]


def held_elsewhere(folder: Path, purpose: str, call: Callable[[], object]) -> object:
    """Make a call while another thread holds a folder."""
    held, done = threading.Event(), threading.Event()

    def hold() -> None:
        with alone(folder, "test", purpose=purpose):
            held.set()
            done.wait(30)

    thread = threading.Thread(target=hold)
    thread.start()
    held.wait(30)
    try:
        return call()
    finally:
        done.set()
        thread.join()


def test_who_waits_too_long_says_so(lane: Path) -> None:
    def blocked() -> None:
        with alone(lane, CHANGING, 0.05):
            pytest.fail("two programs hold one folder")

    with pytest.raises(InputError, match=r"another program is changing this session; wait"):
        held_elsewhere(lane, "", blocked)


def test_a_folder_is_watched_once(tmp_path: Path) -> None:
    once = WatchOptions(once=True, wait=lambda _: None)
    with pytest.raises(InputError, match="another lobmeter watch looks into this folder"):
        held_elsewhere(tmp_path, "watch", lambda: list(watched(tmp_path, None, once)))
    # Who edits the folder's session is not in the way.
    assert held_elsewhere(tmp_path, "", lambda: list(watched(tmp_path, None, once))) == []
