"""--json, --quiet, --verbose, exit codes and completion: the same of every command."""

import io
import json
import logging
import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import typer
from rich.console import Console

from tests.faces.test_commands import clip as clip
from tests.faces.test_commands import run, session
from tests.tracker.invented_outings import WHEELS, shots_of
from tests.tracker.invented_outings import session as outing
from tracker.cli import modes
from tracker.cli.commands import WITH_DATA
from tracker.cli.program import program
from tracker.cli.screen import console, notes_of_all, show_result
from tracker.report.documents import plain, truth_document
from tracker.workflow import measure as measuring
from tracker.workflow.measured import MeasuredClip, SessionResult

__all__ = ["clip", "session"]

ROOT = typer.main.get_command(program)


@pytest.fixture(scope="module")
def lane(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return outing(tmp_path_factory.mktemp("fen") / "lane", dict.fromkeys(WHEELS, 4))


def every_command() -> dict[str, typer.core.TyperCommand]:
    found = {}
    for name, command in ROOT.commands.items():  # type: ignore[attr-defined]
        inner = getattr(command, "commands", {"": command})
        found |= {f"{name} {part}".strip(): one for part, one in inner.items()}
    return found


def test_every_command_can_be_quiet_and_verbose() -> None:
    for name, command in every_command().items():
        options = {option for one in command.params for option in one.opts}
        assert {"--quiet", "-q", "--verbose", "-v"} <= options, name


def test_every_command_that_prints_a_table_has_data() -> None:
    folder = Path(__file__).parents[2] / "tracker" / "cli"
    tables = {
        path.stem
        for path in folder.glob("*.py")
        if "screen.print(" in path.read_text(encoding="utf-8") and path.stem != "screen"
    }
    with_data = WITH_DATA | {"log"}
    assert tables <= with_data
    for name, command in every_command().items():
        wanted = name in WITH_DATA | {"log list", "log show"}
        assert any("--json" in one.opts for one in command.params) == wanted, name


CARRY_M = float(np.mean([shot.carry_m for shot in shots_of("100 mm wheels", 4)]))
DATA = [
    (
        "compare",
        lambda made: (
            [one["name"] for one in made["setups"]] == list(WHEELS)
            and math.isclose(made["setups"][0]["sample"]["mean"], CARRY_M, abs_tol=1e-4)
        ),
    ),
    ("predict", lambda made: made["setups"][0]["exit_speed_mps"]["u"] > 0.0),
    ("plan", lambda made: isinstance(made["plan"]["steps"], list)),
    ("review", lambda made: len(made["shots"]) == 12 and made["shots"][0]["quality"] == "good"),
]


@pytest.mark.parametrize(("command", "holds"), DATA)
def test_data_is_json_and_nothing_else(
    lane: Path, command: str, holds: Callable[[object], bool]
) -> None:
    code, shown, errors = run(command, str(lane), "--json")
    assert code == 0, errors
    assert holds(json.loads(shown))


def test_a_measurement_as_data(session: Path) -> None:
    code, shown, errors = run("measure", str(session), "--json")
    assert code == 1, errors
    (made,) = json.loads(shown)
    assert made["session"] == "Fen Lane" and made["shots"] == []
    assert made["kept"] == ["shots-edited-1.csv"]
    assert Path(made["results"]).is_dir()
    code, shown, errors = run("check", str(session), "--json")
    assert code == 0, errors
    found = json.loads(shown)
    assert found["ready"] is True
    assert {one["kind"] for one in found["findings"]} == {"fact", "advice"}


def test_quiet_prints_faults_only(session: Path) -> None:
    code, shown, errors = run("measure", str(session), "--quiet")
    assert (code, shown, errors) == (1, "", "")
    text = (session / "session.toml").read_text(encoding="utf-8")
    (session / "session.toml").write_text(text.replace("height_m", "hight_m"), encoding="utf-8")
    code, shown, errors = run("measure", str(session), "--quiet")
    assert code == 2 and shown == "" and "hight_m" in errors


def test_verbose_logs_the_steps_to_stderr(session: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # The command is a program's last: it leaves its log on, which ends here with the test.
    logger = logging.getLogger("tracker")
    monkeypatch.setattr(logger, "handlers", logger.handlers)
    monkeypatch.setattr(logger, "level", logger.level)
    code, _, errors = run("measure", str(session), "-v")
    assert code == 1, errors
    assert "clips/140mm.mp4" in errors and "results written" in errors


def test_an_interruption_has_a_word_and_its_own_code(
    session: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(measuring, "ready_clips", interrupted)
    code, _, errors = run("measure", str(session))
    assert code == 130
    assert errors.strip() == "Interrupted. What was there before is as it was."


def test_completion_can_be_shown() -> None:
    code, shown, _ = run("--help")
    assert code == 0 and "--install-completion" in shown


@pytest.mark.campaign
def test_tables_of_80_columns_keep_the_name_that_distinguishes_rows(
    lane: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from tracker.cli import compare, predict, review

    for command, module in (("predict", predict), ("compare", compare), ("review", review)):
        page = io.StringIO()
        monkeypatch.setattr(
            module, "console", lambda page=page: Console(file=page, width=80, highlight=False)
        )
        code, _, errors = run(command, str(lane))
        assert code == 0, errors
        lines = page.getvalue().splitlines()
        assert max(len(line) for line in lines) <= 80
        flat = " ".join(page.getvalue().split())
        assert "…" not in flat
        names = ["140 mm wheels"] if command != "review" else ["clips/140mm.mp4"]
        for name in names:
            assert name in flat, command


class Colour(StrEnum):
    RED = "red"


@dataclass(frozen=True)
class Held:
    values: dict[Colour, object]
    path: Path


def test_anything_becomes_what_json_has() -> None:
    held = Held({Colour.RED: np.array([1.0, np.nan])}, Path("a"))
    assert plain(held) == {"values": {"red": [1.0, None]}, "path": "a"}
    assert plain((True, None, np.float64(2.5), math.inf, 3)) == [True, None, 2.5, None, 3]


def test_shots_beside_the_truth_as_data() -> None:
    shot = shots_of("100 mm wheels", 1)[0]
    made = truth_document([(shot, {"carry_m": 12.5})], [{"release_s": 3.0}], [shot])
    assert made["shots"][0]["true"] == {"carry_m": 12.5}
    assert made["shots"][0]["carry_m"] == shot.carry_m
    assert made["missed"] == [{"release_s": 3.0}] and len(made["invented"]) == 1


@pytest.mark.parametrize("quiet", [False, True])
def test_what_a_measurement_removed_is_said_by_a_quiet_command_too(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, quiet: bool
) -> None:
    session: Any = SimpleNamespace(name="Fen Lane", bare=False, folder=Path("lane"))
    gone = {"report.html": "lobmeter report {session} --pdf"}
    result = SessionResult(session, (), tmp_path, gone=gone)
    token = modes._MODE.set(modes.Mode(quiet=quiet))
    try:
        show_result(console(), result)
    finally:
        modes._MODE.reset(token)
    shown = capsys.readouterr()
    said = shown.err if quiet else shown.out
    assert "report.html (again: lobmeter report lane --pdf)." in " ".join(said.split())
    assert (shown.out if quiet else shown.err) == ""


def test_what_holds_for_every_clip_is_said_once(capsys: pytest.CaptureFixture[str]) -> None:
    def result(name: str, notes: list[str], causes: Any = ()) -> Any:
        entry: Any = SimpleNamespace(file=f"{name}.mp4", setup=name)
        camera: Any = None
        clip = MeasuredClip(entry, None, camera, (), tuple(notes), causes=causes)
        session: Any = SimpleNamespace(name=name, bare=True, folder=Path("lane"))
        return SessionResult(session, (clip,), Path(f"{name}-results"))

    one, two = result("a", ["no wind", "dim"]), result("b", ["no wind", "why"], ("why",))
    common = notes_of_all([one, two])
    assert common == ["no wind"]
    assert notes_of_all([one]) == []
    # Why a clip has no shot is said of each, last of all.
    assert notes_of_all([two, two]) == ["no wind"]
    show_result(console(), one, common)
    said = capsys.readouterr().out
    assert "Dim." in said and "No wind" not in said
