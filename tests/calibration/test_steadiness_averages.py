"""In noise the means of many frames show whether a camera stands."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from calibration.camera import looking_at
from calibration.errors import InputError
from calibration.steadiness import SteadyReference
from calibration.steadiness.averages import (
    FEWEST,
    FIRST,
    NOISY_PX,
    PLAIN_SHARE,
    PUT_OFF_PX,
    RECENT,
    Averages,
)
from calibration.steadiness.flow import explained
from calibration.steadiness.motion import SIZE, Motion, still

SHRINK = 0.5
NOISY, CLEAN = 1.01 * NOISY_PX / SHRINK, 0.99 * NOISY_PX / SHRINK
SMALL, LARGE = 0.99 * PUT_OFF_PX / SHRINK, 1.01 * PUT_OFF_PX / SHRINK
PICTURE = np.full((4, 5), 100, np.uint8)


def _motion(shift_px: float, lost: bool = False, agreement: float = 0.74) -> Motion:
    return Motion(np.full(SIZE, 1e-3), 1e-10 * np.eye(SIZE), True, shift_px, agreement, lost)


def _seen(picture, motion):
    """Return that a picture shows a motion."""
    return True


class _Follower:
    """Stands in for what follows: keeps the pictures that it is given, and gives one motion."""

    def __init__(self, motion: Motion) -> None:
        self.motion, self.first, self.seen = motion, PICTURE, []

    def __call__(self, first):
        self.first = first
        return self

    def measured(self, luma):
        self.seen.append(luma)
        return self.motion


def _filled(follower, frames=FIRST + FEWEST):
    averages = Averages(follower, SHRINK)
    for _ in range(frames):
        averages.add(PICTURE)
    return averages


def test_a_clean_motion_is_taken_as_it_is():
    averages = Averages(_Follower(still(0.0, 1.0)), SHRINK)
    motion = _motion(SMALL)
    assert averages.checked(motion, CLEAN, PICTURE, _seen) is motion
    assert not averages.begun


def _aside(motion: Motion, px: float) -> Motion:
    """Return a motion that leads so many px of working size aside of another."""
    turn, parameters = motion.turn_rad, motion.parameters.copy()
    rad_per_px = np.linalg.norm(turn) / (motion.shift_px * SHRINK)
    parameters[:3] += rad_per_px * px * np.array([1.0, -1.0, 0.0]) / np.sqrt(2.0)
    return replace(motion, parameters=parameters)


def test_before_there_are_means_only_a_small_noisy_motion_is_put_off():
    averages = _filled(_Follower(_motion(9.0)), FIRST + FEWEST - 1)
    large, lost = _motion(LARGE), _motion(SMALL, lost=True)
    assert averages.stands() is None
    assert not averages.checked(_motion(SMALL), NOISY, PICTURE, _seen).significant
    # A large one is believed where the frame before showed it too, to within as much.
    assert averages.checked(large, NOISY, PICTURE, _seen) is large
    ahead = _motion(20.0 * PUT_OFF_PX / SHRINK)
    far = _aside(ahead, 1.02 * PUT_OFF_PX)
    near = _aside(far, 0.98 * PUT_OFF_PX)
    assert averages.checked(ahead, NOISY, PICTURE, _seen) is ahead
    assert not averages.checked(far, NOISY, PICTURE, _seen).significant
    assert averages.checked(near, NOISY, PICTURE, _seen) is near
    # Not where the picture shows none, however many points agree.
    unseen = averages.checked(replace(large, agreement=1.0), NOISY, PICTURE, lambda *_: False)
    assert not unseen.significant
    plain = _aside(replace(far, agreement=PLAIN_SHARE), 9.0 * PUT_OFF_PX)
    assert averages.checked(plain, NOISY, PICTURE, _seen) is plain
    assert averages.checked(lost, CLEAN, PICTURE, _seen) is lost
    fresh = Averages(_Follower(still(0.0, 1.0)), SHRINK)
    assert not fresh.checked(large, NOISY, PICTURE, _seen).significant
    for _ in range(2):
        fresh.add(PICTURE)
    # Frames that showed nothing lie between.
    assert not fresh.checked(large, NOISY, PICTURE, _seen).significant
    assert not fresh.checked(_motion(SMALL), NOISY, PICTURE, _seen).significant and fresh.begun


@pytest.mark.parametrize("motion", [_motion(LARGE), replace(_motion(SMALL), lost=True)])
def test_means_that_stand_overrule_a_noisy_frame_and_means_that_moved_do_not(motion):
    found = _filled(_Follower(still(0.01, 1.0))).checked(motion, NOISY, PICTURE, _seen)
    assert not found.significant and not found.lost
    assert _filled(_Follower(_motion(9.0))).checked(motion, NOISY, PICTURE, _seen) is motion
    assert _filled(_Follower(still(9.0, 0.1))).checked(motion, NOISY, PICTURE, _seen) is not motion
    unseen = _filled(_Follower(replace(still(0.0, 0.0), lost=True)))
    assert unseen.checked(motion, NOISY, PICTURE, _seen) is motion


def test_a_mean_without_points_decides_nothing():
    def barren(first):
        raise InputError("no points", remedy="none")

    averages = _filled(barren)
    assert averages.stands() is None and not averages.stood


def test_a_picture_tells_a_motion_from_flow_that_noise_kept_at_its_start():
    rng = np.random.default_rng(3)
    field = 60.0 + 12.0 * cv2.GaussianBlur(rng.normal(size=(120, 160)), (0, 0), 3.0) * 6.0
    points = rng.uniform((30.0, 30.0), (120.0, 80.0), (40, 2))
    gone = np.array([2.5, -1.5])

    def frame(shift):
        moved = cv2.warpAffine(field, np.float64([[1, 0, shift[0]], [0, 1, shift[1]]]), (160, 120))
        return np.clip(moved + rng.normal(0.0, 12.0, field.shape), 0, 255).astype(np.uint8)

    before = frame((0.0, 0.0))
    assert not explained(before, frame((0.0, 0.0)), points, points + gone)
    assert explained(before, frame(gone), points, points + gone)
    assert not explained(before, frame(gone), points, points - gone)


def test_means_say_whether_the_camera_stood():
    standing, moved = _filled(_Follower(still(0.01, 1.0))), _filled(_Follower(_motion(9.0)))
    assert not standing.stood
    assert standing.stands() and standing.stood
    assert not moved.stands() and not moved.stood


def test_the_first_mean_is_of_the_first_frames_and_the_other_runs_on():
    follower = _Follower(still(0.0, 1.0))
    averages = Averages(follower, SHRINK)
    levels = np.arange(10.0, 10.0 + 2 * (FIRST + RECENT + 3), 2.0)
    for level in levels:
        averages.add(np.full((4, 5), level, np.uint8))
    assert averages.stands()
    assert follower.first == pytest.approx(levels[:FIRST].mean(), abs=0.51)
    expected = levels[FIRST : FIRST + RECENT].mean()
    for level in levels[FIRST + RECENT :]:
        expected += (level - expected) / RECENT
    assert follower.seen[0] == pytest.approx(expected, abs=0.51)


def test_a_tripod_at_dusk_stands_and_a_knock_is_noticed():
    rng = np.random.default_rng(1)
    field = cv2.GaussianBlur(rng.normal(size=(260, 340)).astype(np.float32), (0, 0), 3.0)
    field = 90.0 + 9.0 * field / field.std()

    def frame(column=0, row=0):
        part = field[10 + row : 250 + row, 10 + column : 330 + column]
        noisy = part + rng.normal(0.0, 18.0, part.shape)
        noisy[:40] = 16.0  # A black sky, in which an encoder leaves no noise.
        return np.clip(noisy, 0, 255).astype(np.uint8)

    camera = looking_at((20.0, -38.0, 1.5), (20.0, 0.0, 3.0), 300.0, (320, 240))
    reference = SteadyReference(frame(), camera.with_covariance(1e-8 * np.eye(14)))
    looks = []
    for _ in range(FIRST + FEWEST + 20):
        picture = frame()
        motion = None if reference.stands(picture) else reference.motion(picture)
        looks.append(motion is not None and (motion.significant or motion.lost))
    assert not any(looks[FIRST + FEWEST + 10 :])
    noticed = []
    for _ in range(RECENT + 6):
        picture = frame(6, 4)
        motion = None if reference.stands(picture) else reference.motion(picture)
        noticed.append(motion is not None and (motion.significant or motion.lost))
    assert all(noticed[RECENT:])
