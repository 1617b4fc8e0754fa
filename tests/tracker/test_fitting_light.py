"""A light with one direction, as it falls on a ball in several parts of a wide picture."""

import numpy as np
import pytest

from calibration.camera import looking_at
from tracker.fitting.light import light_in_picture, shift_by_light
from tracker.records import Track

WIDE = looking_at((20.0, -30.0, 1.5), (20.0, 0.0, 3.0), 1400.0, (1920, 1080))
AHEAD = np.array([[0.0, 0.0, 1.0]])


def test_in_the_middle_columns_and_rows_are_the_cameras_own_axes():
    assert light_in_picture(7.0 * AHEAD)[0] == pytest.approx(np.eye(3)[:2])


@pytest.mark.parametrize("angle_deg", [-35.0, 20.0])
def test_light_along_the_cameras_axis_comes_from_the_side_at_the_edge(angle_deg):
    """Lambert's law: the part of the light across the line of sight, sine of the angle to it."""
    turn = np.radians(angle_deg)
    sight = np.array([[np.sin(turn), 0.0, np.cos(turn)]])
    column, row = light_in_picture(sight)[0] @ np.array([0.0, 0.0, 10.0])
    assert column == pytest.approx(-10.0 * np.sin(turn))
    assert row == pytest.approx(0.0)
    upright = light_in_picture(sight[:, [1, 0, 2]])[0] @ np.array([0.0, 0.0, 10.0])
    assert upright == pytest.approx([0.0, -10.0 * np.sin(turn)])


def test_a_lit_spheres_slope_is_that_of_its_irradiance_along_the_pictures_columns():
    """Irradiance of an unshaded sphere is its normal times the light: on a step across the line of
    sight towards the next column it grows by the light along that step."""
    point, radius, light = np.array([8.0, 1.0, 7.0]), 1e-4, np.array([3.0, -9.0, 5.0])
    sight = WIDE.in_camera(point)
    normals = np.random.default_rng(3).normal(size=(4000, 3))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    toward = normals @ (sight[0] / np.linalg.norm(sight))
    rim = normals[np.abs(toward) < 0.03]
    pixels = WIDE.project(point + radius * rim @ WIDE.rotation) - WIDE.project(point)
    pixels /= np.linalg.norm(pixels, axis=1).mean()
    slopes = np.linalg.lstsq(pixels, rim @ light, rcond=None)[0]
    across = light_in_picture(sight)[0]
    # Columns and rows are not quite square to each other on the ball, off both axes.
    assert slopes == pytest.approx(across @ light, abs=0.12 * np.linalg.norm(light))


def test_places_shift_by_lean_times_light_in_the_picture():
    pixels = np.array([[100.0, 400.0], [959.5, 539.5]])
    track = Track(np.arange(2), np.arange(2.0), pixels, np.tile(np.eye(2), (2, 1, 1)),
                  np.array([0.01, -0.02]))  # fmt: skip
    light = np.array([4.0, -20.0, 24.0])
    sights = np.column_stack([(pixels - 959.5 * np.array([1.0, 539.5 / 959.5])) / 1400.0, [1, 1]])
    wanted = np.array([[0.01], [-0.02]]) * (light_in_picture(sights) @ light)
    assert shift_by_light(WIDE, track, light) == pytest.approx(wanted, abs=1e-9)
    assert wanted[0, 0] > 0.01 * 4.0 > 0.0
