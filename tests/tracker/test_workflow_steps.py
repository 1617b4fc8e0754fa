"""What each measurement of a session gained, over restarts."""

import json
from dataclasses import replace
from hashlib import sha256
from pathlib import Path

import pytest

from tests.tracker.invented_outings import session as invented
from tests.tracker.invented_outings import shots_of
from tracker.results.tables import shots_csv
from tracker.workflow import steps
from tracker.workflow.look import look_at
from tracker.workflow.steps import MOST, STEPS_FILE, keep_step, read_steps, steps_until_now

NAME = "140 mm wheels"


def measured(folder: Path, u: float) -> None:
    """Write results of the session as it is, each exit speed known to u, m/s."""
    rows = [replace(shot, exit_speed_u_mps=u) for shot in shots_of(NAME, 3)]
    results = folder / "results"
    results.mkdir(exist_ok=True)
    (results / "shots.csv").write_text(shots_csv(rows), "utf-8")
    inputs = [
        {"file": path.name, "sha256": sha256(path.read_bytes()).hexdigest()}
        for path in sorted(folder.glob("*.toml"))
    ]
    (results / "shots.json").write_text(json.dumps({"inputs": inputs, "shots": []}), "utf-8")


@pytest.fixture
def lane(tmp_path: Path) -> Path:
    folder = invented(tmp_path / "Fen Lane", {NAME: 3})
    file = folder / "session.toml"
    unpicked = file.read_text("utf-8").replace("pixel = [500.0, 700.0]\n", "")
    file.write_text(unpicked, "utf-8")
    return folder


def stated_and_known(folder: Path) -> list[tuple[str, float]]:
    steps = steps_until_now(look_at(folder))
    return [(step.stated, step.known_to["exit_speed_u_mps"]) for step in steps]


def pick(folder: Path) -> None:
    file = folder / "session.toml"
    taped = "ground_m = [10.0, 0.0, 0.0]\n"
    file.write_text(
        file.read_text("utf-8").replace(taped, f"{taped}pixel = [500.0, 700.0]\n"), "utf-8"
    )


def test_steps_are_kept_in_their_order_with_what_they_rest_on(lane: Path) -> None:
    measured(lane, 1.6)
    keep_step(lane)
    pick(lane)
    # The page keeps what was there before it measures anew: nothing is kept twice.
    keep_step(lane)
    measured(lane, 0.21)
    # Not kept yet, as where a command measured: it is the newest all the same.
    assert stated_and_known(lane) == [("gravity alone", 1.6), ("1 marker", 0.21)]
    keep_step(lane)
    assert len(read_steps(look_at(lane))) == 2
    decided = '[[decision]]\nclip = "clips/140mm.mp4"\nrelease_s = 12.0\n'
    text = f'{decided}verdict = "reject"\nreason = "it touched the net"\n'
    (lane / "review.toml").write_text(text, "utf-8")
    measured(lane, 0.20)
    keep_step(lane)
    assert stated_and_known(lane)[2] == ("1 marker, 1 decision", 0.20)


def test_the_same_files_measured_again_are_one_step(lane: Path) -> None:
    for u in (1.6, 1.5):
        measured(lane, u)
        keep_step(lane)
    assert stated_and_known(lane) == [("gravity alone", 1.5)]


def test_results_of_files_that_changed_since_are_a_step_without_words(lane: Path) -> None:
    measured(lane, 1.6)
    pick(lane)
    keep_step(lane)
    assert stated_and_known(lane) == [("", 1.6)]


@pytest.mark.parametrize("text", ["", "[", "[1]", '[{"stated": "x"}]', "{}", "null"])
def test_a_file_that_cannot_be_read_is_no_fault(lane: Path, text: str) -> None:
    measured(lane, 1.6)
    (lane / "results" / STEPS_FILE).write_text(text, "utf-8")
    assert stated_and_known(lane) == [("gravity alone", 1.6)]
    keep_step(lane)
    assert len(read_steps(look_at(lane))) == 1


def test_nothing_measured_keeps_nothing(lane: Path) -> None:
    for path in (lane / "results").iterdir():
        path.unlink()
    keep_step(lane)
    assert not (lane / "results" / STEPS_FILE).exists() and stated_and_known(lane) == []


def test_only_the_newest_are_kept(lane: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert 10 <= MOST <= 100
    monkeypatch.setattr(steps, "MOST", 3)
    file = lane / "session.toml"
    text = file.read_text("utf-8")
    for number in range(5):
        file.write_text(f"{text}# {number}\n", "utf-8")
        measured(lane, 1.0 + number)
        keep_step(lane)
    kept = read_steps(look_at(lane))
    assert len(kept) == 3 and kept[-1].known_to["exit_speed_u_mps"] == 5
