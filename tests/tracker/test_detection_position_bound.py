"""How well a ball will be placed, against pictures, geometry and the detector itself."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from tracker.detection import ExpectedBall, fit_positions, position_bound
from tracker.detection.ball_image import EDGE_PX
from tracker.detection.position_fit import LEAST_U_PX, SHAPE_SHARE
from tracker.records import Cutouts


def noise_part(diameter: float, streak: tuple[float, float], contrast: float, noise: float):
    """The covariance without its floors."""
    found = position_bound([diameter], [streak], contrast, noise)
    return found.covariances[0] - (LEAST_U_PX**2 + (SHAPE_SHARE * diameter) ** 2) * np.eye(2)


def disc(diameter: float, streak: float, fine: int = 8, side: int = 31) -> np.ndarray:
    """A soft, streaked disc of unit contrast on a grid `fine` times finer than pixels."""
    half = side * fine // 2
    at = (np.arange(-half, half + 1)) / fine
    x, y = np.meshgrid(at, at)
    picture = np.zeros_like(x)
    steps = max(1, int(2 * streak * fine))
    for shift in (np.arange(steps) + 0.5) / steps - 0.5:
        picture += np.hypot(x - shift * streak, y) <= diameter / 2.0
    return gaussian_filter(picture / steps, EDGE_PX * fine)


@pytest.mark.parametrize(("diameter", "streak"), [(2.0, 0.0), (3.0, 2.5), (3.0, 12.0), (9.0, 5.0)])
def test_the_integrals_are_those_of_the_picture(diameter: float, streak: float) -> None:
    fine = 8
    picture = disc(diameter, streak, fine)
    by_row, by_column = np.gradient(picture, 1.0 / fine)
    strength = 40.0**2 / (1.5 * 2.0**2)
    along, across = (np.sum(one**2) / fine**2 for one in (by_column, by_row))
    found = noise_part(diameter, (streak, 0.0), 40.0, 2.0)
    assert found[0, 0] == pytest.approx(1.0 / (strength * along), rel=0.04)
    assert found[1, 1] == pytest.approx(1.0 / (strength * across), rel=0.04)
    assert found[0, 1] == pytest.approx(0.0, abs=1e-12)
    snr = position_bound([diameter], [(streak, 0.0)], 40.0, 2.0).snr[0]
    assert snr == pytest.approx(np.sqrt(strength * np.sum(picture**2)) / fine, rel=0.03)


def test_a_large_disc_obeys_the_law_of_its_edge() -> None:
    # Squared slopes gather in a ring of length pi d: sqrt(pi) d / (4 s) on either axis.
    diameter = 40.0
    expected = 1.5 / (np.sqrt(np.pi) * diameter / (4.0 * EDGE_PX))
    assert noise_part(diameter, (0.0, 0.0), 1.0, 1.0) == pytest.approx(
        expected * np.eye(2), rel=1e-3, abs=1e-6
    )


def test_a_streak_leaves_two_edges_as_far_apart_as_it_is_long() -> None:
    # Along a streak L the slope is the difference of two discs over L; how much two discs
    # overlap is the lens of two circles (plane geometry). The soft edge takes a little off.
    radius, length = 150.0, 100.0
    overlap = 2 * radius**2 * np.arccos(length / 2 / radius) - length / 2 * np.sqrt(
        4 * radius**2 - length**2
    )
    along = 2.0 * (np.pi * radius**2 - overlap) / length**2
    found = noise_part(2 * radius, (0.0, length), 1.0, 1.0)
    assert found[1, 1] == pytest.approx(1.5 / along, rel=0.03)


def test_place_turns_with_the_streak_and_scales_with_the_noise() -> None:
    flat, turned = noise_part(3.0, (4.0, 0.0), 50.0, 2.0), noise_part(3.0, (0.0, 4.0), 50.0, 2.0)
    assert turned == pytest.approx(flat[::-1, ::-1])
    slant = noise_part(3.0, (4.0 * np.cos(0.6), 4.0 * np.sin(0.6)), 50.0, 2.0)
    assert np.linalg.eigvalsh(slant) == pytest.approx(np.sort(np.diag(flat)))
    assert noise_part(3.0, (4.0, 0.0), 25.0, 4.0) == pytest.approx(16.0 * flat)


def test_the_detector_reaches_the_bound() -> None:
    """Places measured in drawn patches scatter as the bound has it, floors left out."""
    rng = np.random.default_rng(4)
    count, side, diameter, contrast, noise = 400, 25, 4.0, 60.0, 2.0
    places = side // 2 + rng.uniform(-0.5, 0.5, (count, 2))
    fine = 5
    at = (np.arange(side * fine) + 0.5) / fine - 0.5
    x, y = np.meshgrid(at, at)
    patches = np.empty((count, side, side), np.int16)
    for index, (column, row) in enumerate(places):
        hard = (np.hypot(x - column, y - row) <= diameter / 2.0).astype(float)
        soft = gaussian_filter(hard, EDGE_PX * fine)
        shown = contrast * soft.reshape(side, fine, side, fine).mean(axis=(1, 3))
        # Twice a frame less two others: the noise of all three, as the finder cuts it.
        error = noise * (2.0 * rng.normal(size=(side, side)) + rng.normal(size=(side, side)))
        error += noise * rng.normal(size=(side, side))
        patches[index] = np.rint(2.0 * shown + error)
    nothing = np.zeros((count, 2))
    far = np.full((count, 2), 60.0)
    expected = ExpectedBall(places, nothing, far, -far, np.full(count, diameter))
    found, _ = fit_positions(Cutouts(patches, np.zeros((count, 2), np.int64)), expected, 0.0)
    assert np.all(found.found)
    scatter = np.sqrt(np.mean((found.pixels - places) ** 2))
    bound = np.sqrt(noise_part(diameter, (0.0, 0.0), contrast, noise)[0, 0])
    # The pixel's own area softens the edge a little more.
    assert 0.9 < scatter / bound < 1.25
