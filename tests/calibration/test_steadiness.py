"""Steadiness: a turn is found, people and leaves are ignored, and standing still costs nothing."""

import cv2
import numpy as np
import pytest

from calibration.camera import looking_at, rotation_from_vector
from calibration.errors import InputError
from calibration.steadiness import Motion, Rolling, SteadyReference, moved_pixels, reference_rolling
from calibration.steadiness.flow import evenly_lit
from calibration.steadiness.motion import SHEAR, SHIFT, TURN, ZOOM, background
from calibration.steadiness.motion import SIZE as SIZE_OF_MOTION
from calibration.steadiness.rolling import RecentMotion

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
        distances.append(error @ np.linalg.solve(motion.covariance[TURN, TURN], error))
    assert np.mean(distances) < 3.0 * 2.0


def test_standing_still_costs_nothing(plate):
    rng = np.random.default_rng(6)
    camera = _camera()
    reference = SteadyReference(_frame(plate, np.zeros(3), rng), camera)
    for _ in range(30):
        motion = reference.motion(_frame(plate, np.zeros(3), rng, noise=5.0))
        assert not motion.significant
        assert np.all(motion.parameters == 0.0)


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


def test_shift_roll_and_rolling_shutter_are_distinguished(plate):
    """The ground moves by its distance, the shear by the row, and what the fit says holds."""
    rng = np.random.default_rng(8)
    camera = _camera()
    reference = SteadyReference(_frame(plate, np.zeros(3), rng), camera)
    truth = np.zeros(SIZE_OF_MOTION)
    truth[TURN], truth[SHEAR] = (0.010, -0.014, 0.006), (0.002, 0.003, 0.001)
    truth[SHIFT] = (0.012, 0.009, 0.0)
    motion = reference.motion(_moved(plate, camera, truth, rng))
    error = motion.parameters - truth
    assert motion.significant and not motion.lost
    assert FOCAL * np.abs(error[TURN]).max() < 0.25
    assert FOCAL * np.abs(error[SHEAR]).max() < 1.0
    assert np.abs(error[SHIFT]).max() < 0.004
    assert error @ np.linalg.solve(motion.covariance, error) < 40.0
    # Where the ball flies the picture is put back to a small part of a pixel.
    pixels = np.array([[200.0, 120.0], [480.0, 200.0], [800.0, 300.0]])
    seen = (38.0 * camera.rays(pixels)) @ camera.rotation.T
    share = pixels[:, 1] / (SIZE[1] - 1) - 0.5
    found = moved_pixels(camera, motion.parameters, seen, share)
    assert found == pytest.approx(moved_pixels(camera, truth, seen, share), abs=0.15)


def _moved(plate, camera, motion, rng):
    """The frame of a camera that moved: each pixel is looked up where the still one shows it."""
    columns, rows = np.meshgrid(np.arange(SIZE[0], dtype=float), np.arange(SIZE[1], dtype=float))
    pixels = np.stack([columns, rows], axis=-1).reshape(-1, 2)
    share, source = pixels[:, 1] / (SIZE[1] - 1) - 0.5, pixels.copy()
    for _ in range(4):
        source += pixels - moved_pixels(camera, motion, background(camera, source), share)
    maps = (source.reshape(SIZE[1], SIZE[0], 2) + BORDER).astype(np.float32)
    picture = cv2.remap(plate, maps[..., 0], maps[..., 1], cv2.INTER_CUBIC)
    return np.clip(picture + 2.0 * rng.normal(size=picture.shape), 0, 255).astype(np.uint8)


def test_the_shear_of_the_reference_follows_from_the_motions_after_it():
    """Shears are measured less the reference's own, which is its rate of turning by the readout."""
    readout_s, frame_s = 0.018, 1.0 / 60.0
    rates, sizes = np.array([5.0, 9.0, 7.0]), np.array([0.008, 0.006, 0.003])
    motions = []
    for index in range(1, 61):
        parameters = np.zeros(SIZE_OF_MOTION)
        parameters[TURN] = sizes * np.sin(rates * index * frame_s)
        parameters[SHEAR] = readout_s * sizes * rates * (np.cos(rates * index * frame_s) - 1.0)
        spread = 1e-10 * np.eye(SIZE_OF_MOTION)
        motions.append(Motion(parameters, spread, True, 1.0, 1.0))
    found = reference_rolling(motions, frame_s)
    assert found.shear_rad == pytest.approx(readout_s * sizes * rates, rel=0.03)
    assert found.readout == pytest.approx(readout_s / frame_s, rel=0.03)
    assert np.all(reference_rolling(motions[:3], frame_s).shear_rad == 0.0)


def test_a_straightened_reference_keeps_the_row_that_was_asked_for(plate):
    rng = np.random.default_rng(12)
    first = _frame(plate, np.zeros(3), rng)
    reference = SteadyReference(first, _camera())
    shear = np.array([0.004, -0.003, 0.0])
    reference.straighten(Rolling(shear, np.zeros(3), 0.0, 0.0), 0.2)
    motion = reference.measured(_frame(plate, np.zeros(3), rng))
    assert FOCAL * np.abs(motion.parameters[SHEAR] - shear).max() < 0.5
    assert FOCAL * np.abs(motion.parameters[TURN] + 0.2 * shear).max() < 0.1


def test_a_jump_between_frames_is_followed(plate):
    rng = np.random.default_rng(9)
    reference = SteadyReference(_frame(plate, np.zeros(3), rng), _camera())
    for sign in (1.0, -1.0):
        turn = sign * np.array([0.03, 0.06, 0.0])
        motion = reference.motion(_frame(plate, turn, rng))
        assert not motion.lost
        assert FOCAL * np.abs(motion.turn_rad - turn).max() < 0.2


def test_somebody_who_zooms_is_followed_and_what_follows_is_seen_through_that_zoom(plate):
    rng = np.random.default_rng(12)
    reference = SteadyReference(_frame(plate, np.zeros(3), rng), _camera())
    middle = BORDER + (np.array(SIZE) - 1.0) / 2.0
    for factor in [*np.arange(1.0, 1.24, 0.02), 1.22, 1.22]:
        warp = np.array([[factor, 0.0, 0.0], [0.0, factor, 0.0]])
        warp[:, 2] = (np.array(SIZE) - 1.0) / 2.0 - factor * middle
        picture = cv2.warpAffine(plate, warp, SIZE, flags=cv2.INTER_CUBIC)
        picture = picture + 2.0 * rng.normal(size=picture.shape)
        motion = reference.motion(np.clip(picture, 0, 255).astype(np.uint8))
        assert not motion.lost
    assert motion.significant
    assert motion.parameters[ZOOM] == pytest.approx(np.log(1.22), abs=3e-4)
    assert np.abs(motion.turn_rad).max() < 0.15 / FOCAL


def test_a_cut_to_another_scene_is_reported(plate):
    rng = np.random.default_rng(10)
    reference = SteadyReference(_frame(plate, np.zeros(3), rng), _camera())
    motion = reference.motion(_frame(np.flipud(plate), np.zeros(3), rng))
    # Nothing is known of a motion, so none is made up.
    assert motion.lost and not motion.significant and np.all(motion.parameters == 0.0)


@pytest.mark.parametrize(("gain", "black"), [(0.7, 0.0), (0.75, 16.0), (1.2, 0.0)])
def test_a_change_of_light_is_no_motion_and_hides_none(plate, gain, black):
    """A cloud takes light away from all of the picture, or the phone adjusts its exposure."""
    rng = np.random.default_rng(21)
    dim = 0.6 * plate
    reference = SteadyReference(_frame(dim, np.zeros(3), rng), _camera())
    lit = black + gain * (dim - black)
    # No more noise than that of the reference, so a gain is all that changes.
    _stands_and_turns(reference, lit, rng)


def _stands_and_turns(reference: SteadyReference, picture, rng: np.random.Generator) -> None:
    """A picture in another light shows no motion, and a turn of half a pixel as one."""
    motion = reference.motion(_frame(picture, np.zeros(3), rng))
    assert not motion.lost and not motion.significant
    assert motion.shift_px < 0.06 and motion.agreement > 0.9
    turn = np.array([0.0, 0.5, 0.0]) / FOCAL
    motion = reference.motion(_frame(picture, turn, rng))
    assert motion.significant
    assert FOCAL * np.abs(motion.turn_rad - turn).max() < 0.08


def test_the_shadow_of_a_cloud_on_half_of_the_picture_is_no_motion_and_hides_none(plate):
    """It takes 45 % of the light away, over a soft edge of 60 px."""
    rng = np.random.default_rng(23)
    dim = 0.6 * plate
    reference = SteadyReference(_frame(dim, np.zeros(3), rng), _camera())
    across = (np.arange(plate.shape[1]) - 0.55 * plate.shape[1]) / 60.0
    shaded = dim * (1.0 - 0.45 * np.clip(0.5 - across, 0.0, 1.0))
    _stands_and_turns(reference, shaded, rng)


def test_light_is_taken_out_part_by_part():
    rng = np.random.default_rng(22)
    scene = rng.uniform(60.0, 120.0, (120, 160))
    shade = np.where(np.arange(160) < 80, 0.5, 1.0)
    plain, shaded = (evenly_lit(np.rint(each).astype(np.uint8)) for each in (scene, scene * shade))
    away = np.r_[0:59, 101:160]
    assert np.abs(plain[:, away].astype(int) - shaded[:, away]).max() <= 2
    assert plain.mean() == pytest.approx(110.0, abs=1.0)


def test_a_camera_that_moved_and_is_lost_is_taken_to_be_where_it_was(plate):
    rng = np.random.default_rng(10)
    reference = SteadyReference(_frame(plate, np.zeros(3), rng), _camera())
    turn = np.array([0.0, 4.0, 0.0]) / FOCAL
    assert reference.motion(_frame(plate, turn, rng)).significant
    motion = reference.motion(_frame(np.flipud(plate), np.zeros(3), rng))
    assert motion.lost and motion.significant
    assert motion.turn_rad == pytest.approx(turn, abs=0.1 / FOCAL)


@pytest.fixture(scope="module")
def starved(plate):
    """Frames whose weak texture an encoder draws anew: sharp in a band only, clouds above."""
    rng = np.random.default_rng(20)
    sharp = _frame(plate, np.zeros(3), rng, noise=0.0)[215:270]
    layers = [cv2.GaussianBlur(rng.normal(size=SIZE[::-1]), (0, 0), 3.0) for _ in range(4)]

    def frame(key, shift_px=0.0, clouds=0):
        picture = 110.0 + 140.0 * layers[0] + 40.0 * layers[key]
        picture[:200] = np.roll(110.0 + 140.0 * layers[0][::-1], clouds, axis=1)[:200]
        picture[215:270] = sharp
        matrix = np.array([[1.0, 0, shift_px], [0, 1.0, 0]])
        return cv2.warpAffine(picture, matrix, SIZE, flags=cv2.INTER_CUBIC).astype(np.uint8)

    return frame


def test_a_tripod_is_recognised_where_an_encoder_draws_the_ground_anew(starved):
    """Most points lie off by a pixel for as long as no key frame comes, and the sky moves."""
    reference = SteadyReference(starved(0), _camera())
    motions = [reference.motion(starved(1 + k // 12, clouds=k // 4)) for k in range(24)]
    assert not any(each.lost or each.significant for each in motions)
    moved = reference.motion(starved(3, shift_px=0.4, clouds=6))
    assert moved.significant
    assert FOCAL * moved.turn_rad[1] == pytest.approx(0.4, abs=0.15)


def test_a_fit_that_leaves_all_points_behind_is_a_lost_camera(plate, monkeypatch):
    """A warped picture can drive the robust fit so far off that no point has any weight."""
    rng = np.random.default_rng(11)
    reference = SteadyReference(_frame(plate, np.zeros(3), rng), _camera())
    monkeypatch.setattr(
        "calibration.steadiness.reference.followed",
        lambda before, after, points, start: (np.ones(len(points), np.bool_), 1e200 * points),
    )
    with np.errstate(over="ignore", invalid="ignore"):
        assert reference.motion(_frame(plate, np.zeros(3), rng)).lost


def test_nothing_to_hold_on_to():
    with pytest.raises(InputError, match="0 points that can be followed"):
        SteadyReference(np.full(SIZE[::-1], 90, np.uint8), _camera())


def test_another_size_is_reported():
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
    # The strongest corner of each of 16 x 10 cells.
    assert 100 < max(followed) <= 160


def test_three_motions_of_a_parabola_give_its_rate_at_the_last():
    recent = RecentMotion()
    motions = {frame: np.zeros(SIZE_OF_MOTION) for frame in (4, 5, 7)}
    for frame, motion in motions.items():
        motion[TURN] = 0.002 * frame**2 * np.array([1.0, -1.0, 0.5])
        motion[SHIFT] = 0.01 * frame
    assert recent.rate(5, motions[5]) is None
    recent.add(4, motions[4])
    recent.add(5, motions[5])
    rate = recent.rate(7, motions[7])
    assert rate == pytest.approx([0.028, -0.028, 0.014, 0.01, 0.01, 0.01])
    assert recent.rate(8, motions[7]) is None


@pytest.mark.campaign
def test_turns_of_the_frames_before_give_the_turn_within_a_frame(plate):
    """Without texture in half of its rows a frame alone hardly shows how it was sheared."""
    camera, readout = _camera(), 0.6
    rate, rng = np.array([0.002, -0.003, 0.0]), np.random.default_rng(14)
    bare = plate.copy()
    bare[: BORDER + 300] = 120.0
    first, frames = _frame(bare, np.zeros(3), rng), []
    for frame in range(1, 4):
        motion = np.zeros(SIZE_OF_MOTION)
        motion[TURN], motion[SHEAR] = frame * rate, readout * rate
        frames.append(_moved(bare, camera, motion, rng))
    errors = []
    for known in (0.0, readout):
        reference = SteadyReference(first, camera)
        reference.straighten(Rolling(np.zeros(3), np.zeros(3), known, 0.01), 0.0)
        found = [reference.measured(each, number) for number, each in enumerate(frames, start=1)]
        errors.append(FOCAL * np.abs(found[-1].parameters[SHEAR] - readout * rate).max())
    assert errors[1] < 0.15
    assert errors[1] < 0.5 * errors[0]
