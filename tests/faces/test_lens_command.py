"""``lobmeter lens`` as a person meets it, on boards drawn in known poses."""

import shutil
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.camera import Camera, rotation_from_vector
from calibration.lens import Board
from tests.faces.test_commands import run
from tracker.session import lens_toml, read_lens
from tracker.video import ClipWriter

SIZE = (640, 360)
CAMERA = Camera(
    np.eye(3),
    np.zeros(3),
    480.0,
    np.array([317.0, 182.0]),
    SIZE,
    np.array([0.06, -0.09, 0.0005, -0.0004, 0.0]),
)
CHECKERBOARD = Board(9, 6, 25.0)
CHARUCO = Board(9, 6, 25.0, 18.75)
CHARUCO_WORDS = ("--board", "charuco:9x6:25:18.75")


@cache
def fine_rays() -> np.ndarray:
    """Twice as fine as the frame, so that edges come out as a sensor averages them."""
    columns, rows = np.meshgrid(np.arange(2 * SIZE[0]), np.arange(2 * SIZE[1]))
    return CAMERA.rays(np.column_stack([columns.ravel(), rows.ravel()]) / 2.0 - 0.25)


def views(board: Board, count: int, seed: int = 4) -> list[np.ndarray]:
    """Draw a board as the camera sees it in poses all over the frame, luma."""
    rng = np.random.default_rng(seed)
    sheet = board.sheet(dots_per_mm=6)
    half = np.array(sheet.picture.shape[::-1]) / sheet.dots_per_mm / 2.0
    rays = fine_rays()
    drawn = []
    while len(drawn) < count:
        turn = rotation_from_vector(rng.uniform(-0.6, 0.6, 3))
        middle = np.array([rng.uniform(-150, 150), rng.uniform(-70, 70), rng.uniform(330, 560)])
        normal = turn[:, 2]
        reach = (middle @ normal) / (rays @ normal)
        place = (reach[:, None] * rays - middle) @ turn[:, :2]
        dots = ((place + half) * sheet.dots_per_mm - 0.5).astype(np.float32)
        mapped = dots.reshape(2 * SIZE[1], 2 * SIZE[0], 2)
        soft = cv2.blur(sheet.picture, (5, 5))
        big = cv2.remap(
            soft, mapped, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=110
        )
        small = cv2.resize(big, SIZE, interpolation=cv2.INTER_AREA).astype(float)
        noisy = 0.75 * small + 25.0 + rng.normal(0.0, 1.5, small.shape)
        drawn.append(np.clip(noisy, 0, 255).astype(np.uint8))
    return drawn


def save(pictures: list[np.ndarray], folder: Path) -> list[str]:
    names = []
    for number, picture in enumerate(pictures):
        path = folder / f"view-{number:02d}.png"
        assert cv2.imwrite(str(path), picture)
        names.append(str(path))
    return names


def assert_true_within_its_uncertainty(path: Path) -> None:
    lens = read_lens(path)
    u = lens.u
    assert abs(np.log(lens.focal_px / CAMERA.focal_px)) < 3.0 * u[0]
    assert u[0] < 0.01
    assert np.all(np.abs(lens.centre_px - CAMERA.centre_px) < 3.0 * u[1:3])
    assert np.all(np.abs(lens.distortion - CAMERA.distortion)[:4] < 3.5 * u[3:7])
    assert lens.size_px == SIZE


@pytest.mark.parametrize(
    ("board", "words"),
    [
        pytest.param(CHECKERBOARD, (), id="checker"),
        pytest.param(CHARUCO, CHARUCO_WORDS, id="charuco", marks=pytest.mark.campaign),
    ],
)
def test_pictures_of_a_board_become_a_lens_file(
    tmp_path: Path, board: Board, words: tuple[str, ...]
) -> None:
    names = save(views(board, 8), tmp_path)
    to = tmp_path / "lens.toml"
    code, shown, err = run(
        "lens", *names, *words, "--device", 'phone "A"', "--zoom", "1x", "--to", str(to)
    )
    assert code == 0, err
    assert_true_within_its_uncertainty(to)
    lens = read_lens(to)
    assert (lens.device, lens.zoom) == ('phone "A"', "1x")
    assert to.read_text(encoding="utf-8") == lens_toml(lens)
    shown = " ".join(shown.split())
    assert f"Frames of 640 x 360: focal length {lens.focal_px:.0f}"[:-1] in shown
    assert "of 8 pictures" in shown
    assert "Photographs often show more" in shown
    assert [path.name for path in tmp_path.iterdir() if path.suffix != ".png"] == ["lens.toml"]


@pytest.fixture(scope="module")
def board_clip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("board") / "board.mp4"
    with ClipWriter(path, SIZE, 30) as writer:
        for picture in views(CHECKERBOARD, 12, seed=9):
            for _ in range(3):
                writer.write_bgr(cv2.cvtColor(picture, cv2.COLOR_GRAY2BGR))
    return path


@pytest.mark.campaign
def test_a_clip_of_a_board_becomes_a_lens_file(board_clip: Path, tmp_path: Path) -> None:
    to = tmp_path / "zoom.toml"
    code, shown, err = run("lens", str(board_clip), "--to", str(to))
    assert code == 0, err
    assert_true_within_its_uncertainty(to)
    assert "of 36 pictures" in shown
    assert "Photographs" not in shown


def test_a_lens_file_that_is_there_stays(board_clip: Path, tmp_path: Path) -> None:
    to = tmp_path / "lens.toml"
    to.write_text("a person's work\n", encoding="utf-8")
    code, _, err = run("lens", str(board_clip), "--to", str(to))
    assert code == 2
    assert err.strip().endswith(
        "lens.toml: is there already and stays as it is; give another name with --to, or move it "
        "away."
    )
    assert to.read_text(encoding="utf-8") == "a person's work\n"


def test_the_board_is_printed_once(tmp_path: Path) -> None:
    to = tmp_path / "board.pdf"
    code, shown, err = run("lens", "--print-board", str(to))
    assert code == 0, err
    assert "100 mm must be 100 mm" in " ".join(shown.split())
    before = to.read_bytes()
    assert before.startswith(b"%PDF")
    code, _, err = run("lens", "--print-board", str(to), "--board", "charuco")
    assert code == 2
    assert "is there already" in err
    assert to.read_bytes() == before


def grey(path: Path, size: tuple[int, int]) -> str:
    assert cv2.imwrite(str(path), np.full(size[::-1], 120, np.uint8))
    return str(path)


@pytest.mark.parametrize(
    ("words", "named"),
    [
        ((), "there is nothing to measure; give a clip or pictures"),
        (("{empty}",), "the board was seen in 0 different places of 1 pictures"),
        (("{empty}", "{other}"), "160 x 120 pixels and the first one 320 x 180"),
        (("{folder}",), "is a folder"),
        (("{folder}/none.png",), "none.png: there is no such file"),
        (("{folder}/none.mp4",), "none.mp4"),
        (("{text}",), "words.png: is no picture that can be read"),
        (("{empty}", "--board", "circles"), '--board: there is no board "circles"; use checkerbo'),
        (("{empty}", "--board", "checkerboard:9x6:25:10"), "--board: a checkerboard has no tags"),
        (
            ("{empty}", "--board", "checkerboard:2x6"),
            "--board: a board of 2 x 6 squares is too small",
        ),
        (("{empty}", "--board", "checkerboard:8x6"), "looks the same after half a turn"),
        (("{empty}", "--board", "checkerboard:9x6:0"), "--board: 0 is no side of a square"),
        (("{empty}", "--board", "charuco:9x6:nan"), '--board: "nan" is no length'),
        (("{empty}", "--board", "charuco:9by6"), "describes no board; write KIND:COLUMNSxROWS"),
        (("{empty}", "--board", "charuco:" + "9" * 4301 + "x6"), "describes no board"),
        (("{empty}", "--board", "charuco:9x6:25:26"), "tags of 26 mm do not fit"),
        (("{empty}", "--print-board", "{folder}/b.pdf"), "printed or measured, not both"),
        (("--print-board", "{folder}/b.png"), "b.png: is no PDF; give a name that ends in .pdf"),
        (
            ("--print-board", "{folder}/b.pdf", "--board", "charuco:19x6"),
            "--print-board: the board of 475",
        ),
        (("--print-board", "{folder}/b.pdf", "--board", "charuco:9x6:inf"), '--board: "inf"'),
        (
            ("--print-board", "{folder}/b.pdf", "--board", "charuco:9x99"),
            "9 x 99 squares is too large; take 50",
        ),
    ],
)
def test_bad_input_is_one_sentence_and_writes_nothing(
    tmp_path: Path, words: tuple[str, ...], named: str
) -> None:
    places = {
        "folder": str(tmp_path),
        "empty": grey(tmp_path / "empty.png", (320, 180)),
        "other": grey(tmp_path / "other.png", (160, 120)),
        "text": str(tmp_path / "words.png"),
    }
    Path(places["text"]).write_text("no picture", encoding="utf-8")
    before = sorted(path.name for path in tmp_path.iterdir())
    to = ("--to", str(tmp_path / "lens.toml"))
    code, _, err = run("lens", *[word.format(**places) for word in words], *to)
    assert code == 2, err
    err = err.strip()
    assert named in err
    assert "\n" not in err
    assert err.endswith(".")
    assert sorted(path.name for path in tmp_path.iterdir()) == before


@pytest.mark.campaign
def test_a_measured_lens_serves_a_session(board_clip: Path, tmp_path: Path) -> None:
    """The sample's camera is another one: its shape fits, and the markers contradict it."""
    sample = Path(__file__).parents[2] / "sample_clips" / "wide"
    folder = tmp_path / "wide"
    shutil.copytree(sample, folder)
    code, _, err = run("lens", str(board_clip), "--to", str(folder / "lens.toml"))
    assert code == 0, err
    text = (folder / "session.toml").read_text(encoding="utf-8")
    text = text.replace("[camera]\n", '[camera]\nlens = "lens.toml"\n', 1)
    (folder / "session.toml").write_text(text, encoding="utf-8")
    code, shown, err = run("calibrate", str(folder))
    assert code == 0, err
    assert "The field of view was not used, because there is a lens." in " ".join(shown.split())
