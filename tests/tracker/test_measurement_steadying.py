"""A camera that moves: frames are drawn as a still one would have seen them."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from calibration.camera import looking_at
from calibration.steadiness import Motion, SteadyReference
from calibration.steadiness.averages import FEWEST, FIRST
from tracker.measurement.steadying import ALERT_S, GLANCE_S, Led, Steadier
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
def test_frames_of_a_turned_camera_come_back(shift: tuple[int, int]) -> None:
    steadier = Steadier(CAMERA, FRAME_S)
    steadier.see(0, view((0, 0)))
    drawn, colour = steadier.see(1, view(shift), view(shift)[::2, ::2])
    assert steadier.moves
    inner = np.s_[20:-20, 20:-20]
    assert np.mean(np.abs(drawn[inner].astype(float) - view((0, 0))[inner])) < 4.0
    assert colour is not None and colour.shape == (SIZE[1] // 2, SIZE[0] // 2)
    back = steadier.steadied(at(1, PLACES))
    assert back.steadied is not None
    assert back.steadied.filmed_pixels == pytest.approx(PLACES + np.array(shift, float), abs=0.5)
    sizes = np.sqrt(np.trace(back.steadied.covariances, axis1=1, axis2=2))
    assert np.all((sizes > 0.01) & (sizes < 0.5))


def test_a_filmed_pixel_is_traced_back_to_the_still_camera() -> None:
    steadier = Steadier(CAMERA, FRAME_S)
    steadier.see(0, view((0, 0)))
    steadier.see(1, view((7, -3)))
    for place in PLACES:
        still, covariance = steadier.still_pixel(1, (place[0] + 7.0, place[1] - 3.0))
        # A turn moves the corners a little otherwise than the middle.
        assert still == pytest.approx(place, abs=1.0)
        assert 0.0 < np.trace(covariance) < 0.25
        back = steadier._filmed(steadier._motions[1][0], still[None])[0][0]
        assert back == pytest.approx((place[0] + 7.0, place[1] - 3.0), abs=1e-3)
    still, covariance = steadier.still_pixel(0, (100.0, 80.0))
    assert still.tolist() == [100.0, 80.0]
    assert not covariance.any()


def test_what_the_moved_camera_does_not_show_is_as_in_the_frame_before() -> None:
    steadier = Steadier(CAMERA, FRAME_S)
    steadier.see(0, view((0, 0)))
    drawn, _ = steadier.see(1, view((12, 0)))
    # The picture moved to the right, so what was at its right edge is gone.
    assert np.array_equal(drawn[:, -9:], view((0, 0))[:, -9:])


def test_only_a_part_is_drawn_anew() -> None:
    steadier = Steadier(CAMERA, FRAME_S, part=(100, 60, 300, 200))
    steadier.see(0, view((0, 0)))
    drawn, _ = steadier.see(1, view((3, 0)))
    outside = np.ones(drawn.shape, bool)
    outside[60:200, 100:300] = False
    assert np.array_equal(drawn[outside], view((0, 0))[outside])
    assert np.mean(np.abs(drawn[60:200, 100:300].astype(float) - view((0, 0))[60:200, 100:300])) < 4


def test_places_are_where_the_still_camera_sees_them_though_a_homography_draws_the_frame() -> None:
    """A lens that distorts carries a turn to the edges by more than any homography does."""
    lens = replace(CAMERA, distortion=np.array([-0.2, 0.05, 0.0, 0.0, 0.0]))
    steadier = Steadier(lens, FRAME_S)
    steadier.see(0, view((0, 0)))
    steadier.see(1, view((12, 5)))
    motion, homography = steadier._motions[1]
    seen = steadier.steadied(at(1, PLACES)).steadied
    assert seen is not None
    drawn = cv2.perspectiveTransform(PLACES[None], homography)[0]
    np.testing.assert_array_equal(seen.filmed_pixels, drawn)
    followed, _ = steadier._filmed(motion, seen.still_pixels)
    np.testing.assert_allclose(followed, seen.filmed_pixels, atol=0.01)
    assert np.linalg.norm(seen.still_pixels - PLACES, axis=1).max() > 0.1


def test_frames_without_a_known_motion_are_counted() -> None:
    steadier = Steadier(CAMERA, FRAME_S)
    steadier.see(0, view((0, 0)))
    for frame in range(1, 4):
        steadier.see(frame, np.flipud(view((0, 0))).copy())
    steadier.see(4, view((0, 0)))
    assert steadier.lost_share == pytest.approx(0.75)
    # Means of many frames show that it stood all the same.
    for frame in range(5, FIRST + FEWEST + 4):
        steadier.see(frame, view((0, 0)))
    assert steadier.lost_share == 0.0 and not steadier.moves


def test_a_still_camera_leaves_candidates_as_they_are() -> None:
    steadier = Steadier(CAMERA, FRAME_S)
    for frame in range(20):
        steadier.see(frame, view((0, 0)))
    found = at(19, PLACES)
    assert steadier.steadied(found) is found
    assert not steadier.moves
    assert found.steadied is None


def test_no_motion_is_fitted_while_the_camera_stands(monkeypatch: pytest.MonkeyPatch) -> None:
    fits = []
    measured = SteadyReference.measured

    def counted(reference: SteadyReference, luma: np.ndarray, frame: int) -> Motion:
        fits.append(1)
        return measured(reference, luma, frame)

    monkeypatch.setattr(SteadyReference, "motion", counted)
    steadier = Steadier(CAMERA, FRAME_S)
    for frame in range(60):
        steadier.see(frame, view((0, 0)))
    assert not fits and steadier.lost_share == 0.0
    steadier.see(60, view((2, 0)))
    steadier.see(61, view((0, 0)))
    assert len(fits) == 3  # once more where the first motion was found, and from then on always


def test_after_a_move_every_frame_is_looked_at_for_a_while() -> None:
    steadier = Steadier(CAMERA, FRAME_S)
    glance, alert = round(GLANCE_S / FRAME_S), round(ALERT_S / FRAME_S)
    first = (alert // glance + 2) * glance
    for frame in range(first):
        steadier.see(frame, view((0, 0)))
    steadier.see(first, view((2, 0)))
    steadier.see(first + 1, view((3, 0)))
    back = steadier.steadied(at(first + 1, PLACES))
    assert back.steadied is not None
    assert back.steadied.filmed_pixels == pytest.approx(PLACES + np.array([3.0, 0.0]), abs=0.5)


def test_another_view_is_a_camera_that_could_not_be_followed() -> None:
    """A pan beyond all that the first frame shows; when that is back, it is followed again."""
    steadier = Steadier(CAMERA, FRAME_S)
    glance = round(GLANCE_S / FRAME_S)
    other = np.ascontiguousarray(texture(seed=9)[: SIZE[1], : SIZE[0]])
    for frame, shown in enumerate([view((0, 0))] * glance + [other] * glance):
        assert not steadier.lost
        steadier.see(frame, shown)
        if steadier.lost:
            break
    assert frame == glance
    for frame in range(glance + 1, 3 * glance + 1):
        steadier.see(frame, view((0, 0)))
    assert not steadier.lost


def test_a_picture_without_texture_is_taken_as_it_is() -> None:
    steadier = Steadier(CAMERA, FRAME_S)
    for frame in range(12):
        steadier.see(frame, np.full(SIZE[::-1], 90, np.uint8))
    found = at(11, PLACES)
    assert steadier.steadied(found) is found and not steadier.moves
    assert steadier.blind and Led(steadier).blind


def test_the_first_frame_with_texture_is_what_others_are_held_against() -> None:
    """A film may begin in black; then it is looked at again at every glance."""
    steadier = Steadier(CAMERA, FRAME_S)
    glance = round(GLANCE_S / FRAME_S)
    steadier.see(0, np.full(SIZE[::-1], 16, np.uint8))
    for frame in range(1, glance + 1):
        assert steadier.blind
        steadier.see(frame, view((0, 0)))
    assert not steadier.blind
    steadier.see(glance + 1, view((3, 0)))
    assert steadier.moves
