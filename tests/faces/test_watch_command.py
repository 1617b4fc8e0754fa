"""``lobmeter watch`` as a person and a script see it."""

import json
from pathlib import Path

import pytest

from tests.faces.test_commands import run
from tests.tracker.test_workflow_jobs import Counted
from tests.tracker.test_workflow_jobs import counted as counted
from tests.tracker.test_workflow_watch import films as films
from tests.tracker.test_workflow_watch import put
from tracker.cli import watch as command
from tracker.workflow.measured import SessionResult

__all__ = ["films"]


@pytest.fixture(autouse=True)
def waits(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """How long the command waited, which takes no time here."""
    waited: list[float] = []
    monkeypatch.setattr(command, "pause", waited.append)
    return waited


@pytest.fixture
def lane(tmp_path: Path, films: Path, counted: Counted) -> Path:
    """A folder with one clip."""
    folder = tmp_path / "camera"
    folder.mkdir()
    put(films / "a.mp4", folder / "IMG_1.mp4")()
    return folder


def watched(lane: Path, *more: str) -> tuple[int, str, str]:
    book = str(lane.parent / "book.sqlite3")
    return run("watch", str(lane), "--db", book, "--every", "2.5", "--jobs", "1", *more)


def test_once_measures_logs_and_ends(
    lane: Path, waits: list[float], monkeypatch: pytest.MonkeyPatch
) -> None:
    causes: list[SessionResult] = []
    monkeypatch.setattr(command, "show_causes", lambda _, result: causes.append(result))
    code, shown, errors = watched(lane, "--once")
    assert code == 1, errors  # no shot: a person should look
    assert "IMG_1.mp4, IMG_1: no shot" in shown and "Logbook: added (0 shots)." in shown
    assert "Watching" not in shown
    assert [result.session.name for result in causes] == ["IMG_1"]
    assert waits == [2.5]
    code, shown, errors = watched(lane, "--once")
    assert code == 0 and "IMG_1" not in shown, "there is nothing new"


def test_data_is_one_line_a_clip(lane: Path, films: Path) -> None:
    (lane / "IMG_0.mp4").write_bytes(b"no film" * 100)
    put(films / "b.mp4", lane / "IMG_2.mp4")()
    put(films / "b.mp4", lane / "IMG_3.mp4")()
    code, shown, errors = watched(lane, "--once", "--json")
    assert code == 1
    broken, same, first, second = (json.loads(line) for line in shown.splitlines())
    assert broken["clip"].endswith("IMG_0.mp4") and len(broken["faults"]) == 1
    assert broken["faults"][0] in errors
    assert same["clip"].endswith("IMG_3.mp4") and same["same_as"].endswith("IMG_2-results")
    assert [first["logbook"], second["logbook"]] == ["new", "new"]
    assert first["session"] == "IMG_1" and first["shots"] == [] and first["faults"] == []


def test_quiet_prints_faults_only(lane: Path) -> None:
    code, shown, errors = watched(lane, "--once", "--quiet")
    assert (code, shown, errors) == (1, "", "")


def test_an_interruption_has_a_word_and_its_own_code(
    lane: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(_: float) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(command, "pause", interrupted)
    code, shown, errors = watched(lane)
    assert code == 130
    # A path may be folded anywhere.
    assert "".join(shown.split()) == f"Watching{''.join(str(lane).split())}.Ctrl-Cendsit."
    assert errors.strip() == "Interrupted. What was there before is as it was."


def test_what_cannot_be_watched_is_a_sentence(tmp_path: Path) -> None:
    code, _, errors = run("watch", str(tmp_path / "nowhere"))
    assert code == 2 and "there is no such folder" in errors
    (tmp_path / "session.toml").write_text("hight_m = 1", encoding="utf-8")
    code, _, errors = run("watch", str(tmp_path), "--once")
    assert code == 2 and "session.toml, line 1, hight_m" in errors


def test_a_ball_is_stated_in_the_session_file_where_there_is_one(tmp_path: Path) -> None:
    from tests.tracker.test_workflow_watch import TEMPLATE

    (tmp_path / "session.toml").write_text(TEMPLATE, encoding="utf-8")
    code, _, errors = run("watch", str(tmp_path), "--once", "--ball", "golf")
    assert code == 2 and errors.startswith("--ball: is for a video file without a session")
