"""A camera that turns: candidates come back to where a still one would have seen them."""

import numpy as np
import pytest

from calibration.camera import looking_at
from tracker.measurement.steadying import ALERT_S, GLANCE_S, Steadier, offsets, turned
from tracker.records import Candidates, Cutouts

SIZE = (640, 360)
FRAME_S = 1.0 / 60.0
CAMERA = looking_at(np.array([8.0, -25.0, 1.5]), np.array([8.0, 0.0, 3.0]), 600.0, SIZE)
PLACES = np.array([[100.0, 80.0], [320.0, 180.0], [560.0, 300.0]])


def texture(seed: int = 2) -> np.ndarray:
    """A view with corners to hold on to, larger than the frame."""
    rng = np.random.default_rng(seed)
    return np.kron(rng.integers(40, 210, (60, 100)), np.ones((8, 8))).astype(np.uint8)


def view(shift_px: tuple[int, int]) -> np.ndarray:
    """The frame when the camera is turned so that everything moves by whole pixels."""
    column, row = 80 - shift_px[0], 60 - shift_px[1]
    return np.ascontiguousarray(texture()[row : row + SIZE[1], column : column + SIZE[0]])


def at(frame: int, pixels: np.ndarray) -> Candidates:
    empty = Cutouts(np.zeros((len(pixels), 1, 1), np.int16), np.zeros((len(pixels), 2), np.int64))
    return Candidates(frame, frame * FRAME_S, pixels, np.ones(len(pixels)), empty, None)


@pytest.mark.parametrize("shift", [(3, 0), (-4, 2), (0, -3)])
def test_candidates_of_a_turned_camera_come_back(shift: tuple[int, int]) -> None:
    steadier = Steadier(CAMERA, FRAME_S)
    steadier.see(0, view((0, 0)))
    glance = round(GLANCE_S / FRAME_S)
    for frame in range(1, glance + 1):
        steadier.see(frame, view(shift))
    assert steadier.moves
    back = steadier.steadied(at(glance, PLACES + np.array(shift, float)))
    assert back.turn_rad is not None
    assert np.abs(back.pixels - PLACES).max() < 0.4
    # What the frame shows elsewhere is told again for the cutouts, which were not moved.
    moved = offsets(CAMERA, [back] * len(PLACES), PLACES)
    assert np.abs(moved - np.array(shift, float)).max() < 0.4


def test_a_still_camera_leaves_candidates_as_they_are() -> None:
    steadier = Steadier(CAMERA, FRAME_S)
    for frame in range(20):
        steadier.see(frame, view((0, 0)))
    found = at(19, PLACES)
    assert steadier.steadied(found) is found
    assert not steadier.moves
    assert np.all(offsets(CAMERA, [found] * len(PLACES), PLACES) == 0.0)


def test_after_a_move_every_frame_is_looked_at_for_a_while() -> None:
    steadier = Steadier(CAMERA, FRAME_S)
    glance = round(GLANCE_S / FRAME_S)
    for frame in range(glance):
        steadier.see(frame, view((0, 0)))
    steadier.see(glance, view((2, 0)))
    steadier.see(glance + 1, view((3, 0)))
    back = steadier.steadied(at(glance + 1, PLACES + np.array([3.0, 0.0])))
    assert np.abs(back.pixels - PLACES).max() < 0.4
    assert round(ALERT_S / FRAME_S) > glance


def test_a_picture_without_texture_is_taken_as_it_is() -> None:
    steadier = Steadier(CAMERA, FRAME_S)
    for frame in range(12):
        steadier.see(frame, np.full(SIZE[::-1], 90, np.uint8))
    found = at(11, PLACES)
    assert steadier.steadied(found) is found and not steadier.moves


def test_a_turn_moves_near_and_far_alike() -> None:
    turn = np.array([0.004, -0.003, 0.002])
    moved = turned(CAMERA, turn)
    for distance in (10.0, 80.0):
        places = CAMERA.position + distance * CAMERA.rays(PLACES)
        near = CAMERA.position + 30.0 * CAMERA.rays(PLACES)
        np.testing.assert_allclose(moved.project(places), moved.project(near), atol=1e-6)
