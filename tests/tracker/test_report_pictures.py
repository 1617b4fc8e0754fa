"""The picture of a shot, opened and looked at pixel by pixel."""

import gc
import io
import tracemalloc
from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest

from tests.tracker.invented_shot import CAMERA, MARKERS, field, invented, unmeasured, with_ball
from tracker.records import MeasuredShot, Quality
from tracker.report.composite import cut, multiple_exposure
from tracker.report.look import spaced
from tracker.report.scene import SceneScale, _draw_markers, window_around
from tracker.report.sheet import Sheet
from tracker.report.shot_picture import ShotFrames, shot_picture


def opened(content: bytes) -> np.ndarray:
    image = cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_COLOR)
    assert image is not None
    return image


@cache
def content() -> bytes:
    measured, ground, patches = invented()
    return shot_picture(measured, ShotFrames(ground, patches, MARKERS))


@pytest.fixture(scope="module")
def shown() -> np.ndarray:
    return opened(content())


def near(image: np.ndarray, colour: tuple[int, int, int], reach: int = 40) -> int:
    """Count the pixels of about that red, green, blue."""
    return int(np.all(np.abs(image[:, :, ::-1].astype(int) - colour) <= reach, axis=2).sum())


def test_the_picture_is_as_wide_as_the_frame_and_holds_more_than_it(shown: np.ndarray) -> None:
    assert shown.shape[1] == 1920
    assert 1100 < shown.shape[0] < 1900


def test_places_and_balls_show_in_their_colours(shown: np.ndarray) -> None:
    assert near(shown, (255, 176, 0)) > 2000
    assert near(shown, (85, 199, 255)) > 200
    assert near(shown, (225, 235, 90), reach=50) > 300


def test_the_same_shot_gives_the_same_bytes() -> None:
    measured, ground, patches = invented()
    assert shot_picture(measured, ShotFrames(ground, patches, MARKERS)) == content()


def test_ticks_stand_beside_places_that_are_far_enough_from_the_last_that_has_them() -> None:
    along = np.array([0.0, 3.0, 8.0, 15.9, 16.0, 40.0, 47.0])
    # Along a slope of 3 to 4, and back down: the way counts, not the distance.
    path = np.column_stack([0.6 * along, 0.8 * np.minimum(along, 80.0 - along)])
    assert spaced(path, 8.0).tolist() == [0, 2, 4, 5]
    assert spaced(path[:1], 8.0).tolist() == [0]
    turned = np.array([[0.0, 0.0], [5.0, 0.0], [0.0, 0.0], [1.0, 0.0]])
    assert spaced(turned, 8.0).tolist() == [0, 2]


def test_a_shot_without_a_path_or_places_still_has_a_picture() -> None:
    image = opened(shot_picture(MeasuredShot(unmeasured()), ShotFrames(field())))
    assert image.shape[1] == 1920


def test_names_with_signs_of_mathematics_are_written_as_they_are() -> None:
    measured, ground, patches = invented(Quality.CHECK)
    shot = replace(measured.shot, setup="$5 wheels_{x^$ [a]")
    named = (("$_{cone", MARKERS[1][1]),)
    made = shot_picture(replace(measured, shot=shot), ShotFrames(ground, patches, named))
    assert io.BytesIO(made).read(2) == b"\xff\xd8"


def test_a_multiple_exposure_shows_the_ball_where_it_was_and_nothing_else_changed() -> None:
    ground = field()
    spots = [np.array([700.0, 300.0]), np.array([709.0, 296.0]), np.array([1500.0, 200.0])]
    patches = [cut(i, with_ball(ground, spot), spot, 14) for i, spot in enumerate(spots)]
    together = multiple_exposure(ground, [patch for patch in patches if patch], 9.0)
    for spot in spots:
        column, row = spot.astype(int)
        assert np.abs(together[row, column].astype(int) - (90, 235, 225)).max() <= 2
    changed = np.argwhere(np.any(together != ground, axis=2))[:, ::-1]
    apart = np.min(np.linalg.norm(changed[:, None] - np.array(spots)[None], axis=2), axis=1)
    assert apart.max() < 4


def test_a_patch_at_the_edge_is_cut_off_and_beyond_it_is_none() -> None:
    ground = field()
    patch = cut(5, ground, (3.2, 1079.0), 14)
    assert patch is not None
    assert patch.corner == (0, 1065)
    assert patch.image.shape == (15, 18, 3)
    assert cut(5, ground, (-50.0, 10.0), 14) is None
    assert cut(5, ground, (np.nan, 10.0), 14) is None


@pytest.mark.parametrize("shape", [(1080, 1920, 3), (1920, 1080, 3), (480, 640, 3)])
def test_the_window_lies_in_the_frame_and_holds_the_shot(shape: tuple[int, ...]) -> None:
    measured = invented()[0]
    left, top, right, bottom = window_around(measured, shape)
    height, width = shape[:2]
    assert 0 <= left < right <= width
    assert 0 <= top < bottom <= height
    assert measured.path is not None
    inside = np.clip(measured.path.pixels, 0, (width - 1, height - 1))
    if shape == (1080, 1920, 3):
        assert np.all(inside >= (left, top))
        assert np.all(inside <= (right, bottom))


def test_the_window_holds_the_markers_that_fix_the_scale() -> None:
    measured = invented()[0]
    shape = (1080, 1920, 3)
    whole = window_around(measured, shape)
    beyond = [("left", (3.0, 700.0)), ("right", (1915.0, 1077.0)), ("outside", (2500.0, 700.0))]
    left, _, right, bottom = window_around(measured, shape, beyond)
    assert left <= 3 and right >= 1915 and bottom >= 1077
    assert window_around(measured, shape, [("off", (960.0, 540.0))]) == whole


def test_a_name_goes_off_the_sign_of_another_marker() -> None:
    """The second marker stands where the name of the first would."""
    scale = SceneScale((0, 0, 1920, 1080), 12.8)
    near = [("first", (500.0, 500.0)), ("second", (505.0, 518.0))]
    sheet = Sheet.empty((12.8, 7.2))
    found = _draw_markers(sheet, near, scale, [])
    signs, names = found[:2], found[2:]
    assert len(names) == 2
    assert all(name.overlap(sign) == 0.0 for name in names for sign in signs)
    assert names[0].overlap(names[1]) == 0.0


def test_a_camera_on_the_other_side_makes_no_difference() -> None:
    measured, ground, patches = invented()
    assert measured.path is not None
    flip = np.array([CAMERA.size_px[0] - 1, 0.0])
    path = replace(
        measured.path,
        pixels=np.abs(flip - measured.path.pixels),
        release_px=np.abs(flip - measured.path.release_px),
        landing_px=np.abs(flip - measured.path.landing_px),
    )
    image = opened(shot_picture(replace(measured, path=path), ShotFrames(ground, patches)))
    assert image.shape[1] == 1920


@pytest.mark.campaign
def test_a_picture_takes_little_memory_and_leaves_none_behind() -> None:
    measured, ground, patches = invented()
    seen = ShotFrames(ground, patches, MARKERS)
    shot_picture(measured, seen)
    gc.collect()
    gc.disable()
    tracemalloc.start()
    try:
        shot_picture(measured, seen)
        after, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
        gc.enable()
    # The frame as doubles in four planes would be eleven times its size.
    assert peak < 7 * ground.nbytes
    assert after < ground.nbytes
