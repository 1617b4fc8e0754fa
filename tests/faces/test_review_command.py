"""`lobmeter review` on a session with results."""

import hashlib
import json
from pathlib import Path

import pytest

from tests.faces.test_commands import run
from tests.tracker.invented_outings import session, shots_of

ONE = {"140 mm wheels": 3, "180 mm wheels": 2}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return session(tmp_path / "lane", ONE)


def review(folder: Path, *words: str, wanted: int = 0) -> str:
    code, shown, errors = run("review", str(folder), *words)
    assert code == wanted, errors
    return " ".join(shown.split())


def text(folder: Path) -> str:
    return (folder / "review.toml").read_text(encoding="utf-8")


CLIP = ("--clip", "clips/140mm.mp4")


def test_a_decision_is_written_and_listed(folder: Path) -> None:
    before = (folder / "results" / "shots.csv").read_bytes()
    shown = review(folder, *CLIP, "--shot", "2", "--reject", "it touched the net")
    assert "Shot 2 of clips/140mm.mp4: rejected: it touched the net." in shown
    assert "lobmeter measure" in shown
    release = shots_of("140 mm wheels", 3)[1].release_s
    assert f"release_s = {release}" in text(folder) and 'verdict = "reject"' in text(folder)
    assert "rejected: it touched the net" in review(folder)
    assert (folder / "results" / "shots.csv").read_bytes() == before


def test_a_second_decision_on_a_shot_replaces_only_what_it_says(folder: Path) -> None:
    review(folder, *CLIP, "--shot", "1", "--reject", "net")
    review(folder, *CLIP, "--shot", "1", "--setup", "180 mm wheels")
    assert text(folder).count("[[decision]]") == 1
    assert 'verdict = "reject"' in text(folder) and 'setup = "180 mm wheels"' in text(folder)
    review(folder, *CLIP, "--shot", "1", "--accept", "seen by two")
    assert 'verdict = "accept"' in text(folder) and "net" not in text(folder)
    assert 'setup = "180 mm wheels"' in text(folder)


def test_every_change_can_be_undone(folder: Path) -> None:
    review(folder, *CLIP, "--shot", "1", "--reject", "net")
    first = text(folder)
    review(folder, *CLIP, "--shot", "2", "--reject", "net again")
    review(folder, *CLIP, "--shot", "2", "--take-back")
    assert text(folder) == first
    assert "Undone: shot 2 of clips/140mm.mp4: decision taken back." in review(folder, "--undo")
    assert "net again" in text(folder)
    review(folder, "--undo")
    assert text(folder) == first
    review(folder, "--undo")
    assert not (folder / "review.toml").exists()
    code, _, errors = run("review", str(folder), "--undo")
    assert code == 2 and "nothing to undo" in errors


def test_a_decision_whose_shot_is_gone_is_reported_and_can_be_taken_back(folder: Path) -> None:
    review(folder, *CLIP, "--at", "99.5", "--reject", "a bird", wanted=1)
    shown = review(folder, wanted=1)
    assert "no shot of clips/140mm.mp4 was released at 99.5 s" in shown
    assert "[[decision]] 1" in shown
    review(folder, *CLIP, "--at", "99.4", "--take-back")
    assert "99.5" not in text(folder)


BAD = {
    "no clip": (("--shot", "1", "--reject", "x"), "--clip", "clips/140mm.mp4, clips/180mm.mp4"),
    "no shot": ((*CLIP, "--reject", "x"), "--shot", "number in the table"),
    "wrong shot": ((*CLIP, "--shot", "9", "--reject", "x"), "--shot", "are 1, 2, 3"),
    "nothing decided": ((*CLIP, "--shot", "1"), "--shot", "--take-back"),
    "no reason": ((*CLIP, "--shot", "1", "--reject", " "), "--reject", "say why"),
    "near clip": (
        ("--clip", "140mm.mp4", "--shot", "1", "--reject", "x"),
        "--clip",
        "did you mean clips/140mm.mp4?",
    ),
    "misspelt clip": (
        ("--clip", "clips/14mm.mp4", "--at", "3", "--reject", "x"),
        "--clip",
        "did you mean clips/140mm.mp4?",
    ),
    "other clip": (
        ("--clip", "z", "--at", "3", "--reject", "x"),
        "--clip",
        "session; the clips are clips/140mm.mp4, ",
    ),
    "wrong setup": ((*CLIP, "--shot", "1", "--setup", "140 mm"), "setup", "140 mm wheels"),
    "both": ((*CLIP, "--shot", "1", "--reject", "x", "--accept", "y"), "--accept", "either"),
    "reason twice": (
        (*CLIP, "--shot", "1", "--reject", "x", "--reason", "y"),
        "--reject and --reason",
        "given twice",
    ),
    "two things": ((*CLIP, "--shot", "1", "--undo", "--accept", "y"), "--undo", "one at a time"),
    "not decided": ((*CLIP, "--shot", "1", "--take-back"), "review.toml", "has no decision"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_input_is_a_sentence_and_changes_nothing(folder: Path, case: str) -> None:
    words, where, what = BAD[case]
    code, _, errors = run("review", str(folder), *words)
    assert code == 2
    assert where in errors and what in errors and errors.strip().endswith(".")
    assert not (folder / "review.toml").exists()


def listed(folder: Path) -> dict[int, str]:
    """The quality that the list gives each shot of the first clip."""
    code, shown, errors = run("review", str(folder), "--json")
    assert code in (0, 1), errors
    return {
        one["shot"]: one["quality"]
        for one in json.loads(shown)["shots"]
        if one["clip"] == "clips/140mm.mp4"
    }


def test_a_verdict_shows_in_the_list_before_it_is_measured_again(folder: Path) -> None:
    assert "lobmeter measure" not in review(folder)
    review(folder, *CLIP, "--shot", "2", "--reject", "net")
    assert listed(folder) == {1: "good", 2: "rejected", 3: "good"}
    assert f"as they stand into the results: lobmeter measure {folder}" in review(folder)
    digest = hashlib.sha256((folder / "review.toml").read_bytes()).hexdigest()
    made_with = {"inputs": [{"file": "review.toml", "sha256": digest}], "shots": []}
    (folder / "results" / "shots.json").write_text(json.dumps(made_with), encoding="utf-8")
    assert "lobmeter measure" not in review(folder)
    review(folder, "--undo")
    assert listed(folder)[2] == "good"
    assert "lobmeter measure" in review(folder)


def test_a_clip_that_left_the_session_keeps_a_decision_that_can_be_taken_back(folder: Path) -> None:
    review(folder, *CLIP, "--shot", "2", "--reject", "net")
    path = folder / "review.toml"
    path.write_text(text(folder).replace("140mm", "14mm"), encoding="utf-8")
    release = shots_of("140 mm wheels", 3)[1].release_s
    review(folder, "--clip", "clips/14mm.mp4", "--at", str(release), "--take-back")
    assert "net" not in text(folder)


def test_a_video_file_alone_is_sent_to_a_session(folder: Path) -> None:
    clip = folder / "clips" / "140mm.mp4"
    code, _, errors = run("review", str(clip), "--shot", "1", "--reject", "net")
    assert code == 2 and f"lobmeter new FOLDER {clip}, then lobmeter measure" in errors


def test_a_session_without_results_says_what_to_do(folder: Path) -> None:
    (folder / "results" / "shots.csv").unlink()
    code, _, errors = run("review", str(folder))
    assert code == 2 and "lobmeter measure" in errors
