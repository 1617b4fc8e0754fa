"""Steadiness: a turn is found, people and leaves are ignored, and standing still costs nothing."""

import cv2
import numpy as np
import pytest

from calibration.camera import looking_at, rotation_from_vector
from calibration.errors import InputError
from calibration.steadiness import SteadyReference

SIZE = (960, 540)
FOCAL = 750.0
BORDER = 120


@pytest.fixture(scope="module")
def plate():
    """A field as a camera sees it: noise with as much of coarse as of fine structure."""
    rng = np.random.default_rng(3)
    width, height = SIZE[0] + 2 * BORDER, SIZE[1] + 2 * BORDER
    waves = np.fft.rfft2(rng.normal(size=(height, width)))
    pitch = np.hypot(np.fft.fftfreq(height)[:, None], np.fft.rfftfreq(width)[None])
    pitch[0, 0] = 1.0
    field = np.fft.irfft2(waves / pitch**1.1, s=(height, width))
    return (115.0 + 28.0 * (field - field.mean()) / field.std()).astype(np.float32)


def _camera():
    camera = looking_at((20.0, -38.0, 1.5), (20.0, 0.0, 3.0), FOCAL, SIZE)
    return camera.with_covariance(1e-8 * np.eye(14))


def _frame(plate, turn, rng, noise=2.0):
    matrix = np.array([[FOCAL, 0, (SIZE[0] - 1) / 2], [0, FOCAL, (SIZE[1] - 1) / 2], [0, 0, 1.0]])
    shift = np.array([[1.0, 0, -BORDER], [0, 1.0, -BORDER], [0, 0, 1.0]])
    warp = matrix @ rotation_from_vector(turn) @ np.linalg.inv(matrix) @ shift
    picture = cv2.warpPerspective(plate, warp, SIZE, flags=cv2.INTER_CUBIC)
    return np.clip(picture + noise * rng.normal(size=picture.shape), 0, 255).astype(np.uint8)


def _turns(rng, count, sd_px):
    return rng.normal(size=(count, 3)) * sd_px / FOCAL * np.array([1.0, 1.0, 0.5])


@pytest.mark.parametrize("sd_px", [1.0, 12.0])
def test_turn_is_found_with_an_honest_covariance(plate, sd_px):
    rng = np.random.default_rng(5)
    reference = SteadyReference(_frame(plate, np.zeros(3), rng), _camera())
    distances = []
    for turn in _turns(rng, 12, sd_px):
        motion = reference.motion(_frame(plate, turn, rng))
        assert motion.significant and not motion.lost
        error = motion.turn_rad - turn
        assert FOCAL * np.abs(error).max() < 0.1
        distances.append(error @ np.linalg.solve(motion.covariance, error))
    assert np.mean(distances) < 3.0 * 2.0


def test_standing_still_costs_nothing(plate):
    rng = np.random.default_rng(6)
    camera = _camera()
    reference = SteadyReference(_frame(plate, np.zeros(3), rng), camera)
    for _ in range(30):
        motion = reference.motion(_frame(plate, np.zeros(3), rng, noise=5.0))
        assert not motion.significant
        assert np.all(motion.turn_rad == 0.0)
        assert reference.camera_at(motion) is camera


def test_people_and_leaves_are_ignored(plate):
    rng = np.random.default_rng(7)
    reference = SteadyReference(_frame(plate, np.zeros(3), rng), _camera())
    for k, turn in enumerate(_turns(rng, 8, 1.5)):
        frame = _frame(plate, turn, rng)
        # A third of the picture follows motions of its own.
        leaves = _frame(plate, turn + np.array([0.0, 4.0, 0.0]) / FOCAL * (-1) ** k, rng)
        frame[:270, :480] = leaves[:270, :480]
        frame[200:500, 500 + 20 * k : 560 + 20 * k] = 60
        motion = reference.motion(frame)
        assert FOCAL * np.abs(motion.turn_rad - turn).max() < 0.15
        assert motion.agreement < 0.9


def test_camera_of_the_frame_sees_the_world_where_it_is(plate):
    rng = np.random.default_rng(8)
    camera = _camera()
    reference = SteadyReference(_frame(plate, np.zeros(3), rng), camera)
    turn = np.array([0.004, -0.006, 0.003])
    motion = reference.motion(_frame(plate, turn, rng))
    there = reference.camera_at(motion)
    points = [[10.0, 0.0, 0.0], [30.0, 0.0, 5.0]]
    truth = camera.perturbed(np.concatenate([turn, np.zeros(11)])).project(points)
    assert there.project(points) == pytest.approx(truth, abs=0.1)
    assert np.all(np.diag(there.covariance)[:3] > np.diag(camera.covariance)[:3])
    assert np.diag(there.covariance)[3:] == pytest.approx(np.diag(camera.covariance)[3:])


def test_a_jump_between_frames_is_followed(plate):
    rng = np.random.default_rng(9)
    reference = SteadyReference(_frame(plate, np.zeros(3), rng), _camera())
    for sign in (1.0, -1.0):
        turn = sign * np.array([0.03, 0.06, 0.0])
        motion = reference.motion(_frame(plate, turn, rng))
        assert not motion.lost
        assert FOCAL * np.abs(motion.turn_rad - turn).max() < 0.2


def test_a_cut_to_another_scene_is_told(plate):
    rng = np.random.default_rng(10)
    reference = SteadyReference(_frame(plate, np.zeros(3), rng), _camera())
    assert reference.motion(_frame(np.flipud(plate), np.zeros(3), rng)).lost


def test_nothing_to_hold_on_to():
    with pytest.raises(InputError, match="0 points that can be followed"):
        SteadyReference(np.full(SIZE[::-1], 90, np.uint8), _camera())


def test_another_size_is_told():
    with pytest.raises(InputError, match="480 x 270 pixels and the camera was calibrated on 960"):
        SteadyReference(np.zeros((270, 480), np.uint8), _camera())


@pytest.mark.parametrize(("turn_px", "passes"), [(1.0, 1), (45.0, 2)])
def test_a_frame_costs_one_pass_over_few_points(plate, monkeypatch, turn_px, passes):
    """A second pass only after a jump; 3 ms a frame each on a quiet machine."""
    rng = np.random.default_rng(11)
    reference = SteadyReference(_frame(plate, np.zeros(3), rng), _camera())
    followed, follow = [], cv2.calcOpticalFlowPyrLK
    monkeypatch.setattr(
        cv2,
        "calcOpticalFlowPyrLK",
        lambda *given, **named: followed.append(len(given[2])) or follow(*given, **named),
    )
    reference.motion(_frame(plate, np.array([0.0, turn_px / FOCAL, 0.0]), rng))
    assert len(followed) == passes
    # The strongest corner of each of 12 x 8 cells.
    assert 60 < max(followed) <= 96
