"""``lobmeter predict``, ``compare`` and ``plan`` as a person sees them."""

from pathlib import Path

import pytest
from typer.testing import CliRunner

from tests.tracker.invented_outings import session
from tracker.cli.program import program

RUN = CliRunner()
CAUTION = "Flying balls and spinning wheels hurt"


@pytest.fixture(scope="module")
def two(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("fen") / "lane"
    return session(folder, {"100 mm wheels": 5, "140 mm wheels": 4})


def said(*arguments: str, code: int = 0) -> str:
    result = RUN.invoke(program, arguments, env={"COLUMNS": "200"})
    assert result.exit_code == code, result.output
    return result.output + (result.stderr if code else "")


def test_compare_says_the_answer_first(two: Path) -> None:
    text = said("compare", str(two))
    assert text.startswith('- "140 mm wheels" is the best: ')
    assert '"140 mm wheels" carries ' in text
    assert 'farther than "100 mm wheels".' in text
    assert "E_n" in text
    assert "next shot" in text
    assert "Landings:" in text
    assert CAUTION in text
    assert (two / "results" / "comparison-carry-m.png").is_file()


@pytest.mark.campaign
def test_setups_without_a_mean_stand_beside_the_others(tmp_path: Path) -> None:
    """One that was never shot and one of one shot, with their chances."""
    wheels = {"100 mm wheels": 5, "140 mm wheels": 1, "180 mm wheels": 0}
    text = said("compare", str(session(tmp_path / "lane", wheels)), "--worth", "1")
    assert text.startswith('- Build "180 mm wheels": ')
    assert "its wheel.diameter_mm lies 40 mm beyond anything shot" in text
    rows = [line for line in text.splitlines() if line.lstrip().startswith("1")]
    assert [("predicted" in row) for row in rows[:3]] == [False, True, True]
    chances = text.split("Chances:")[1]
    assert 'beats "100 mm wheels" by 1 m' in chances
    assert all(f" {name}" in chances for name in wheels)
    present = next(line for line in chances.splitlines() if line.startswith(" 100 mm wheels"))
    assert present.split()[-1] == "-"
    assert "the model expects" in text and "nothing is known" not in text


def test_predict_needs_no_clip_and_knows_an_evening(tmp_path: Path) -> None:
    lane = session(tmp_path / "lane", {"140 mm wheels": 0})
    text = (lane / "session.toml").read_text(encoding="utf-8")
    (lane / "session.toml").write_text(text.split("[[clip]]")[0], encoding="utf-8")
    found = said("predict", str(lane), "--to-hit", "30")
    assert "On one charge:" in found and "100th shot" in found
    assert "motor.duty_percent = " in found and "carries 30 m on average" in found


def test_predict_names_what_it_learned_and_what_to_beware_of(two: Path) -> None:
    text = said("predict", str(two), "--sweep", "wheel.diameter_mm=100:180:3")
    assert "What the shots say of the model:" in text
    assert text.count("guard the gap") == 1
    assert text.count("no toy") == 1
    assert "no toy" in text
    assert "outer diameter of the wheels" in " ".join(text.split())
    assert CAUTION in text
    assert "learned" not in said("predict", str(two), "--no-learn")


def test_plan_says_what_to_shoot(two: Path) -> None:
    text = said("plan", str(two), "--worth", "0.5")
    assert CAUTION in text
    assert '"140 mm wheels"' in text


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("compare", "--of", "colour"), "cannot be compared"),
        (("predict", "--sweep", "wheel.size=1:2"), "is no number of a setup"),
        (("predict", "--setup", "none"), "is the name of no setup"),
        (("plan", "--worth", "0"), "no difference worth knowing"),
    ],
)
def test_faults_are_sentences_and_exit_with_two(two: Path, arguments, words) -> None:
    command, *options = arguments
    text = said(command, str(two), *options, code=2)
    assert words in text
    assert "Traceback" not in text
