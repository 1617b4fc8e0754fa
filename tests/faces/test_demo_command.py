"""``lobmeter demo``: the whole job on the sample session, and how to go on."""

import shlex
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from tracker.cli import demo as shown
from tracker.cli.program import program
from tracker.workflow import samples
from tracker.workflow.demo import SESSION, compare

SHOT = {"release_s": 1.0, "carry_m": 30.0}


@pytest.mark.campaign
def test_the_demo_takes_a_session_through_the_whole_job(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = CliRunner().invoke(program, ["demo"])
    assert result.exit_code == 0, result.output
    said = " ".join(result.output.split())
    assert said.count("5 of 5 shots found, none false") == 3
    for other in ("100 mm wheels", "180 mm wheels"):
        assert any(
            sentence.startswith('"140 mm wheels" carries') and f'farther than "{other}"' in sentence
            for sentence in said.split("- ")
        )
    assert 'Between "180 mm wheels" and "100 mm wheels" five shots can\'t tell' in said
    table = result.output[result.output.index("Predicted, ") :]
    assert {"120", "160"} <= {line.split()[0] for line in table.splitlines() if line.split()}
    report = tmp_path / "lobmeter-demo" / SESSION / "results" / "report.html"
    page = report.read_text(encoding="utf-8")
    assert "has the greatest carry" in page
    assert page.count("data:image/jpeg") == 16
    assert "overlay lobmeter-demo/wheels" in said


def test_the_demo_copies_its_own_session_only(tmp_path: Path) -> None:
    (folder,) = samples.copy_samples(tmp_path / "copy", tmp_path, (SESSION,))
    assert folder == tmp_path / "copy" / SESSION
    assert [path.name for path in (tmp_path / "copy").iterdir()] == [SESSION]
    assert (folder / "truth.json").exists()
    assert len(list((folder / "clips").iterdir())) == 3


def test_shots_are_paired_with_the_nearest_truth_and_the_rest_is_counted() -> None:
    class Row:
        def __init__(self, release_s: float) -> None:
            self.release_s = release_s

    rows = [Row(1.02), Row(7.0)]
    made = compare("a.mp4", rows, [SHOT, {"release_s": 4.0}])  # type: ignore[arg-type]
    assert [(pair[0].release_s, pair[1]["release_s"]) for pair in made.pairs] == [(1.02, 1.0)]
    assert [truth["release_s"] for truth in made.missed] == [4.0]
    assert [row.release_s for row in made.invented] == [7.0]


@pytest.fixture
def installed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A program in an environment below the current folder, that no console finds."""
    program_file = tmp_path / ".venv" / "bin" / "lobmeter"
    program_file.parent.mkdir(parents=True)
    program_file.write_text("", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "argv", [str(program_file), "demo"])
    monkeypatch.setattr(shown.shutil, "which", lambda _: None)
    return program_file


def test_what_to_type_works_without_an_activated_environment(installed: Path) -> None:
    assert shown.command_here() == str(Path(".venv") / "bin" / "lobmeter")


def test_a_program_that_the_console_finds_is_called_by_its_name(
    installed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(shown.shutil, "which", lambda _: str(installed))
    assert shown.command_here() == "lobmeter"
    other = installed.with_name("other")
    other.write_text("", encoding="utf-8")
    monkeypatch.setattr(shown.shutil, "which", lambda _: str(other))
    assert shown.command_here() != "lobmeter"


def test_a_program_elsewhere_is_called_by_its_whole_path(
    installed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "evening").mkdir()
    monkeypatch.chdir(tmp_path / "evening")
    assert shown.command_here() == str(installed)


def test_the_next_steps_stand_on_lines_of_their_own(installed: Path, tmp_path: Path) -> None:
    steps = shown.next_steps(tmp_path / "lobmeter-demo" / "wheels of mine")
    start = str(Path(".venv") / "bin" / "lobmeter")
    assert [line.split()[1] for _, line in steps] == ["overlay", "check", "measure"]
    assert all(line.startswith(f"{start} ") for _, line in steps)
    assert shlex.split(steps[0][1])[2] == str(Path("lobmeter-demo") / "wheels of mine")


def test_a_module_is_started_as_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "argv", ["/somewhere/tracker/cli/__main__.py"])
    assert shown.command_here().endswith("-m tracker.cli")
