"""``lobmeter vantage`` as a person sees it: answers, the drawing, and every kind of bad input."""

import shutil
from pathlib import Path

import cv2
import numpy as np
import pytest
from typer.testing import CliRunner

from tests.shared import value_of
from tests.tracker.invented_outings import session
from tracker.cli.program import program
from tracker.report.vantage_frame import FLIGHT
from tracker.report.vantage_plan import CAMERA, DANGER
from tracker.session import read_session
from tracker.workflow import vantage as judging

RUN = CliRunner()
CAUTION = "Flying balls and spinning wheels hurt"
PLANNED = """[release]
height_m = 0.8
angle_deg = 38.0

[camera]
position_m = [17.0, -32.0, 1.6]
field_of_view_deg = 70.0

[planned]
exit_speed_mps = 21.0
"""


def said(*arguments: str, code: int = 0, columns: int = 200) -> str:
    result = RUN.invoke(program, ("vantage", *arguments), env={"COLUMNS": str(columns)})
    assert result.exit_code == code, result.output
    return result.output + (result.stderr if code else "")


def opened(path: Path) -> np.ndarray:
    image = cv2.imdecode(np.fromfile(path, np.uint8), cv2.IMREAD_COLOR)
    assert image is not None
    return image


def near(image: np.ndarray, colour: str, reach: int = 24) -> int:
    wanted = [int(colour[at : at + 2], 16) for at in (1, 3, 5)]
    return int(np.all(np.abs(image[:, :, ::-1].astype(int) - wanted) <= reach, axis=2).sum())


def written(folder: Path, text: str = PLANNED) -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "session.toml").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture
def lane(tmp_path: Path) -> Path:
    return written(tmp_path / "lane")


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> str:
    """What is printed of `PLANNED` without any option."""
    return value_of(
        tmp_path_factory,
        "vantage-plain",
        lambda: said(str(written(tmp_path_factory.mktemp("plain") / "lane"))),
    )


@pytest.fixture
def undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Drawing takes longer than judging, and these tests look at no drawing."""
    monkeypatch.setattr(judging, "vantage_picture", lambda _: b"drawing")


@pytest.fixture
def outing(tmp_path: Path) -> Path:
    folder = session(tmp_path / "lane", {"140 mm wheels": 1})
    shutil.rmtree(folder / "results")
    return folder


def test_without_a_folder_a_usual_phone_at_a_usual_place_is_judged() -> None:
    text = said(columns=80)
    lines = text.rstrip().splitlines()
    assert lines[0].startswith("Good place: every expected shot stays in view")
    assert len(lines) <= 25
    for words in ("30.0 m to the right", "Assumed: [planned] frame_px [1920, 1080], fps 60",
                  "Best single change:", CAUTION):  # fmt: skip
        assert words in text, words
    assert "Picture:" not in text


@pytest.mark.campaign
def test_a_planned_session_says_what_can_be_had(lane: Path) -> None:
    text = said(str(lane))
    for words in (
        "32.0 m to the right of the firing line",
        "One shot, ± standard uncertainty: exit speed 21.00 ±0.",
        "Expected: 21.0 ±1",
        "shutter 1/31",
        "70° wide",
        "eye protection",
        CAUTION,
    ):
        assert words in text, words
    for stated in ("exit_speed_mps", "angle_deg 3", "position_m", "field_of_view", "height_m"):
        assert stated not in text, stated
    image = opened(lane / "results" / "vantage.png")
    assert image.shape[1] > 1500
    for colour in (FLIGHT, CAMERA):
        assert near(image, colour) > 100
    # Both halves are drawn: the ball in the frame above, the landing in the field below.
    height = image.shape[0]
    assert near(image[: height // 2], FLIGHT) > 100
    assert near(image[height // 2 :], FLIGHT) > 100


@pytest.mark.campaign
@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize(
    "fields",
    [
        {
            "frame_px = [1280, 720]": "1280 x 720",
            "fps = 30.0": "30 frames a second",
            "aim_m = [17.0, 0.0, 2.0]": "aim 0.7° up, heading 90.0°",
            "exit_speed_u_mps = 2.0": "21.0 ±2.0 m/s",
            "launch_angle_u_deg = 3.0": "38 ±3°",
            "clear_m = 33.0": "32.0 m from the line of fire, nearer than 33 m",
            "shutter_s = 0.02": "1/50 s smears the ball",
        },
        {"contrast_luma = 15.0": "stands out by only"},
        {"noise_luma = 12.0": "stands out by only"},
    ],
    ids=["many", "contrast", "noise"],
)
def test_every_field_that_is_planned_counts(
    plain: str, fields: dict[str, str], tmp_path: Path
) -> None:
    text = said(str(written(tmp_path / "other", PLANNED + "\n".join(fields) + "\n")))
    for field, words in fields.items():
        assert words in text, (field, text)
        assert words not in plain, field


def test_a_planned_session_becomes_the_measured_one(lane: Path) -> None:
    clip = '[[setup]]\nname = "wheels"\n[[clip]]\nfile = "a.mp4"\nsetup = "wheels"\n'
    written(lane, PLANNED + clip)
    (lane / "a.mp4").write_bytes(b"film")
    assert read_session(lane).planned.exit_speed_mps == 21.0


@pytest.mark.usefixtures("undrawn")
def test_detail_adds_the_tables(plain: str, lane: Path) -> None:
    text = said(str(lane), "--detail")
    for words in ("expected ± u", "95 % within", "release", "apex", "landing", "as it is",
                  "makes most of the variance", "Next to no effect", "The camera is aimed at",
                  "drawn sessions"):  # fmt: skip
        assert words in text, words
        assert words not in plain or words in ("release", "apex", "landing"), words


@pytest.mark.long
def test_the_same_stand_gives_the_same_picture(lane: Path, tmp_path: Path) -> None:
    paths = [tmp_path / name for name in ("a.png", "b.png")]
    for path in paths:
        said(str(lane), "--to", str(path))
    assert paths[0].read_bytes() == paths[1].read_bytes()
    assert not (lane / "results").exists()


@pytest.mark.campaign
@pytest.mark.usefixtures("undrawn")
def test_a_stand_near_the_line_is_warned_of(plain: str, lane: Path) -> None:
    text = said(str(lane), "--position", "17,-9,1.6")
    assert text.startswith("Unsuitable place: ")
    assert "9.0 m from the line of fire, nearer than 10 m" in text
    assert "of the expected shot out of view" in text
    assert "from the line of fire" not in plain


@pytest.mark.campaign
def test_a_search_finds_a_place(lane: Path, tmp_path: Path) -> None:
    picture = tmp_path / "found.png"
    box = ("--search", "10:24,-40:-28,1.6")
    text = said(str(lane), *box, "--of", "exit_speed_mps", "--to", str(picture))
    assert "Best place found: [" in text
    assert ", 1.6] m" in text
    assert "Best single change" in text and "(exit speed ±" in text
    assert near(opened(picture), DANGER, 60) > 50


@pytest.mark.usefixtures("undrawn")
@pytest.mark.long
def test_the_launcher_model_gives_the_speed_of_a_session_not_filmed_yet(outing: Path) -> None:
    shutil.rmtree(outing / "clips")
    file = outing / "session.toml"
    text = file.read_text(encoding="utf-8").replace(
        "field_of_view_deg = 69.0", "field_of_view_deg = 69.0\nposition_m = [17.0, -32.0, 1.5]"
    )
    more = '\n[[marker]]\nname = "20 m cone"\nground_m = [20.0, 0.0, 0.0]\n'
    file.write_text(text + more, encoding="utf-8")
    shown = said(str(outing))
    assert '(the launcher model, "140 mm wheels")' in shown
    assert "1920 x 1080, 60 frames a second, 69° wide" in shown
    assert "42.0 ±1.0°" in shown
    assert "[[marker]]" not in shown
    assert [path.name for path in (outing / "results").iterdir()] == ["vantage.png"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--position", "17,-32"), '--position: "17,-32" is not three numbers'),
        (("--position", "17,-32,up"), '"17,-32,up" is not three numbers'),
        (("--position", "17,-32,-1"), "cannot stand below the ground"),
        (("--position", "9999,-32,1"), "9999 is out of range"),
        (("--position", "17,-32,inf"), "is not three numbers"),
        (("--of", "colour"), '"colour" is no figure to judge a place by'),
        (("--to", "drawing.jpg"), "end it in .png"),
        (("--position", "17,-32,1", "--search", "0:40,-40:-20,1:2"), "given or searched for"),
        (("--search", "0:40,-40:-20"), "is not three ranges"),
        (("--search", "0:40,-40:-20,low"), '"low" is no range'),
        (("--search", "0:40,-40:-20,1:2:3"), '"1:2:3" is no range'),
        (("--search", "0:40,-40:-20,-1:2"), "cannot stand below the ground"),
        (("--search", "0:40,-5:5,1:2"), "clear of the line of fire"),
        (("no such folder",), "there is no such folder"),
    ],
)
def test_faults_are_sentences_and_exit_with_two(arguments: tuple[str, ...], words: str) -> None:
    text = said(*arguments, code=2)
    assert words in text, text
    assert all(line.endswith(".") for line in text.strip().splitlines())
    assert "Traceback" not in text


@pytest.mark.parametrize(
    ("field", "words"),
    [
        ("fps = 0", "[planned], fps: 0 is out of range"),
        ('frame_px = "big"', '[planned], frame_px: "big" is not 2 numbers'),
        ("frame_px = [8, 8]", "8 is out of range"),
        ('shutter_s = "1/1000"', "[planned], shutter_s"),
        ("exit_speed = 3.0", "did you mean exit_speed_mps?"),
        ('setup = "none"', '"none" is the name of no [[setup]]'),
        ("aim_m = [17.0, -99.0, 1.0]", "the camera would see 0 of the 4 markers"),
        ("[[marker]]\nname = 'a'\nground_m = [10, 0, 0]", "1 of the 1 markers, and 2 are needed"),
    ],
)
def test_faults_of_the_plan_name_the_field(lane: Path, field: str, words: str) -> None:
    text = said(str(written(lane, PLANNED + field + "\n")), code=2)
    assert words in text, text


def test_all_faults_of_the_options_come_at_once() -> None:
    text = said("--position", "1,2", "--search", "low", "--to", "a.jpg", code=2)
    options = dict.fromkeys(line.split(":")[0] for line in text.strip().splitlines())
    assert list(options) == ["--position", "--search", "--search, --position", "--to"]


def test_a_picture_that_is_there_stays(lane: Path, tmp_path: Path) -> None:
    there = tmp_path / "stand.png"
    there.write_bytes(b"mine")
    assert "is there already" in said(str(lane), "--to", str(there), code=2)
    assert there.read_bytes() == b"mine"


def test_a_setup_whose_tables_say_too_little_is_a_fault(lane: Path) -> None:
    text = PLANNED.replace("exit_speed_mps = 21.0", "")
    setup = '[[setup]]\nname = "wheels"\n[setup.wheel]\ndiameter_mm = 140.0\n'
    assert '[[setup]] "wheels"' in said(str(written(lane, text + setup)), code=2)
