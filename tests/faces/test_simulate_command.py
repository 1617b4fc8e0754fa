"""``lobmeter simulate``: a small drawn session, its truth, and what it refuses."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from calibration.errors import InputErrors
from tracker.cli.program import program
from tracker.session import read_session
from tracker.synthetic.changes import NUMBERS, changed
from tracker.synthetic.recipes import ABOUT, RECIPES, WIDE
from tracker.video import inspect
from tracker.workflow.simulate import SimulateOptions, numbers, simulate

SMALL = ("shots=1", "width_px=320", "height_px=240", "fps=15", "exposure_s=0.002", "readout_s=0")
PAGE = Path(__file__).resolve().parents[2] / "docs" / "simulate.md"


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("drawn") / "evening"
    settings = [part for each in SMALL for part in ("--set", each)]
    result = CliRunner().invoke(program, ["simulate", str(folder), "--seed", "3", *settings])
    assert result.exit_code == 0, result.output
    assert "1 shot" in result.output
    assert "m/s at" in result.output
    return folder


def test_the_folder_is_a_session_with_its_truth(drawn: Path) -> None:
    session = read_session(drawn)
    truth = json.loads((drawn / "truth.json").read_text(encoding="utf-8"))
    assert [clip.file for clip in session.clips] == [clip["file"] for clip in truth["clips"]]
    (clip,) = truth["clips"]
    assert len(clip["shots"]) == 1
    facts = inspect(drawn / clip["file"])
    assert facts.size_px == (320, 240)
    assert facts.frame_count == clip["frames"]
    assert clip["exposure_s"] == pytest.approx(0.002)
    assert sorted(path.name for path in drawn.iterdir()) == ["clips", "session.toml", "truth.json"]


def test_a_session_that_is_there_stays_as_it_is(drawn: Path) -> None:
    before = {path: path.read_bytes() for path in drawn.rglob("*") if path.is_file()}
    result = CliRunner().invoke(program, ["simulate", str(drawn)])
    assert result.exit_code == 2
    assert "--replace" in result.output
    assert {path: path.read_bytes() for path in drawn.rglob("*") if path.is_file()} == before


@pytest.mark.campaign
def test_the_same_seed_draws_the_same_session_and_replaces_it_when_asked(
    drawn: Path, tmp_path: Path
) -> None:
    options = SimulateOptions(seed=3, values=numbers(SMALL), replace=True)
    simulate(tmp_path, options)
    for name in ("session.toml", "truth.json"):
        assert (tmp_path / name).read_bytes() == (drawn / name).read_bytes()
    simulate(tmp_path, SimulateOptions(seed=4, values=numbers(SMALL), replace=True))
    assert (tmp_path / "truth.json").read_bytes() != (drawn / "truth.json").read_bytes()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--recipe", "windmill"], "use one of apex_out, birds"),
        (["--set", "shots"], "write NAME=NUMBER"),
        (["--set", "shots=five"], "write NAME=NUMBER"),
        (["--set", "shots=2.5"], "a whole number from 1 to 20"),
        (["--set", "shots=21"], "a whole number from 1 to 20"),
        (["--set", "camera_away_m=2"], "a number from 3 to 150"),
        (["--set", "exit_speed=20"], "exit_speed_mps"),
        (["--set", "exit_speed_mps=nan"], "cannot be drawn"),
        (["--set", "width_px=801"], "even"),
        (["--set", "fps=240", "--set", "exposure_s=0.01"], "stay below 0.00417 s"),
    ],
)
def test_what_cannot_be_drawn_is_refused_in_a_sentence(
    arguments: list[str], said: str, tmp_path: Path
) -> None:
    result = CliRunner().invoke(program, ["simulate", str(tmp_path / "new"), *arguments])
    assert result.exit_code == 2
    assert said in result.output
    assert "Traceback" not in result.output
    assert not (tmp_path / "new").exists()


def test_every_wrong_setting_is_named_at_once() -> None:
    with pytest.raises(InputErrors) as caught:
        changed(WIDE, {"windmill": 1.0, "shots": 0.0})
    assert len(caught.value.errors) == 2


@pytest.mark.parametrize("number", NUMBERS, ids=lambda number: number.name)
def test_every_number_changes_the_recipe_and_nothing_of_another(number) -> None:
    for recipe in (RECIPES["wide"], RECIPES["three_wheels"]):
        low, high = number.change(recipe, number.low), number.change(recipe, number.high)
        assert low != high
        assert number.change(low, number.high) == high
        assert low.name == recipe.name


def test_a_decimal_comma_is_read() -> None:
    assert numbers(["noise=1,5", " fps = 30"]) == {"noise": 1.5, "fps": 30.0}


def test_the_page_and_the_help_name_every_recipe_and_the_page_every_number() -> None:
    page = PAGE.read_text(encoding="utf-8")
    assert set(ABOUT) == set(RECIPES)
    for name, about in ABOUT.items():
        assert f"| `{name}` | {about} |" in page
    for each in NUMBERS:
        row = f"| `{each.name}` | {each.meaning} | {each.low:g} | {each.high:g} |"
        assert row in page
    help_text = CliRunner().invoke(program, ["simulate", "--help"]).output
    words = set(help_text.replace(",", " ").replace(".", " ").replace(":", " ").split())
    assert set(RECIPES) <= words
