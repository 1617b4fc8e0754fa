"""The camera refined by the motion of its background: from exact places, no picture is drawn."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.camera import Camera, looking_at
from calibration.site import Site
from calibration.site.presumed import Presumption, Sighted
from calibration.steadiness.motion import (
    SHEAR,
    SHIFT,
    SIZE,
    TURN,
    background,
    moved_pixels,
    prior_information,
)
from calibration.steadiness.refining import Sight, refined_camera

U = np.r_[np.full(3, 2e-3), np.full(3, 0.1), 0.01, 8.0, 8.0, 0.01, 0.005, np.full(3, 1e-9)]
"""Standard uncertainties of a camera that was calibrated from a few cones."""


def true_camera() -> Camera:
    return looking_at((17.0, -30.0, 1.5), (17.0, 0.0, 5.0), 1400.0, (1920, 1080))


def points(camera: Camera) -> np.ndarray:
    columns, rows = np.meshgrid(np.linspace(60.0, 1860.0, 14), np.linspace(420.0, 1040.0, 9))
    return background(camera, np.column_stack([columns.ravel(), rows.ravel()]))


def sights(camera: Camera, noise_px: float) -> list[Sight]:
    rng = np.random.default_rng(4)
    found = []
    for _ in range(20):
        motion = np.zeros(SIZE)
        motion[TURN], motion[SHEAR] = rng.normal(0.0, 0.014, 3), rng.normal(0.0, 0.002, 3)
        motion[SHIFT] = rng.normal(0.0, 0.01, 3)
        seen = points(camera)
        share = rng.uniform(-0.4, 0.4, len(seen))
        pixels = moved_pixels(camera, motion, seen, share)
        mean = np.where(np.arange(SIZE) // 3 == 1, motion, 0.0)
        information = prior_information(0.014)
        information[SHEAR] = 1e8
        pixels += rng.normal(0.0, noise_px, pixels.shape)
        weights = np.full(len(seen), 1.0 / max(noise_px, 0.05) ** 2)
        start = motion + rng.normal(0.0, 1e-4, SIZE)
        found.append(Sight(pixels, share, weights, start, mean, information, np.zeros(3)))
    return found


def off(camera: Camera, to: Camera) -> float:
    """Return by how much two cameras differ in the effect of a turn, px, at the frame's corners."""
    corners = np.array([[100.0, 200.0], [1800.0, 200.0], [100.0, 900.0], [1800.0, 900.0]])
    motion = np.zeros(SIZE)
    motion[TURN] = 0.015, 0.015, 0.01
    moves = []
    for each in (camera, to):
        seen = (30.0 * each.rays(corners)) @ each.rotation.T
        moves.append(moved_pixels(each, motion, seen, np.zeros(4)) - corners)
    return float(np.abs(moves[0] - moves[1]).max())


@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_the_motion_of_the_background_corrects_the_lens(sign: float) -> None:
    true = true_camera()
    change = sign * np.r_[0.001, -0.001, 0.001, 0.05, -0.05, 0.05, 0.01, 6.0, -5.0, 0.01, -0.003]
    wrong = true.perturbed(np.r_[change, np.zeros(3)]).with_covariance(np.diag(U**2))
    found = refined_camera(wrong, points, sights(true, 0.1))
    assert off(wrong, true) > 0.15
    assert off(found, true) < 0.25 * off(wrong, true)


def test_a_camera_that_is_known_stays_as_it_is() -> None:
    true = true_camera()
    exact = true.with_covariance(np.zeros((14, 14)))
    found = refined_camera(exact, points, sights(replace(true, focal_px=1450.0), 0.1))
    assert found.focal_px == exact.focal_px
    np.testing.assert_array_equal(found.position, exact.position)


@pytest.mark.parametrize("times", [0.75, 1.35])
def test_a_hand_that_sways_shows_the_focal_length_of_a_camera_of_which_nothing_is_known(
    times: float,
) -> None:
    presumption = Presumption(Site((1920, 1080), ()), -1)
    sighted = Sighted(-1, 30.0, np.array([17.0, 0.0, 1.0]), np.array([960.0, 800.0]))
    presumed = presumption.with_lens_covariance(presumption.start(sighted))
    true = replace(presumed, focal_px=times * presumed.focal_px)
    found = refined_camera(presumed, points, sights(true, 0.1))
    assert found.focal_px == pytest.approx(true.focal_px, rel=0.03)
    left = np.sqrt(found.covariance[6, 6])
    assert abs(np.log(found.focal_px / true.focal_px)) < 3.0 * left
    assert left < 0.1 * np.sqrt(presumed.covariance[6, 6])
