"""``lobmeter vantage`` as a person sees it: answers, the drawing, and every kind of bad input."""

import shutil
from pathlib import Path

import cv2
import numpy as np
import pytest
from typer.testing import CliRunner

from tests.tracker.invented_outings import session
from tracker.cli import program
from tracker.report.vantage_picture import CAMERA, DANGER, FLIGHT

RUN = CliRunner()
OPTIONS = ("--position", "17,-32,1.6", "--view", "70", "--speed", "21", "--angle", "38")
CAUTION = "Flying balls and spinning wheels hurt"


def said(*arguments: str, code: int = 0) -> str:
    result = RUN.invoke(program, ("vantage", *arguments), env={"COLUMNS": "200"})
    assert result.exit_code == code, result.output
    return result.output + (result.stderr if code else "")


def opened(path: Path) -> np.ndarray:
    image = cv2.imdecode(np.fromfile(path, np.uint8), cv2.IMREAD_COLOR)
    assert image is not None
    return image


def near(image: np.ndarray, colour: str, reach: int = 24) -> int:
    wanted = [int(colour[at : at + 2], 16) for at in (1, 3, 5)]
    return int(np.all(np.abs(image[:, :, ::-1].astype(int) - wanted) <= reach, axis=2).sum())


@pytest.fixture
def outing(tmp_path: Path) -> Path:
    folder = session(tmp_path / "lane", {"140 mm wheels": 1})
    shutil.rmtree(folder / "results")
    return folder


def test_options_alone_say_what_can_be_had(tmp_path: Path) -> None:
    picture = tmp_path / "stand.png"
    text = said(*OPTIONS, "--to", str(picture))
    for words in (
        "32.0 m to the right of the firing line",
        "expected ± u",
        "release",
        "apex",
        "landing",
        "of every expected shot stay in view",
        "no longer than 1/31",
        "makes most of the variance",
        "as it is",
        "Taken for granted:",
        "50 of 255 luma steps",
        "eye protection",
        CAUTION,
    ):
        assert words in text, words
    image = opened(picture)
    assert image.shape[1] > 1500
    for colour in (FLIGHT, CAMERA):
        assert near(image, colour) > 100
    # Both halves are drawn: the ball in the frame above, the landing in the field below.
    height = image.shape[0]
    assert near(image[: height // 2], FLIGHT) > 100
    assert near(image[height // 2 :], FLIGHT) > 100


def test_the_same_stand_gives_the_same_picture(tmp_path: Path) -> None:
    paths = [tmp_path / name for name in ("a.png", "b.png")]
    for path in paths:
        said(*OPTIONS, "--to", str(path))
    assert paths[0].read_bytes() == paths[1].read_bytes()


def test_a_stand_near_the_line_is_warned_of() -> None:
    text = said("--position", "17,-9,1.6", *OPTIONS[2:])
    assert "m from the line of fire, nearer than 10 m" in text
    assert "Out of view" in text
    assert "from the line of fire" not in said(*OPTIONS)


def test_a_search_finds_a_place(tmp_path: Path) -> None:
    picture = tmp_path / "found.png"
    text = said(
        *OPTIONS[2:], "--search", "10:24,-40:-28,1.6", "--clear", "15", "--to", str(picture)
    )
    assert text.startswith("Best place found at [")
    assert ", 1.6] m" in text
    assert "stay in view" in text
    assert near(opened(picture), DANGER, 60) > 50


def test_a_session_that_was_not_filmed_yet_is_enough(outing: Path) -> None:
    shutil.rmtree(outing / "clips")
    file = outing / "session.toml"
    text = file.read_text(encoding="utf-8").replace(
        "field_of_view_deg = 69.0", "field_of_view_deg = 69.0\nposition_m = [17.0, -32.0, 1.5]"
    )
    more = '\n[[marker]]\nname = "20 m cone"\nground_m = [20.0, 0.0, 0.0]\n'
    file.write_text(text + more, encoding="utf-8")
    told = said(str(outing))
    assert 'Exit speed from the launcher model, of "140 mm wheels"' in told
    assert "69° wide, 1920 x 1080, 60 frames a second" in told
    assert "42.0 ±1.0°" in told
    assert "Markers taken" not in told
    assert [path.name for path in (outing / "results").iterdir()] == ["vantage.png"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "nothing says where the camera is to stand"),
        (("--position", "17,-32,1.6"), "--speed: is needed where no session"),
        (("--position", "17,-32,1.6", "--speed", "20"), "--angle: is needed"),
        (("--position", "17,-32", *OPTIONS[2:]), '"17,-32" is not 3 numbers'),
        (("--position", "17,-32,up", *OPTIONS[2:]), "--position"),
        (("--position", "17,-32,-1", *OPTIONS[2:]), "cannot stand below the ground"),
        (("--position", "9999,-32,1", *OPTIONS[2:]), "9999 is out of range"),
        ((*OPTIONS, "--size", "big"), '"big" is no size of a frame'),
        ((*OPTIONS, "--size", "8x8"), "out of range"),
        ((*OPTIONS, "--fps", "0"), "--fps: 0 is out of range"),
        ((*OPTIONS, "--shutter", "fast"), '"fast" is no shutter time'),
        ((*OPTIONS, "--shutter", "1/0"), "--shutter"),
        ((*OPTIONS, "--marker", "10"), '--marker: "10" is not 2 or 3 numbers'),
        ((*OPTIONS, "--marker", "10,0"), "1 of the 1 markers, and 2 are needed"),
        ((*OPTIONS, "--wind", "1"), "--wind"),
        ((*OPTIONS, "--ball", "melon"), "'melon' is not in the ball table"),
        ((*OPTIONS, "--of", "colour"), "'colour' is not foretold"),
        ((*OPTIONS, "--to", "drawing.jpg"), "end it in .png"),
        ((*OPTIONS, "--search", "0:40,-40:-20,1:2"), "a place is given or searched for"),
        ((*OPTIONS[2:], "--search", "0:40,-40:-20"), "is not three ranges"),
        ((*OPTIONS[2:], "--search", "0:40,-40:-20,low"), '"low" is no range'),
        ((*OPTIONS[2:], "--search", "0:40,-5:5,1:2"), "clear of the firing line"),
        ((*OPTIONS, "--aim", "17,-99,1"), "the camera would see 0 of the 4 markers"),
        ((*OPTIONS, "--setup", "none", "--lens", "lens.toml"), "both tell how wide"),
        (("no such folder",), "there is no such folder"),
    ],
)
def test_faults_are_sentences_and_exit_with_two(arguments: tuple[str, ...], words: str) -> None:
    text = said(*arguments, code=2)
    assert words in text, text
    assert all(line.endswith(".") for line in text.strip().splitlines())
    assert "Traceback" not in text


def test_all_faults_of_the_options_are_told_at_once() -> None:
    text = said(*OPTIONS, "--fps", "0", "--size", "big", "--wind", "calm", code=2)
    told = dict.fromkeys(line.split(":")[0] for line in text.strip().splitlines())
    assert list(told) == [
        "--fps",
        "--size",
        "--wind",
    ]


def test_a_picture_that_is_there_stays(tmp_path: Path) -> None:
    there = tmp_path / "stand.png"
    there.write_bytes(b"mine")
    assert "is there already" in said(*OPTIONS, "--to", str(there), code=2)
    assert there.read_bytes() == b"mine"


def test_a_setup_that_is_not_there_is_told(outing: Path) -> None:
    text = said(str(outing), "--position", "17,-32,1.6", "--setup", "none", code=2)
    assert '"none" is the name of no setup' in text
    assert '"140 mm wheels"' in text
