"""``lobmeter calibrate`` as a person meets it."""

import re
import shutil
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.lens import Lens
from tests.faces.test_commands import BAD, clip, run, session  # noqa: F401
from tests.fen_lane import SESSION
from tracker.session import lens_toml, read_session

SAMPLE = Path(__file__).parents[2] / "sample_clips" / "wide"


def a_lens(size: tuple[int, int]) -> str:
    spread = np.diag([0.002, 2.0, 2.0, 0.003, 0.006, 0.0003, 0.0003, 1e-6]) ** 2
    middle = ((size[0] - 1) / 2, (size[1] - 1) / 2)
    return lens_toml(Lens(0.9375 * size[0], middle, np.zeros(5), spread, size, "phone", "1x"))


@pytest.fixture(scope="module")
def calibrated(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    folder = tmp_path_factory.mktemp("outing") / "wide"
    shutil.copytree(SAMPLE, folder, ignore=shutil.ignore_patterns("results"))
    (folder / "results").mkdir(exist_ok=True)
    (folder / "results" / "shots.csv").write_text("an earlier run\n", encoding="utf-8")
    code, shown, errors = run("calibrate", str(folder))
    assert code == 0, errors
    assert errors == ""
    return folder, " ".join(shown.split())


def test_table_camera_verdict_weakness_and_what_it_allows(calibrated: tuple[Path, str]) -> None:
    folder, shown = calibrated
    assert re.search(
        r"140mm\.mp4: The observations agree within their uncertainties: .*? of freedom\)\. "
        r"A landing at \d+ m: ±\d\.\d\d m along, ±\d\.\d\d m",
        shown,
    )
    markers = read_session(folder).markers
    assert len(markers) >= 4
    for marker in markers:
        row = rf"{marker.name} [+-]\d\.\d\d [+-]\d\.\d\d \d+\.\d \d\.\d\d \d\.\d\d \d\.\d"
        assert re.search(row, shown), marker.name
    place = read_session(folder).camera.position_m
    assert place is not None
    found = re.search(r"Camera at along (\S+) ±\S+ m, across (\S+) ±\S+ m, up", shown)
    assert found is not None
    assert [float(found[1]), float(found[2])] == pytest.approx(place[:2], abs=0.4)
    for part in (
        "It looks by heading ",
        "The camera leaves the ",
        "What else would help: - ",
        "standard uncertainties.",
    ):
        assert part in shown


def test_the_picture_lies_beside_earlier_results(calibrated: tuple[Path, str]) -> None:
    folder, shown = calibrated
    results = folder / "results"
    assert sorted(path.name for path in results.iterdir()) == [
        "140mm-calibration.jpg",
        "shots.csv",
    ]
    assert (results / "shots.csv").read_text(encoding="utf-8") == "an earlier run\n"
    assert "140mm-calibration.jpg" in shown.replace(" ", "")
    image = cv2.imread(str(results / "140mm-calibration.jpg"))
    assert image is not None
    assert image.shape[1] == 1920
    assert image.shape[0] > 1080 + 300


@pytest.mark.parametrize("case", BAD)
def test_bad_input_is_a_sentence_and_nothing_is_written(session: Path, case: str) -> None:  # noqa: F811
    spoil, where, what = BAD[case]
    spoil(session)
    code, _, errors = run("calibrate", str(session))
    assert code == 2
    assert any(where in one and what in one for one in errors.strip().splitlines()), errors
    assert [path.name for path in (session / "results").iterdir()] == ["shots.csv"]


@pytest.mark.parametrize("command", ["calibrate", "check", "measure"])
def test_a_lens_of_another_shape_is_one_sentence(session: Path, command: str) -> None:  # noqa: F811
    text = SESSION.replace("[camera]\n", '[camera]\nlens = "lens.toml"\n')
    (session / "session.toml").write_text(text, encoding="utf-8")
    (session / "lens.toml").write_text(a_lens((1440, 1080)), encoding="utf-8")
    code, _, errors = run(command, str(session))
    assert code == 2
    errors = errors.strip()
    assert "\n" not in errors
    assert errors.startswith(
        "session.toml, [camera], lens: the lens was measured on frames of 1440"
    )
    assert "320 x 180 have another shape; measure the lens on a clip of the same shape" in errors


def test_a_lens_of_the_same_shape_is_scaled(session: Path) -> None:  # noqa: F811
    text = SESSION.replace("[camera]\n", '[camera]\nlens = "lens.toml"\n')
    (session / "session.toml").write_text(text, encoding="utf-8")
    (session / "lens.toml").write_text(a_lens((1920, 1080)), encoding="utf-8")
    code, shown, errors = run("calibrate", str(session))
    assert code == 0, errors
    found = re.search(r"focal length (\S+) ±(\S+) px", " ".join(shown.split()))
    assert found is not None
    assert float(found[1]) == pytest.approx(0.9375 * 320, abs=3 * 0.002 * 300)
    assert float(found[2]) < 0.02 * 300
    assert "no lens and no field of view" not in shown.casefold()
