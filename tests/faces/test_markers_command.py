"""``lobmeter markers`` as a person meets it."""

import math
import re
import shutil
import tomllib
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.camera import Camera
from calibration.markers import Marker
from tests.calibration.test_markers_found import _scene
from tests.faces.test_commands import BAD, clip, run, session  # noqa: F401
from tracker.report.look import DOTS_PER_INCH
from tracker.report.markers_picture import RIM_INCHES, ROW_INCHES
from tracker.session import read_session
from tracker.video import ClipWriter

TAG_NUMBER, TAG_SIDE = 7, 64
TAG_CORNER = (200, 600)
UNPICKED = "20 m"
OFF, OFF_PX = "40 m", 9.0

HEAD = """\
name = "Fen Lane"

[release]
height_m = 0.8

[camera]
position_m = [20.0, -30.0, 1.7]
level = true

[[setup]]
name = "140 mm wheels"

[[clip]]
file = "140mm.mp4"
setup = "140 mm wheels"
"""


def a_marker(name: str, along: float, pixel: tuple[float, float] | None) -> str:
    text = f'\n[[marker]]\nname = "{name}"\nground_m = [{along}, 0.0, 0.0]\n'
    return text if pixel is None else f"{text}pixel = [{pixel[0]:.2f}, {pixel[1]:.2f}]\n"


def a_tag() -> np.ndarray:
    tags = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    inner = cv2.aruco.generateImageMarker(tags, TAG_NUMBER, TAG_SIDE)
    rim = cv2.copyMakeBorder(inner, 12, 12, 12, 12, cv2.BORDER_CONSTANT, value=255)
    return cv2.cvtColor(rim, cv2.COLOR_GRAY2BGR)


@pytest.fixture(scope="module")
def scene(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Camera, list[Marker]]:
    """A clip of five orange cones and a tag whose true pixels are known."""
    picture, camera, markers = _scene(np.random.default_rng(4), (30, 110, 235))
    tag = a_tag()
    left, top = TAG_CORNER
    picture[top - 12 : top - 12 + len(tag), left - 12 : left - 12 + len(tag)] = tag
    path = tmp_path_factory.mktemp("scene") / "140mm.mp4"
    with ClipWriter(path, (1280, 720), 60) as writer:
        for _ in range(3):
            writer.write_bgr(picture)
    return path, camera, markers


def truth(scene: tuple[Path, Camera, list[Marker]]) -> dict[str, tuple[float, float]]:
    _, camera, markers = scene
    pixels = camera.project([marker.ground_m for marker in markers])
    return {
        marker.name: (float(pixel[0]), float(pixel[1]))
        for marker, pixel in zip(markers, pixels, strict=True)
    }


@pytest.fixture
def field(tmp_path: Path, scene: tuple[Path, Camera, list[Marker]]) -> Path:
    """A session of that clip: one cone not picked, one picked beside its place."""
    shutil.copyfile(scene[0], tmp_path / "140mm.mp4")
    text = HEAD
    for marker in scene[2]:
        column, row = truth(scene)[marker.name]
        shift = OFF_PX if marker.name == OFF else 0.0
        pick = None if marker.name == UNPICKED else (column + shift, row)
        text += a_marker(marker.name, float(marker.ground_m[0]), pick)
    (tmp_path / "session.toml").write_text(text, encoding="utf-8")
    return tmp_path


def pasted(shown: str) -> dict[str, tuple[float, float, float]]:
    """Return column, row and uncertainty by marker from the lines that are to be pasted."""
    found = {}
    for block in re.finditer(r'^# "(.+)"\n(pixel = .+\npixel_u = .+)$', shown, re.MULTILINE):
        values = tomllib.loads(block[2])
        found[block[1]] = (*values["pixel"], values["pixel_u"])
    return found


def test_markers_are_proposed_where_they_are_and_the_session_stays(
    field: Path, scene: tuple[Path, Camera, list[Marker]]
) -> None:
    before = (field / "session.toml").read_bytes()
    code, shown, err = run("markers", str(field))
    assert code == 0, err
    assert (field / "session.toml").read_bytes() == before
    found = pasted(shown)
    assert list(found) == [marker.name for marker in scene[2]]
    for name, (column, row, u) in found.items():
        assert math.dist((column, row), truth(scene)[name]) < 1.2, name
        assert 0.2 < u < 1.0
    picks = {marker.name: marker.pixel for marker in read_session(field).markers}
    for name, (column, row, _) in found.items():
        line = next(one for one in shown.splitlines() if one.strip().startswith(name))
        pick = picks[name]
        if pick is None:
            assert "not picked" in line
        else:
            away = float(line.split()[-2])
            assert away == pytest.approx(math.dist(pick, (column, row)), abs=0.02)


@pytest.mark.campaign
@pytest.mark.campaign
def test_a_pick_beside_its_marker_is_reported_and_the_others_are_not(field: Path) -> None:
    _, shown, _ = run("markers", str(field))
    shown = " ".join(shown.split())
    assert re.search(rf'"{OFF}" is proposed \d+\.\d px from where it was picked', shown)
    assert shown.count("from where it was picked") == 1
    assert "session.toml has not been changed" in shown


@pytest.mark.campaign
def test_the_lines_make_a_session_that_calibrates_better(field: Path) -> None:
    _, shown, _ = run("markers", str(field))
    text = HEAD
    for marker in read_session(field).markers:
        column, row, _ = pasted(shown)[marker.name]
        text += a_marker(marker.name, marker.ground_m[0], (column, row))
    (field / "session.toml").write_text(text, encoding="utf-8")
    code, shown, err = run("calibrate", str(field))
    assert code == 0, err
    assert "The observations agree within" in " ".join(shown.split())


@pytest.mark.campaign
def test_the_picture_rings_each_proposal_beside_earlier_results(field: Path) -> None:
    (field / "results").mkdir()
    (field / "results" / "shots.csv").write_text("an earlier run\n", encoding="utf-8")
    code, _, err = run("markers", str(field))
    assert code == 0, err
    names = sorted(path.name for path in (field / "results").iterdir())
    assert names == ["140mm-markers.jpg", "shots.csv"]
    image = cv2.imread(str(field / "results" / "140mm-markers.jpg"))
    assert image is not None
    assert image.shape[1] == 1920
    # The rings' colour, in blue, green, red: in the scene and in each of the close-ups.
    ring = np.abs(image.astype(int) - (0, 176, 255)).max(axis=2) < 40
    below = round(image.shape[0] - (ROW_INCHES + RIM_INCHES) * DOTS_PER_INCH)
    # Mostly sky and grass are left out: the scene is a strip.
    assert 200 < below < 800
    assert ring[:below].sum() > 5 * 100
    close = ring[below + 30 : below + 330]
    for place in range(5):
        assert close[:, place * 316 : (place + 1) * 316].sum() > 50
    assert close[:, 5 * 316 :].sum() == 0


@pytest.mark.campaign
def test_a_tag_is_found_by_the_number_in_its_name(field: Path) -> None:
    text = (field / "session.toml").read_text(encoding="utf-8") + a_marker("Tag 7", 21.0, None)
    (field / "session.toml").write_text(text, encoding="utf-8")
    code, shown, err = run("markers", str(field), "--tags")
    assert code == 0, err
    column, row, _ = pasted(shown)["Tag 7"]
    # The middle of the square from its first pixel to its last.
    middle = [corner + (TAG_SIDE - 1) / 2 for corner in TAG_CORNER]
    assert [column, row] == pytest.approx(middle, abs=0.6)
    assert UNPICKED in pasted(shown)


@pytest.mark.parametrize(
    ("words", "added", "where", "what"),
    [
        (["--tags"], "", "session.toml, [[marker]]", "no marker is named after its tag"),
        (
            ["--tags"],
            a_marker("tag 7, near", 5.0, None) + a_marker("tag 7, far", 35.0, None),
            '"tag 7, far"',
            'names tag 7, as "tag 7, near" does',
        ),
    ],
)
def test_a_wish_that_cannot_be_met_is_one_sentence(
    field: Path, words: list[str], added: str, where: str, what: str
) -> None:
    text = (field / "session.toml").read_text(encoding="utf-8") + added
    (field / "session.toml").write_text(text, encoding="utf-8")
    code, _, err = run("markers", str(field), *words)
    assert code == 2
    assert "\n" not in err.strip()
    assert where in err
    assert what in err
    assert not (field / "results").exists()


def unpicked(field: Path) -> str:
    text = re.sub(r"\npixel = .*", "", (field / "session.toml").read_text(encoding="utf-8"))
    (field / "session.toml").write_text(text, encoding="utf-8")
    return text


@pytest.mark.campaign
def test_cones_are_found_before_any_is_picked(
    field: Path, scene: tuple[Path, Camera, list[Marker]]
) -> None:
    text = unpicked(field).replace("level = true", "field_of_view_deg = 73.3\nlevel = true")
    (field / "session.toml").write_text(text, encoding="utf-8")
    code, shown, faults = run("markers", str(field))
    assert code == 0, faults
    found = pasted(shown)
    assert list(found) == [marker.name for marker in scene[2]]
    for name, (column, row, _) in found.items():
        assert math.dist((column, row), truth(scene)[name]) < 1.2, name


def test_nothing_picked_and_no_position_is_one_sentence(field: Path) -> None:
    text = re.sub(r"\nposition_m = .*", "", unpicked(field))
    (field / "session.toml").write_text(text, encoding="utf-8")
    code, _, err = run("markers", str(field))
    assert code == 2
    assert "\n" not in err.strip()
    assert err.startswith("session.toml, [[marker]], for 140mm.mp4: no marker has a pixel")
    assert (field / "session.toml").read_text(encoding="utf-8") == text


def test_a_field_without_cones_proposes_nothing(session: Path) -> None:  # noqa: F811
    before = (session / "session.toml").read_bytes()
    code, shown, err = run("markers", str(session))
    assert code == 0, err
    assert shown.count("not found") == 3 + 1
    assert "\npixel =" not in shown
    assert (session / "session.toml").read_bytes() == before
    assert (session / "results" / "140mm-markers.jpg").stat().st_size > 0


@pytest.mark.parametrize("case", [case for case in BAD if case != "markers not picked"])
def test_bad_input_is_a_sentence_and_nothing_is_written(session: Path, case: str) -> None:  # noqa: F811
    spoil, where, what = BAD[case]
    spoil(session)
    code, _, err = run("markers", str(session))
    assert code == 2
    assert any(where in one and what in one for one in err.strip().splitlines()), err
    assert [path.name for path in (session / "results").iterdir()] == ["shots.csv"]
