"""A rendered ball lies where it is projected, gives off the light it should, and bends as known."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.camera import looking_at
from tracker.synthetic.exposure import BallLook, disc_axes, row_times, streak
from tracker.synthetic.flight import TrueAir, TrueBall, TrueLaunch, Turf, fly
from tracker.synthetic.scene import Light
from tracker.synthetic.sensor import Sensor
from tracker.synthetic.sway import FrameCamera

EVEN = Light(sky=1.0, sun=0.0, ground=1.0)
"""As much light from below as from above: the ball is evenly lit."""
CAMERA = looking_at((12.0, -30.0, 1.5), (12.0, 0.0, 4.5), 1400.0, (1920, 1080), 0.01)
SHOT = fly(TrueLaunch(0.1, (0.0, 0.0, 0.8), 19.0, 42.0, 2.0), TrueBall(), TrueAir(), Turf())


def centroid(plane, box):
    rows, columns = np.mgrid[box[1] : box[3], box[0] : box[2]]
    return np.array([np.sum(plane * columns), np.sum(plane * rows)]) / np.sum(plane)


def true_pixel(shot, camera, sensor, time_s):
    def where(times):
        return camera.project(shot.positions(times))

    moment = row_times(sensor, camera.size_px, where, np.array([time_s]))
    return where(moment)[0]


@pytest.mark.parametrize("time_s", [0.2, 0.71, 1.4, 2.1])
@pytest.mark.parametrize("exposure_s", [1.0 / 4000.0, 1.0 / 500.0, 1.0 / 60.0])
@pytest.mark.parametrize("readout_s", [0.0, 0.02])
def test_the_light_of_a_ball_is_centred_on_its_projection(time_s, exposure_s, readout_s):
    sensor = Sensor(exposure_s=exposure_s, readout_s=readout_s)
    seen = streak(SHOT, FrameCamera(CAMERA), sensor, (EVEN, BallLook()), time_s)
    gap = centroid(seen.cover, seen.box) - true_pixel(SHOT, CAMERA, sensor, time_s)
    # A long exposure's centroid lies off the curve's middle by its sagitta over three.
    assert np.abs(gap).max() < 0.02
    assert np.abs(centroid(seen.light, seen.box) - centroid(seen.cover, seen.box)).max() < 0.003


@pytest.mark.parametrize("exposure_s", [1.0 / 4000.0, 1.0 / 500.0, 1.0 / 60.0])
@pytest.mark.parametrize("psf_px", [0.4, 0.8, 1.5])
def test_blur_neither_adds_nor_takes_light(exposure_s, psf_px):
    sensor = Sensor(exposure_s=exposure_s, psf_px=psf_px)
    seen = streak(SHOT, FrameCamera(CAMERA), sensor, (EVEN, BallLook(reflectance=0.6)), 1.0)
    axes = disc_axes(CAMERA, SHOT.positions([1.0])[0], SHOT.ball.diameter_m)
    area = np.pi * abs(np.linalg.det(axes))
    assert seen.cover.sum() == pytest.approx(area, rel=2e-3)
    assert seen.light.sum() == pytest.approx(0.6 * area, rel=2e-3)


def test_a_ball_is_as_wide_as_perspective_makes_it():
    centre = np.array([12.0, 0.0, 4.5])
    axes = disc_axes(CAMERA, centre, 0.066)
    spans = np.linalg.svd(axes, compute_uv=False)
    assert spans == pytest.approx(np.full(2, 1400.0 * 0.033 / np.hypot(30.0, 3.0)), rel=1e-3)
    # Away from the axis a sphere's picture is longer outward by 1 / cos, wider by the slant.
    aside = np.array([30.0, 0.0, 4.5])
    turned = disc_axes(CAMERA, aside, 0.066)
    spans = np.linalg.svd(turned, compute_uv=False)
    gap = aside - CAMERA.position
    cosine = CAMERA.in_camera(aside)[0, 2] / np.linalg.norm(gap)
    assert spans[0] / spans[1] == pytest.approx(1.0 / cosine, rel=1e-6)


def test_light_from_above_moves_the_centroid_up_by_a_quarter_of_the_radius():
    # Light (1 + n) / 2 over the disc has its centroid a quarter of the radius up.
    light = Light(sky=1.0, sun=0.0, ground=0.0)
    level = looking_at((12.0, -30.0, 5.0), (12.0, 0.0, 5.0), 8000.0, (1920, 1080))
    still = fly(TrueLaunch(0.0, (12.0, 0.0, 5.0), 1e-6, 0.0), TrueBall(), TrueAir(), Turf())
    seen = streak(still, FrameCamera(level), Sensor(), (light, BallLook()), 0.004)
    radius = 8000.0 * 0.033 / 30.0
    rise = centroid(seen.cover, seen.box) - centroid(seen.light, seen.box)
    assert rise == pytest.approx([0.0, radius / 4.0], abs=0.03)


def test_a_ball_released_within_the_exposure_shows_only_its_share():
    sensor = Sensor(exposure_s=0.01)
    whole = streak(SHOT, FrameCamera(CAMERA), sensor, (EVEN, BallLook()), 0.2)
    part = streak(SHOT, FrameCamera(CAMERA), sensor, (EVEN, BallLook()), 0.1 - 0.0025)
    assert part.cover.sum() / whole.cover.sum() == pytest.approx(0.25, abs=0.01)
    assert streak(SHOT, FrameCamera(CAMERA), sensor, (EVEN, BallLook()), 0.09) is None


def test_slopes_are_the_derivatives_by_the_balls_place():
    sensor = Sensor(exposure_s=1.0 / 240.0)
    size = 0.1
    seen = streak(SHOT, FrameCamera(CAMERA), sensor, (EVEN, BallLook()), 1.0)
    for axis in (0, 1):
        moved = []
        for way in (-size, size):
            change = np.zeros(14)
            change[7 + axis] = way
            other = streak(
                SHOT, FrameCamera(CAMERA.perturbed(change)), sensor, (EVEN, BallLook()), 1.0
            )
            canvas = np.zeros((1080, 1920))
            canvas[other.box[1] : other.box[3], other.box[0] : other.box[2]] = other.cover
            moved.append(canvas[seen.box[1] : seen.box[3], seen.box[0] : seen.box[2]])
        slope = (moved[1] - moved[0]) / (2.0 * size)
        assert seen.cover_slopes[axis] == pytest.approx(slope, abs=0.02 * np.abs(slope).max())


@pytest.mark.parametrize("rotation_deg", [0, 90, 180, 270])
def test_rows_are_those_of_the_stored_frame(rotation_deg):
    sensor = Sensor(readout_s=0.01, rotation_deg=rotation_deg)
    shown = np.zeros((108, 192), np.uint8)
    shown[20, 150] = 1
    stored = sensor.stored(shown)
    row = np.argwhere(stored)[0, 0]
    share = sensor.row_share(np.array([[150.0, 20.0]]), (192, 108))[0]
    assert share == pytest.approx(row / (stored.shape[0] - 1) - 0.5, abs=1e-12)


def test_a_rolling_shutter_takes_the_ball_later_further_down():
    sensor = Sensor(readout_s=0.02)

    def where(times):
        return CAMERA.project(SHOT.positions(times))

    frame = np.array([0.9])
    late = row_times(sensor, CAMERA.size_px, where, frame)
    share = where(late)[0, 1] / 1079.0 - 0.5
    assert late[0] - frame[0] == pytest.approx(0.02 * share, abs=1e-9)


def test_a_ball_beyond_the_frames_edge_leaves_only_what_reaches_in():
    sensor = Sensor()
    pixel = true_pixel(SHOT, CAMERA, sensor, 1.0)
    narrow = replace(CAMERA, size_px=(int(pixel[0]) // 2 * 2, 1080))
    seen = streak(SHOT, FrameCamera(narrow), sensor, (EVEN, BallLook()), 1.0)
    assert seen is not None
    assert seen.box[2] <= narrow.size_px[0]
    far = replace(CAMERA, size_px=(int(pixel[0]) // 2 * 2 - 60, 1080))
    assert streak(SHOT, FrameCamera(far), sensor, (EVEN, BallLook()), 1.0) is None
