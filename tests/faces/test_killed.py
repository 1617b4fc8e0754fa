"""Commands killed at random moments: nothing is damaged, nothing that was entered is lost."""

import os
import random
import shutil
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from calibration.errors import InputError
from tests.faces.measured_close import measured_close
from tests.faces.test_commands import run
from tests.tracker.logged_sessions import many
from tracker.logbook import database
from tracker.logbook.logbook import open_logbook
from tracker.results import folder_of as results_of
from tracker.results import read_shots
from tracker.results.digests import sha256_of
from tracker.results.folder import written_digests
from tracker.session import read_review, read_session
from tracker.session.history import read_history
from tracker.video import inspect
from tracker.workflow.edit import last_made, undo

TOP = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def ready(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return measured_close(tmp_path_factory)


@pytest.fixture
def lane(ready: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    shutil.copytree(ready / "cache", tmp_path / "cache")
    monkeypatch.setenv("LOBMETER_CACHE", str(tmp_path / "cache"))
    monkeypatch.setenv("LOBMETER_DB", str(tmp_path / "book.sqlite3"))
    return Path(shutil.copytree(ready / "lane", tmp_path / "lane"))


def started(*words: str) -> "subprocess.Popen[bytes]":
    command = [sys.executable, "-m", "tracker.cli", *words]
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    environment = {**os.environ, "PYTHONPATH": str(TOP)}
    return subprocess.Popen(command, env=environment, **quiet)  # type: ignore[call-overload]


def usual_s(*words: str) -> float:
    """How long a command takes when nobody kills it."""
    began = time.monotonic()
    assert started(*words).wait(300) in (0, 1)
    return time.monotonic() - began


def killed(seed: int, whole_s: float, *words: str) -> None:
    """Run a command and kill it at a random moment."""
    process = started(*words)
    try:
        process.wait(random.Random(seed).uniform(0.0, 1.1 * whole_s))
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


def check_results(lane: Path) -> None:
    """The results are those of one run, whole."""
    results = results_of(lane)
    digests = written_digests(results)
    assert {"shots.csv", "shots.json", "tracks.csv"} <= set(digests)
    for name, digest in digests.items():
        assert sha256_of(results / name) == digest, name
    assert len(read_shots(results / "shots.csv")) == 1
    left = [path.name for path in lane.iterdir() if "lobmeter-" in path.name]
    assert left == []


def check_review(lane: Path) -> None:
    """Every decision stands in whole, and the history leads back one by one."""
    review = read_review(read_session(lane))
    text = lane / "review.toml"
    now = text.read_text(encoding="utf-8") if text.is_file() else ""
    assert now in {"", *(edit.after for edit in read_history(lane).done)}
    assert len(review.decisions) <= 1
    last = last_made(lane, "review.toml")
    assert ("" if last is None else last.after) == now


def check_film(lane: Path) -> None:
    """A film that is there can be played to its end."""
    for film in results_of(lane).glob("*.mp4"):
        facts = inspect(film)
        assert facts.missing_bytes == 0 and facts.frame_count > 10
    check_results(lane)


def check_book(lane: Path) -> None:
    """The logbook holds the whole session or nothing of it."""
    book = lane.parent / "book.sqlite3"
    if not book.exists():
        return
    with sqlite3.connect(book) as database:
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        names = {row[0] for row in database.execute("SELECT name FROM sqlite_master")}
        counts = [
            database.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
            for table in ("session", "clip", "shot")
            if table in names
        ]
    assert counts in ([], [0, 0, 0], [1, 1, 1])


Check = Callable[[Path], None]
KINDS: dict[str, tuple[int, tuple[str, ...], Check]] = {
    "measure": (14, ("measure", "{lane}"), check_results),
    "overlay": (10, ("overlay", "{lane}"), check_film),
    "log": (12, ("log", "add", "{lane}"), check_book),
    "edit": (14, ("review", "{lane}", "--shot", "1", "--reject", "run {seed}"), check_review),
}
"""By kind: how often it is killed, the command, and what holds afterwards. 50 kills together."""


@pytest.mark.long
@pytest.mark.parametrize("kind", KINDS)
def test_a_kill_at_a_random_moment_damages_nothing(lane: Path, kind: str) -> None:
    count, words, check = KINDS[kind]

    def command(seed: int) -> list[str]:
        return [word.format(lane=lane, seed=seed) for word in words]

    whole_s = usual_s(*command(0))
    if kind == "log":
        (lane.parent / "book.sqlite3").unlink()
    for seed in range(1, count + 1):
        killed(seed, whole_s, *command(seed))
        check(lane)
    # What was begun ends well the next time.
    assert run(*command(99))[0] in (0, 1)
    check(lane)


PAGE = """
import sys
from itertools import count
from pathlib import Path
from tracker.session import FieldChange, Verdict
from tracker.workflow import deciding, edit
from tracker.workflow.review import Wanted
lane = Path(sys.argv[1])
print("ready", flush=True)
for turn in count(1):
    wanted = Wanted(shot=1, verdict=Verdict.REJECT, reason=f"turn {turn} {sys.argv[2]}")
    edit.edit_review(lane, edit.digest_of(lane), "shot", lambda: deciding.decide_shot(lane, wanted))
    field = FieldChange(("release", "height_m"), 1.0 + 0.001 * turn)
    edit.edit_session(lane, edit.digest_of(lane), "height", [field])
    edit.undo(lane)
    edit.redo(lane)
    deciding.undo(lane)
"""
"""What a page does to a session, over and over."""


@pytest.mark.long
def test_a_page_killed_at_a_random_moment_loses_no_edit(lane: Path) -> None:
    first = (lane / "session.toml").read_text(encoding="utf-8")
    for seed in range(20):
        words = [sys.executable, "-c", PAGE, str(lane), str(seed)]
        with subprocess.Popen(
            words, stdout=subprocess.PIPE, env={**os.environ, "PYTHONPATH": str(TOP)}
        ) as process:
            assert process.stdout is not None and process.stdout.readline()
            time.sleep(random.Random(seed).uniform(0.0, 0.4))
            process.kill()
        check_review(lane)
        read_session(lane)
    while last_made(lane) is not None:
        undo(lane)
    assert (lane / "session.toml").read_text(encoding="utf-8") == first
    assert not (lane / "review.toml").exists()


@pytest.mark.parametrize(
    "words",
    [
        ("report", "{lane}"),
        pytest.param(("overlay", "{lane}", "--stills"), marks=pytest.mark.campaign),
    ],
)
def test_a_full_disk_is_a_sentence_and_leaves_the_results(
    lane: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...]
) -> None:
    before = {path.name: path.read_bytes() for path in results_of(lane).iterdir()}
    full_disk(monkeypatch)
    code, _, errors = run(*(word.format(lane=lane) for word in words))
    assert code == 2 and "no space left on device" in errors and "Traceback" not in errors
    assert {path.name: path.read_bytes() for path in results_of(lane).iterdir()} == before


def test_a_full_disk_leaves_the_decisions(lane: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    run("review", str(lane), "--shot", "1", "--reject", "a crow")
    before = (lane / "review.toml").read_bytes()
    with monkeypatch.context() as patch:
        full_disk(patch)
        code, _, errors = run("review", str(lane), "--shot", "1", "--accept", "no crow")
    assert code == 2 and "no space left on device" in errors
    assert (lane / "review.toml").read_bytes() == before
    check_review(lane)


@pytest.mark.campaign
def test_a_full_disk_leaves_no_half_film(lane: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = sorted(path.name for path in results_of(lane).iterdir())
    from tracker.report.overlay import film as drawing

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(drawing.ClipWriter, "write_bgr", full)
    code, _, errors = run("overlay", str(lane))
    assert code == 2 and "no space left on device" in errors, errors
    left = sorted(path.name for path in results_of(lane).iterdir())
    assert [name for name in left if not name.endswith("-flight.jpg")] == before


def test_a_full_disk_leaves_the_logbook(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "book.sqlite3"
    sessions = many(60)
    with open_logbook(str(path)) as book:
        book.add(next(sessions))
        kept = book.summaries()
    with sqlite3.connect(path) as held:
        (pages,) = held.execute("PRAGMA page_count").fetchone()
    connect = database._on_sqlite_connect

    def small(connection: sqlite3.Connection, record: object) -> None:
        connect(connection, record)
        # SQLite itself refuses to grow beyond this, as on a disk that is full.
        connection.execute(f"PRAGMA max_page_count = {pages + 2}")

    monkeypatch.setattr(database, "_on_sqlite_connect", small)
    entered = 1
    with open_logbook(str(path)) as book, pytest.raises(InputError, match="full"):
        for session in sessions:
            book.add(session)
            entered += 1
    with sqlite3.connect(path) as held:
        assert held.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        count = held.execute("SELECT count(*) FROM session").fetchone()[0]
    assert 1 <= count == entered < 60
    with open_logbook(str(path)) as book:
        assert kept[0] in book.summaries()


def full_disk(patch: pytest.MonkeyPatch) -> None:
    """Let everything that is flushed find the disk full."""

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    patch.setattr(os, "fsync", full)
