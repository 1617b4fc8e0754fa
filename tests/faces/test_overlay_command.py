"""``lobmeter overlay``: films and stills of a measured session, and what it refuses."""

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from tests.tracker.invented_shot import invented
from tracker.cli.program import program
from tracker.results.tables import shots_csv, tracks_csv
from tracker.video import ClipWriter

TOML = """name = "Fen Lane"
[release]
height_m = 0.8
[[setup]]
name = "140 mm wheels"
[[clip]]
file = "clips/140mm.mp4"
setup = "140 mm wheels"
"""


def run(*arguments: object) -> tuple[int, str]:
    result = CliRunner().invoke(program, ["overlay", *map(str, arguments)])
    assert "Traceback" not in result.output
    return result.exit_code, " ".join(result.output.split())


@pytest.fixture
def evening(tmp_path: Path) -> Path:
    """A session of one small clip with one measured shot."""
    (tmp_path / "clips").mkdir()
    with ClipWriter(tmp_path / "clips" / "140mm.mp4", (192, 108), 10) as writer:
        for _ in range(60):
            writer.write_bgr(np.full((108, 192, 3), 90, np.uint8))
    (tmp_path / "session.toml").write_text(TOML, encoding="utf-8")
    measured = invented()[0]
    points = [
        replace(
            point, frame=round(point.time_s * 10), column_px=point.column_px / 10,
            row_px=point.row_px / 10, residual_column_px=0.0, residual_row_px=0.0,
        )
        for point in measured.points[::6]
    ]  # fmt: skip
    results = tmp_path / "results"
    results.mkdir()
    (results / "shots.csv").write_text(shots_csv([measured.shot]), encoding="utf-8")
    (results / "tracks.csv").write_text(tracks_csv(points), encoding="utf-8")
    return tmp_path


def test_a_film_and_a_still_a_shot_lie_in_the_results(evening: Path) -> None:
    before = (evening / "results" / "shots.csv").read_bytes()
    code, said = run(evening)
    assert code == 0, said
    names = {path.name for path in (evening / "results").iterdir()}
    assert {"140mm-overlay.mp4", "140mm-shot-2-flight.jpg"} <= names
    assert "140mm-overlay.mp4" in said.replace(" ", "")
    assert (evening / "results" / "shots.csv").read_bytes() == before


def test_stills_alone_are_made_when_asked_for(evening: Path) -> None:
    assert run(evening, "--stills")[0] == 0
    names = {path.name for path in (evening / "results").iterdir()}
    assert "140mm-shot-2-flight.jpg" in names
    assert not any(name.endswith(".mp4") for name in names)


def test_a_slow_film_has_a_name_of_its_own(evening: Path) -> None:
    assert run(evening, "--slow", 4)[0] == 0
    assert (evening / "results" / "140mm-overlay-slow-4.mp4").exists()


@pytest.mark.parametrize("slow", ["0", "0.5", "-4", "1000", "nan"])
def test_a_pace_that_is_none_is_refused(slow: str, evening: Path) -> None:
    code, said = run(evening, "--slow", slow)
    assert code == 2
    assert "from 1 to 100" in said


def test_a_session_without_a_flight_to_draw_ends_with_1(evening: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    shutil.copytree(evening, other, ignore=shutil.ignore_patterns("other"))
    (other / "results" / "shots.csv").write_text(shots_csv([]), encoding="utf-8")
    code, said = run(evening, other, "--stills")
    assert code == 1 and "other: no measured flight could be drawn" in said
    assert said.count("no measured flight") == 1 and "Still: " in said


def test_a_session_that_was_not_measured_is_refused(evening: Path) -> None:
    (evening / "results" / "shots.csv").unlink()
    code, said = run(evening)
    assert code == 2
    assert "measure first" in said
