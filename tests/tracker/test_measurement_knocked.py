"""A tripod that is knocked during a clip: what is found stays in the first frame's pixels."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calibration.camera import looking_at
from tracker.detection import SearchSettings
from tracker.measurement.passes import FramePass, Timing
from tracker.records import Quality
from tracker.synthetic.recipes import RECIPES
from tracker.synthetic.session import make_session
from tracker.synthetic.sway import KNOCK_S, draw_knock
from tracker.video import ClipWriter, inspect
from tracker.workflow.measure import measure_session

SIZE, FPS, FRAMES, KNOCKED = (480, 270), 30.0, 50, 24
KNOCK_PX = np.array([46, -31])
"""Some 60 px, as far as a careless foot moves a phone's picture."""

FOCAL_PX = 4000.0
"""So long a lens that its small turn shifts the whole picture alike, px."""

FOUND_AGAIN = 4
"""Frames after the knock in which the camera may be unknown: a still one is checked each 0.1 s."""


def ball_at(index: int) -> np.ndarray:
    return np.array([60.0 + 7.0 * index, 200.0 - 9.0 * index + 0.16 * index**2])


def film(path: Path) -> Path:
    """A ball before bushes; from one frame on the camera looks elsewhere."""
    rng = np.random.default_rng(3)
    margin = 60
    wide, tall = SIZE[0] + 2 * margin, SIZE[1] + 2 * margin
    bushes = np.kron(rng.uniform(60.0, 130.0, (tall // 6, wide // 6)), np.ones((6, 6)))
    columns, rows = np.meshgrid(np.arange(SIZE[0]), np.arange(SIZE[1]))
    with ClipWriter(path, SIZE, FPS, crf=14) as writer:
        for index in range(FRAMES):
            moved = KNOCK_PX if index >= KNOCKED else np.zeros(2, int)
            left, top = margin - moved
            shown = bushes[top : top + SIZE[1], left : left + SIZE[0]].copy()
            across, down = ball_at(index) + moved
            shown[np.hypot(columns - across, rows - down) < 2.4] = 220.0
            shown += rng.normal(0.0, 1.0, shown.shape)
            picture = np.clip(shown, 0, 255).astype(np.uint8)
            writer.write_bgr(np.repeat(picture[:, :, None], 3, axis=2))
    return path


@pytest.mark.campaign
def test_a_ball_is_found_in_the_first_frames_pixels_after_a_knock(tmp_path: Path) -> None:
    facts = inspect(film(tmp_path / "knocked.mp4"))
    camera = looking_at((16.0, -30.0, 1.6), (16.0, 0.0, 4.0), FOCAL_PX, SIZE)
    settings = SearchSettings(4.0, 12.0, 1, (0, 0, *SIZE), 40)
    loop = FramePass(facts, camera, settings, Timing.of_file(facts))
    off = {
        each.frame: float(np.linalg.norm(each.pixels - ball_at(each.frame), axis=1).min())
        for each in loop.candidates()
        if len(each.pixels)
    }
    before = range(3, KNOCKED - 2)
    after = range(KNOCKED + FOUND_AGAIN, FRAMES - 3)
    for frames in (before, after):
        assert np.mean([off.get(frame, np.inf) < 2.0 for frame in frames]) > 0.9
    assert loop.moves


def test_a_knock_turns_the_camera_once_and_for_good() -> None:
    sway = draw_knock(60.0, 1000.0, 10.0, np.random.default_rng(5))
    assert 3.0 <= sway.knock_s <= 7.0
    assert sway.turn(sway.knock_s) == pytest.approx(np.zeros(3))
    half = sway.turn(sway.knock_s + 0.5 * KNOCK_S)
    for later_s in (KNOCK_S, 2.0):
        turn = sway.turn(sway.knock_s + later_s)
        assert np.linalg.norm(turn[:2]) == pytest.approx(0.06)
        assert half == pytest.approx(0.5 * turn)
    assert sway.shift(9.0) == pytest.approx(np.zeros(3))


@pytest.mark.long
def test_shots_before_and_after_a_knock_are_measured(tmp_path: Path) -> None:
    """A drawn session at half the size, with the knock in the second of three flights."""
    recipe = RECIPES["knocked"]
    filming = replace(recipe.filming, size_px=(960, 544), fps=30.0, megabits=4.0)
    make_session(tmp_path / "knocked", replace(recipe, filming=filming), 31)
    truth = json.loads((tmp_path / "knocked" / "truth.json").read_text(encoding="utf-8"))
    result = measure_session(tmp_path / "knocked")
    true = truth["clips"][0]["shots"]
    assert len(result.shots) == len(true) == 3
    for shot, fired in zip(result.shots, true, strict=True):
        assert shot.quality is not Quality.REJECTED
        assert shot.exit_speed_mps is not None and shot.exit_speed_u_mps is not None
        assert abs(shot.exit_speed_mps - fired["exit_speed_mps"]) < 3.0 * shot.exit_speed_u_mps
        assert shot.exit_speed_u_mps < 0.3
