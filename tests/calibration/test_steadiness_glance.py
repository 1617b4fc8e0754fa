"""A glance distinguishes a camera that stands from one that moved by a tenth of a pixel."""

import cv2
import numpy as np
import pytest

from calibration.steadiness.corners import corners
from calibration.steadiness.glance import FEWEST_POINTS, Glance

SHAPE = (360, 640)
SIDE = 12


def texture(seed=4):
    rng = np.random.default_rng(seed)
    return cv2.GaussianBlur(rng.normal(120.0, 90.0, SHAPE), (0, 0), 2.0)


def filmed(scene, seed, noise=1.2):
    grain = np.random.default_rng(seed).normal(0.0, noise, SHAPE)
    return np.clip(np.rint(scene + grain), 0, 255).astype(np.uint8)


def moved(scene, matrix):
    return cv2.warpAffine(
        scene, np.array(matrix, float), SHAPE[::-1], flags=cv2.INTER_CUBIC, borderMode=2
    )


def glance():
    luma = filmed(texture(), 1)
    return Glance(luma, corners(luma), SIDE)


def about_the_middle(turn=0.0, zoom=0.0):
    x, y = SHAPE[1] / 2.0, SHAPE[0] / 2.0
    a, b = 1.0 + zoom, turn
    return [[a, -b, x - a * x + b * y], [b, a, y - b * x - a * y]]


def test_a_still_camera_stands_in_every_frame():
    look = glance()
    assert all(look.stands(filmed(texture(), seed)) for seed in range(2, 30))


def test_a_change_of_light_is_no_shift():
    assert glance().stands(filmed(texture() + 9.0, 2))


def test_somebody_who_walks_through_a_third_of_the_picture_does_not_move_the_camera():
    scene = texture()
    scene[:, 200:400] = texture(9)[:, 200:400]
    assert glance().stands(filmed(scene, 2))


@pytest.mark.parametrize(
    "matrix",
    [
        [[1, 0, 0.1], [0, 1, 0]],
        [[1, 0, 0], [0, 1, -0.1]],
        [[1, 0, 0.5], [0, 1, 0.5]],
        about_the_middle(turn=8e-4),
        about_the_middle(zoom=-8e-4),
    ],
)
def test_a_small_motion_is_seen(matrix):
    assert not any(glance().stands(filmed(moved(texture(), matrix), seed)) for seed in range(2, 8))


@pytest.mark.parametrize("shift", [(3, 0), (0, -7), (25, 4), (-60, 33)])
def test_a_jump_is_never_taken_for_standing(shift):
    jumped = np.roll(texture(), shift, axis=(1, 0))
    assert not any(glance().stands(filmed(jumped, seed)) for seed in range(2, 8))


def test_too_few_points_decide_nothing():
    luma = filmed(texture(), 1)
    few = Glance(luma, corners(luma)[: FEWEST_POINTS - 1], SIDE)
    assert not few.stands(luma)
    assert Glance(luma, corners(luma)[:FEWEST_POINTS], SIDE).stands(luma)
