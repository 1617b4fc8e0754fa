"""docs/formats.md says what the program reads and writes."""

import re
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from tracker.cli.program import program
from tracker.flight.ball import BALLS
from tracker.records import SHOT_COLUMNS, TrackPoint
from tracker.session import Verdict, parse_review, read_lens, read_session
from tracker.video import ClipWriter

PAGE = Path(__file__).parents[2] / "docs" / "formats.md"
TEXT = PAGE.read_text(encoding="utf-8")


def example(heading: str) -> str:
    """The first block of TOML under a heading."""
    found = re.search(rf"## `{re.escape(heading)}`.*?```toml\n(.*?)```", TEXT, re.DOTALL)
    assert found is not None
    return found[1]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "clips").mkdir()
    (tmp_path / "clips" / "140mm.mp4").write_bytes(b"not read here")
    (tmp_path / "session.toml").write_text(example("session.toml"), encoding="utf-8")
    return tmp_path


def test_the_example_is_a_session_without_fault(folder: Path) -> None:
    session = read_session(folder)
    assert session.release.angle_deg == 42.0
    assert session.markers[1].pixel == (1037.2, 725.5)


def test_the_example_copied_as_it_stands_is_ready_to_measure(folder: Path) -> None:
    with ClipWriter(folder / "clips" / "140mm.mp4", (1920, 1080), 60) as writer:
        for _ in range(4):
            writer.write_bgr(np.full((1080, 1920, 3), 120, np.uint8))
    done = CliRunner().invoke(program, ["check", str(folder)])
    shown = " ".join(done.stdout.split())
    assert done.exit_code == 0, done.stderr
    assert "1920 x 1080, 60 frames a second, 0.1 s" in shown
    assert shown.startswith("Ready: lobmeter measure")
    assert "a landing at" in shown
    assert "No prediction" not in shown and "slower than life" not in shown


@pytest.mark.parametrize("table", ["ball", "air", "release", "camera", "[marker]"])
def test_the_example_shows_every_field_that_is_listed(folder: Path, table: str) -> None:
    """An unknown field in a table makes the reader list those that it knows."""
    path = folder / "session.toml"
    text = example("session.toml")
    head = f"[{table}]"
    line = next(one for one in text.splitlines() if one.startswith(head))
    path.write_text(text.replace(line, f"{line}\nqqqq = 1", 1), encoding="utf-8")
    with pytest.raises(Exception, match="qqqq: is not a listed field") as caught:
        read_session(folder)
    listed = str(caught.value).split("listed are ")[1].rstrip(".").split(", ")
    block = text.split(line, 1)[1].split("\n[", 1)[0]
    absent = {"altitude_m"}  # named in the comment of pressure_hpa, since it stands in its place
    shown = re.findall(r"^(?:# )?(\w+) =", block, re.M)
    assert set(listed) - set(shown) <= absent
    assert all(name in block for name in listed)


def test_the_example_of_a_review_is_read(folder: Path) -> None:
    (decision,) = parse_review(example("review.toml"), read_session(folder)).decisions
    assert (decision.release_s, decision.verdict) == (12.34, Verdict.REJECT)


def test_the_example_of_a_lens_is_read(tmp_path: Path) -> None:
    (tmp_path / "lens.toml").write_text(example("lens.toml"), encoding="utf-8")
    assert read_lens(tmp_path / "lens.toml").focal_px == 1450.5


def test_every_column_of_the_results_is_explained() -> None:
    shots, rest = TEXT.split("## `results/shots.csv`")[1].split("`results/tracks.csv`", 1)
    assert re.findall(r"`(\w+)`", " ".join(re.findall(r"^\| (.*?) \|", shots, re.M))) == list(
        SHOT_COLUMNS
    )
    tracks = re.search(r"`(clip, shot, [^`]*)`", rest)
    assert tracks is not None
    assert re.split(r",\s+", tracks[1]) == [field.name for field in fields(TrackPoint)]


def test_every_ball_of_the_table_is_named() -> None:
    listed = TEXT.split("Rows of the ball table:")[1].split(".")[0]
    assert [" ".join(name.split()) for name in listed.split(",")] == [ball.name for ball in BALLS]
