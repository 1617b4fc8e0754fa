"""Sample clips with every marker taken away, measured from their frames to the rows of results."""

import csv
import json
import re
import shutil
from pathlib import Path

import pytest

from tests.shared import value_of
from tests.tracker.test_sample_clips import SAMPLES
from tests.tracker.thrown_clip import Roll, session
from tracker.records import Quality, ReasonCode
from tracker.workflow.measure import measure_session
from tracker.workflow.measured import SessionResult


def stripped(name: str, to: Path) -> Path:
    """A copy of a sample session without a marker and without the camera's place."""
    folder = to / name
    shutil.copytree(SAMPLES / name, folder)
    text = (folder / "session.toml").read_text(encoding="utf-8")
    text = re.sub(r"\[\[marker\]\]\n(?:[^\[\n].*\n)+\n?", "", text)
    text = re.sub(r"position_.*\n", "", text)
    assert "marker" not in text and "field_of_view_deg" in text
    (folder / "session.toml").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def alone(tmp_path_factory: pytest.TempPathFactory) -> SessionResult:
    """A video file beside which nothing lies, measured."""

    def measure() -> SessionResult:
        video = tmp_path_factory.mktemp("field") / "evening.mp4"
        shutil.copyfile(next((SAMPLES / "close" / "clips").glob("*.mp4")), video)
        return measure_session(video)

    return value_of(tmp_path_factory, "close-alone", measure)


def test_a_video_alone_gives_its_shot_with_an_uncertainty_that_holds(alone: SessionResult) -> None:
    truth = json.loads((SAMPLES / "close" / "truth.json").read_text(encoding="utf-8"))
    (true,) = truth["clips"][0]["shots"]
    (shot,) = alone.shots
    assert abs(shot.release_s - true["release_s"]) < 0.2
    for name, unit in (("exit_speed", "mps"), ("launch_angle", "deg"), ("carry", "m")):
        value, u = getattr(shot, f"{name}_{unit}"), getattr(shot, f"{name}_u_{unit}")
        assert abs(value - true[f"{name}_{unit}"]) < 3.0 * u
    assert shot.exit_speed_u_mps is not None and shot.exit_speed_mps is not None
    assert 0.01 < shot.exit_speed_u_mps / shot.exit_speed_mps < 0.15
    assert shot.frames_seen > 60


def test_its_row_says_what_the_scale_is(alone: SessionResult) -> None:
    (shot,) = alone.shots
    assert shot.quality is Quality.CHECK
    codes = [reason.code for reason in shot.reasons]
    assert codes[:2] == [ReasonCode.GRAVITY_IS_SCALE, ReasonCode.TAPE_ONE_DISTANCE]
    assert not shot.landing_seen and codes.count(ReasonCode.LANDING_NOT_SEEN) == 1
    assert any("tennis" in note for note in alone.clips[0].notes)


def test_its_results_lie_beside_it(alone: SessionResult) -> None:
    assert alone.folder.name == "evening-results"
    names = sorted(path.name for path in alone.folder.iterdir())
    pictures = ["evening-shot-1.jpg"]
    assert set(names) == {
        *pictures, "README.txt", "digests.json", "shots.csv", "shots.json", "tracks.csv",
    }  # fmt: skip
    with (alone.folder / "shots.csv").open(encoding="utf-8", newline="") as file:
        (row,) = csv.DictReader(file)
    assert row["clip"] == "evening.mp4" and row["quality"] == "check"


@pytest.mark.long
def test_a_clip_without_shots_has_none_without_markers_either(tmp_path: Path) -> None:
    result = measure_session(stripped("quiet", tmp_path))
    assert result.shots == ()
    assert any("gravity" in note for note in result.clips[0].notes)


@pytest.mark.campaign
def test_a_ball_that_rolls_is_no_shot_without_markers_either(tmp_path: Path) -> None:
    folder = session(tmp_path / "fen", (Roll(0.3, (11.5, -2.0), (-4.0, 0.4)),), 1.6)
    result = measure_session(folder / "clips" / "140mm.mp4")
    assert result.shots == ()
    assert any("gravity" in note for note in result.clips[0].notes)
