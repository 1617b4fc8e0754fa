"""Noise as stated, light coded as the standard says, and the bound against closed forms."""

import numpy as np
import pytest

from tracker.synthetic import colour
from tracker.synthetic.plate import Plate
from tracker.synthetic.sensor import NoiseMaker, Sensor, grain_kernel, information, noise_pool


# ITU-R BT.709-6: reference white is code 235, black 16; 18 % grey gives 0.409 of the range.
def test_light_is_coded_as_bt709_says():
    assert colour.encode(1.0) == pytest.approx(235.0)
    assert colour.encode(0.0) == pytest.approx(16.0)
    assert (colour.encode(0.18) - 16.0) / 219.0 == pytest.approx(0.409, abs=5e-4)
    assert colour.encode(0.017999) == pytest.approx(16.0 + 219.0 * 4.5 * 0.017999)


def test_decoding_undoes_coding():
    light = np.linspace(0.0, 1.19, 400)
    assert colour.decode(colour.encode(light)) == pytest.approx(light, abs=2e-4)
    slope = np.gradient(colour.encode(light), light)
    assert colour.encode_slope(light)[20:-1] == pytest.approx(slope[20:-1], rel=5e-3)


def test_grey_has_no_colour_and_green_has_the_weight_of_green():
    luma, blue, red = colour.luma_chroma(np.array([0.3, 0.3, 0.3]))
    assert (blue, red) == pytest.approx((128.0, 128.0))
    assert luma == pytest.approx(colour.encode(0.3))
    luma, _, _ = colour.luma_chroma(np.array([0.0, 1.0, 0.0]))
    assert luma == pytest.approx(16.0 + 219.0 * 0.7152)


def flat(code, size=(240, 320)):
    half = (size[0] // 2, size[1] // 2)
    return Plate(
        np.full(size, code, np.float32),
        np.full(half, 128.0, np.float32),
        np.full(half, 128.0, np.float32),
    )


def taken(sensor, plate, count=12, seed=3):
    maker = NoiseMaker(sensor, plate, seed)
    return np.stack([maker.expose(plate, 0.1 * index)[0].copy() for index in range(count)])


def test_noise_at_middle_grey_is_as_stated():
    sensor = Sensor(noise=2.0)
    frames = taken(sensor, flat(float(colour.encode(0.18)))).astype(float)
    assert frames.std() == pytest.approx(np.sqrt(2.0**2 + 1.0 / 12.0), rel=0.02)
    assert frames.mean() == pytest.approx(float(colour.encode(0.18)), abs=0.05)


def test_noise_of_light_grows_as_shot_noise_does():
    sensor = Sensor(noise=1.0, shot_share=1.0)
    light = np.array([0.05, 0.2, 0.8])
    spread = sensor.sigma(colour.encode(light)) / colour.encode_slope(light)
    assert spread[1:] / spread[:-1] == pytest.approx([2.0, 2.0], rel=1e-3)


def test_frames_differ_and_the_seed_decides_them():
    sensor, plate = Sensor(), flat(120.0)
    first, again, other = (taken(sensor, plate, seed=seed) for seed in (3, 3, 4))
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)
    assert not np.array_equal(first[0], first[1])


def test_grain_correlates_neighbours_as_its_kernel_says():
    pool = noise_pool(600, 400, 0.6)
    kernel = grain_kernel(0.6)
    expected = np.sum(kernel[:, 1:] * kernel[:, :-1])
    assert np.mean(pool[:, 1:] * pool[:, :-1]) == pytest.approx(expected, abs=0.01)


def test_auto_exposure_moves_the_level_about_black():
    sensor = Sensor(noise=0.01, drift=0.1, drift_period_s=1.2)
    plate = flat(116.0)
    maker = NoiseMaker(sensor, plate, 1)
    codes = [maker.expose(plate, time_s)[0].mean() for time_s in (0.0, 0.3, 0.9)]
    assert codes == pytest.approx([116.0, 126.0, 106.0], abs=0.6)


def gaussian_slopes(amplitude, width, size=31):
    rows, columns = np.mgrid[0:size, 0:size] - size // 2
    profile = amplitude * np.exp(-0.5 * (rows**2 + columns**2) / width**2)
    return np.stack([profile * columns / width**2, profile * rows / width**2])


def test_the_bound_of_a_gaussian_spot_in_white_noise_is_the_closed_form():
    # Integral of (dI/dx)² over the plane for I = A exp(-r²/2s²) is pi A² / 2, whatever s.
    slopes = gaussian_slopes(40.0, 1.7)
    known = information(slopes, np.full((31, 31), 2.0), 0.0)
    assert known == pytest.approx(np.eye(2) * np.pi * 40.0**2 / 2.0 / 4.0, rel=1e-6)


def test_the_bound_in_grain_is_that_of_the_whole_covariance_matrix():
    size, sigma, grain = 23, 2.0, 0.5
    slopes = gaussian_slopes(30.0, 1.3, size)
    kernel = grain_kernel(grain)
    shift = np.arange(size)
    apart = np.abs(shift[:, None] - shift[None, :])
    line = np.zeros(size)
    for lag in range(7):
        line[lag] = np.sum(kernel[3, lag:] * kernel[3, : 7 - lag]) / np.sum(kernel[3] ** 2)
    grid = line[apart]
    rounding = 1.0 / 12.0
    matrix = (sigma**2 - rounding) * np.kron(grid, grid) + rounding * np.eye(size**2)
    flat_slopes = slopes.reshape(2, -1)
    expected = flat_slopes @ np.linalg.solve(matrix, flat_slopes.T)
    known = information(slopes, np.full((size, size), sigma), grain)
    assert known == pytest.approx(expected, rel=0.01, abs=0.01 * expected[0, 0])
