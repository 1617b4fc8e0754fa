"""Inputs made to break a program: each ends in a sentence, within bounds of time and memory.

Every command runs in a process of its own that may take a gigabyte beyond what it takes to start,
and a minute of processor time (`tests.fuzz.trial`); a warning of a library counts as a fault.
"""

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

if sys.platform != "linux":
    pytest.skip(
        "each input is tried in a forked process of bounded memory", allow_module_level=True
    )

from tests.fen_lane import FULLER
from tests.fuzz.cases import prepared
from tests.fuzz.trial import fault_of
from tests.shared import folder_of
from tests.tracker.barcode_clips import write
from tracker.cli.program import program
from tracker.video import ClipWriter
from tracker.workflow.measure import measure_session  # noqa: F401


@pytest.fixture
def lane(tmp_path_factory: pytest.TempPathFactory, tmp_path: Path) -> Path:
    """A session with a small clip and results, to be spoilt."""
    sound = folder_of(tmp_path_factory, "sound lane", prepared)
    return Path(shutil.copytree(sound, tmp_path / "lane"))


def spoilt(path: Path, before: str, after: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert before in text
    path.write_text(text.replace(before, after, 1), encoding="utf-8")


def session(before: str, after: str) -> Callable[[Path], None]:
    return lambda lane: spoilt(lane / "session.toml", before, after)


def rows(before: str, after: str) -> Callable[[Path], None]:
    return lambda lane: spoilt(lane / "results" / "shots.csv", before, after)


def details(text: str) -> Callable[[Path], None]:
    def spoil(lane: Path) -> None:
        (lane / "results" / "shots.json").write_text(text, encoding="utf-8")

    return spoil


def digests(*names: str) -> Callable[[Path], None]:
    text = json.dumps({"files": dict.fromkeys(names, "0" * 64)})

    def spoil(lane: Path) -> None:
        (lane / "results" / "digests.json").write_text(text, encoding="utf-8")

    return spoil


def markers(count: int, scatter_px: float) -> Callable[[Path], None]:
    def spoil(lane: Path) -> None:
        rng = np.random.default_rng(3)
        more = "".join(
            f'[[marker]]\nname = "cone {n}"\nground_m = [{1 + 0.1 * n:.1f}, {n % 5}.0, 0.0]\n'
            f"pixel = [{x:.1f}, {y:.1f}]\n\n"
            for n, (x, y) in enumerate(rng.uniform((10, 90), (310, 90 + scatter_px), (count, 2)))
        )
        spoilt(lane / "session.toml", "[[setup]]", more + "[[setup]]")

    return spoil


NAMED = 'name = "140 mm wheels"'
TEXTS = {
    "an integer of 4300 digits": session("height_m = 0.8", "height_m = 1" + "0" * 4300),
    "a hexadecimal integer of 5000 digits": session("height_m = 0.8", "height_m = 0x" + "f" * 5000),
    "a clip's name of 300 characters": session("clips/140mm.mp4", "a" * 300 + ".mp4"),
    "a clip's name of 100 000 characters": session("clips/140mm.mp4", "a" * 100_000 + ".mp4"),
    "a name of a megabyte": session('name = "Fen Lane"', f'name = "{"n" * 2**20}"'),
    "emoji": session('name = "Fen Lane"', 'name = "Fen 🎾 Lane"'),
    "deep lists": session("height_m = 0.8", "height_m = " + "[" * 20_000),
    "deep tables": session("[release]", "[" + "a." * 3_000 + "a]\n[release]"),
    "23 markers that disagree": markers(20, 40.0),
}
LARGER = {
    "an integer of 400 digits": session("height_m = 0.8", "height_m = 1" + "0" * 400),
    "a string of two megabytes without an end": session(
        'name = "Fen Lane"', 'name = "' + "n " * 2**20
    ),
    "deeper tables": session("[release]", "[" + "a." * 20_000 + "a]\n[release]"),
    "54 markers that disagree": markers(51, 40.0),
    "305 markers that disagree": markers(302, 90.0),
    "54 markers in one point": markers(51, 1e-3),
}
READ = {
    "a cell of 200 000 characters": rows("140 mm wheels", "w" * 200_000),
    "a quoted cell of 200 000 characters": rows("140 mm wheels", '"' + "w" * 200_000),
    "a shot's number of 4300 digits": rows(",1,", ",1" + "0" * 4300 + ","),
    "JSON of 100 000 brackets": details("[" * 100_000),
    "JSON of deep objects": details('{"shots":' * 50_000),
}
LISTED = {
    "a list of pictures outside": details(
        json.dumps({"shots": [], "pictures": ["..", "../notes.txt", "/"]})
    ),
    "a list of pictures that a person made": details(
        json.dumps({"shots": [], "pictures": ["mine.jpg"]})
    ),
    "written files that are outside": digests("..", "../notes.txt", "mine.jpg", "/", ""),
}

READ_FIRST = (
    ("a cell of 200 000 characters", "compare"),
    ("a quoted cell of 200 000 characters", "compare"),
    ("a shot's number of 4300 digits", "compare"),
    ("JSON of deep objects", "compare"),
    ("written files that are outside", "measure"),
)
CAMPAIGN = pytest.mark.campaign


@pytest.mark.parametrize(
    "case", [*TEXTS, *(pytest.param(each, marks=pytest.mark.long) for each in LARGER)]
)
def test_a_hostile_session_ends_in_a_sentence(case: str, lane: Path) -> None:
    (TEXTS | LARGER)[case](lane)
    assert fault_of(["check", str(lane)]) == ""


# `compare` reads the rows, `measure` the list of what an earlier run wrote.
@pytest.mark.parametrize(
    ("case", "command"),
    [
        pytest.param(case, command, marks=[] if (case, command) in READ_FIRST else [CAMPAIGN])
        for case in READ | LISTED
        for command in ("compare", "measure")
    ],
)
def test_hostile_results_end_in_a_sentence_and_nothing_is_lost(
    case: str, command: str, lane: Path
) -> None:
    (lane / "results" / "mine.jpg").write_bytes(b"a picture of my own")
    (READ | LISTED)[case](lane)
    assert fault_of([command, str(lane)]) == ""
    assert (lane / "results" / "mine.jpg").read_bytes() == b"a picture of my own"
    assert (lane / "notes.txt").exists() and (lane / "session.toml").exists()
    assert sorted(path.name for path in lane.parent.iterdir()) == [lane.name]


@pytest.mark.campaign
def test_a_folder_called_like_a_file_of_the_results_keeps_its_contents(lane: Path) -> None:
    (lane / "results" / "shots.csv").unlink()
    (lane / "results" / "shots.csv").mkdir()
    (lane / "results" / "shots.csv" / "mine.txt").write_text("mine", encoding="utf-8")
    assert fault_of(["measure", str(lane)]) == ""
    assert [path.read_text("utf-8") for path in lane.rglob("mine.txt")] == ["mine"]


@pytest.mark.parametrize("columns", [0, pytest.param(1, marks=pytest.mark.campaign)])
@pytest.mark.parametrize("command", ["check", pytest.param("compare", marks=pytest.mark.campaign)])
def test_a_terminal_without_width_is_written_to(command: str, columns: int, lane: Path) -> None:
    assert fault_of([command, str(lane)], columns) == ""


@pytest.mark.parametrize(
    "command",
    [
        pytest.param("measure", marks=pytest.mark.campaign),
        "calibrate",
        pytest.param("vantage", marks=pytest.mark.campaign),
    ],
)
def test_names_beyond_the_glyphs_of_the_letters_raise_no_warning(command: str, lane: Path) -> None:
    text = (lane / "session.toml").read_text(encoding="utf-8")
    (lane / "session.toml").write_text(text.replace("140 mm wheels", "🎾 輪 140"), encoding="utf-8")
    assert fault_of([command, str(lane)]) == ""


def film(path: Path, size: tuple[int, int], frames: int, fps: float = 60.0) -> None:
    rng = np.random.default_rng(2)
    with ClipWriter(path, size, fps) as writer:
        for number in range(frames):
            frame = rng.integers(110, 130, (size[1], size[0], 3), dtype=np.uint8)
            row, column = size[1] // 2, (size[0] // 8 + 9 * number) % (size[0] - 4)
            frame[row : row + 4, column : column + 4] = 230
            writer.write_bgr(frame)


def gap(hours: float) -> Callable[[Path], None]:
    def make(path: Path) -> None:
        # Two gaps, since a box of an MP4 holds six hours at most.
        times = [n / 30 + 1800.0 * hours * ((n > 9) + (n > 19)) for n in range(30)]
        write(path, range(30), times_s=times)

    return make


CLIPS = {
    "one frame": lambda path: film(path, (320, 180), 1),
    "two frames": lambda path: film(path, (320, 180), 2),
    "frames of 16 pixels": lambda path: film(path, (16, 16), 40),
    "frames below 16 pixels": lambda path: film(path, (14, 8), 40),
    "frames of one strip": lambda path: film(path, (2000, 16), 40),
    "frames higher than wide": lambda path: film(path, (16, 1200), 40),
    "a gap of an hour": gap(1.0),
    "a gap of eleven hours": gap(11.0),
    "one frame a second": lambda path: film(path, (320, 180), 20, 1.0),
    "a thousand frames a second": lambda path: film(path, (320, 180), 60, 1000.0),
}


FEW = ("one frame", "a gap of eleven hours")


@pytest.mark.parametrize(
    "case",
    [each if each in FEW else pytest.param(each, marks=pytest.mark.campaign) for each in CLIPS],
)
def test_small_and_odd_clips_are_measured_within_bounds(case: str, lane: Path) -> None:
    """Markers outside of the frame are a sentence; without markers the frames are searched."""
    CLIPS[case](lane / "clips" / "140mm.mp4")
    assert fault_of(["measure", str(lane)]) == ""
    bare = lane / "bare.mp4"
    shutil.copyfile(lane / "clips" / "140mm.mp4", bare)
    assert fault_of(["measure", str(bare)]) == ""


@pytest.mark.long
@pytest.mark.parametrize("seconds", [60, 300])
def test_a_long_clip_in_which_nobody_fires_takes_no_more_memory(seconds: int, lane: Path) -> None:
    """Things that move all the time, and clutter, at 30 frames a second."""
    rng = np.random.default_rng(5)
    ways = rng.uniform((0, 60, -40, -6), (320, 170, 40, 6), (6, 4))
    with ClipWriter(lane / "clips" / "140mm.mp4", (320, 180), 30.0) as writer:
        for number in range(30 * seconds):
            frame = rng.integers(110, 124, (180, 320), dtype=np.uint8)
            for x, y, vx, vy in ways:
                since = number / 30.0
                column = int(x + vx * since + 8 * np.sin(since)) % 316
                row = int(y + vy * since) % 170
                frame[row : row + 4, column : column + 3] = 220
            writer.write_luma_chroma(frame)
    assert fault_of(["measure", str(lane)]) == ""


@pytest.mark.parametrize("name", ["clips/140mm.mp4", "."])
def test_a_name_that_is_not_utf_8_is_refused_in_a_sentence(name: str, lane: Path) -> None:
    odd = os.path.join(os.fsencode(lane.parent), b"fen\xff.mp4")  # noqa: PTH118
    os.rename(os.fsencode(lane / name), odd)  # noqa: PTH104
    assert fault_of(["measure", os.fsdecode(odd)]) == ""
    result = CliRunner().invoke(program, ["measure", os.fsdecode(odd)])
    assert result.exit_code == 2 and "not UTF-8; rename it." in result.stderr


RUN = "import sys; from tracker.cli import main; sys.argv = sys.argv[1:]; main()"


def test_output_to_a_full_device_ends_in_a_sentence(lane: Path) -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-c", RUN, "lobmeter", "check", str(lane)],
            stdout=full, stderr=subprocess.PIPE, encoding="utf-8", check=False,
        )  # fmt: skip
    assert done.returncode == 2
    # What is wrong with the session comes first.
    lines = done.stderr.strip().splitlines()
    assert "cannot be written" in lines[-1] and len(lines) <= 2
    assert all(each.endswith(".") for each in lines)


@pytest.mark.campaign
def test_the_full_session_is_sound_before_it_is_spoilt(lane: Path) -> None:
    assert (lane / "session.toml").read_text(encoding="utf-8") == FULLER
    for command in ("check", "compare", "measure"):
        assert fault_of([command, str(lane)]) == ""
