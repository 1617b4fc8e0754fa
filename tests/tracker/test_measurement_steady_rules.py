"""When a camera is looked at, and how a place of the still camera is found in a moved frame."""

from types import SimpleNamespace

import numpy as np
import pytest

from calibration.camera import looking_at, rotation_from_vector
from calibration.steadiness import Motion
from calibration.steadiness.motion import SHIFT, SIZE, TURN, ZOOM
from tracker.measurement import steadying
from tracker.measurement.steadying import Steadier

FRAME = (640, 360)
CAMERA = looking_at(np.array([8.0, -25.0, 1.5]), np.array([8.0, 0.0, 3.0]), 600.0, FRAME)
STILL = np.zeros(FRAME[::-1], np.uint8)


def motion(significant=False, lost=False, **parts):
    parameters = np.zeros(SIZE)
    for place, value in parts.values():
        parameters[place] = value
    return Motion(parameters, np.eye(SIZE) * 1e-8, significant, 1.0, 1.0, lost)


class Reference:
    """A reference frame that says what it is told, and notes when it is asked."""

    def __init__(self, moved=(), lost=(), stood=()):
        self.asked, self.moved, self.lost, self.camera = [], set(moved), set(lost), CAMERA
        self._stood = set(stood)

    @property
    def averages(self):
        """Whose means show, after some frames, that the camera stood so far."""
        return SimpleNamespace(stood=self.asked[-1] in self._stood)

    def stands(self, _):
        return False

    def motion(self, _, count):
        self.asked.append(count)
        return motion(count in self.moved, count in self.lost)


def looked_at(monkeypatch, frame_s, frames, **said):
    reference = Reference(**said)
    monkeypatch.setattr(steadying, "SteadyReference", lambda *_: reference)
    steadier = Steadier(CAMERA, frame_s)
    monkeypatch.setattr(steadier, "_redrawn", lambda _, luma, blue: (luma, blue), raising=False)
    for number in range(frames):
        steadier.see(number, STILL)
    return steadier, list(dict.fromkeys(reference.asked))


@pytest.mark.parametrize(
    ("frame_s", "soon", "every", "alert"), [(1 / 60, 1, 6, 30), (1 / 240, 4, 24, 120)]
)
def test_a_still_camera_is_looked_at_for_half_a_second_and_then_each_tenth(
    monkeypatch, frame_s, soon, every, alert
):
    """Sixty times a second at first."""
    frames = 3 * alert
    _, asked = looked_at(monkeypatch, frame_s, frames)
    later = [count for count in range(alert + 1, frames) if count % every == 0]
    assert asked == [*range(soon, alert + 1, soon), *later]


def test_after_a_move_every_frame_is_looked_at_however_many_a_second(monkeypatch):
    _, asked = looked_at(monkeypatch, 1 / 240, 60, moved={8})
    assert asked == [4, *range(8, 60)]


def test_at_a_slow_rate_every_frame_is_looked_at(monkeypatch):
    assert looked_at(monkeypatch, 0.5, 12)[1] == list(range(1, 12))


def test_after_a_move_each_frame_is_looked_at_for_half_a_second(monkeypatch):
    """Counted from the frame after it."""
    steadier, asked = looked_at(monkeypatch, 1 / 60, 120, moved={48})
    assert steadier.moves
    regular = [count for count in range(31, 120) if count % 6 == 0]
    assert asked == sorted({*range(1, 31), *regular, *range(48, 49 + 30 + 1)})


def test_frames_that_could_not_be_followed_are_a_share_of_those_looked_at(monkeypatch):
    steadier, asked = looked_at(monkeypatch, 1 / 60, 61, lost={36, 42, 54})
    assert steadier.lost_share == pytest.approx(3 / len(asked))
    assert not steadier.lost
    assert looked_at(monkeypatch, 1 / 60, 61, lost={60})[0].lost


def test_means_that_show_a_camera_to_have_stood_forgive_what_was_lost_before(monkeypatch):
    lost = {5, 9, 20}
    forgiven, asked = looked_at(monkeypatch, 1 / 60, 31, lost=lost, stood={12})
    assert forgiven.lost_share == pytest.approx(1 / len(asked))
    # A camera that moved is no longer a standing one.
    moved, asked = looked_at(monkeypatch, 1 / 60, 31, lost=lost, stood={12}, moved={11})
    assert moved.lost_share == pytest.approx(3 / len(asked))


def test_a_clip_of_one_frame_has_lost_none():
    assert Steadier(CAMERA, 1 / 60).lost_share == 0.0


@pytest.mark.parametrize(
    ("part", "even"),
    [
        ((3, 5, 100, 101), (2, 4, 100, 102)),
        ((-7, -1, 639, 359), (0, 0, 640, 360)),
        ((0, 0, 999, 999), (0, 0, 640, 360)),
        ((4, 6, 8, 10), (4, 6, 8, 10)),
    ],
)
def test_a_part_has_even_edges_within_the_frame(part, even):
    assert steadying._even(part, FRAME) == even


def pinhole(camera, points):
    """Where a camera without distortion sees points, by the textbook."""
    seen = (points - camera.position) @ camera.rotation.T
    return camera.centre_px + camera.focal_px * seen[:, :2] / seen[:, 2:]


@pytest.mark.parametrize(
    "parts",
    [
        {"turn": (TURN, (0.004, -0.003, 0.002))},
        {"shift": (SHIFT, (0.2, -0.1, 0.3))},
        {"zoom": (ZOOM, 0.01)},
    ],
)
def test_a_place_on_the_firing_line_is_found_where_the_moved_camera_sees_it(parts):
    steadier = Steadier(CAMERA, 1 / 60)
    points = np.array([[2.0, 0.0, 1.0], [9.0, 0.0, 4.0], [15.0, 0.0, 0.5]])
    still = pinhole(CAMERA, points)
    move = motion(True, **parts)
    filmed, slopes = steadier._filmed(move, still)
    seen = (points - CAMERA.position) @ CAMERA.rotation.T - move.parameters[SHIFT]
    turned = seen @ rotation_from_vector(move.parameters[TURN]).T
    focal = CAMERA.focal_px * np.exp(move.parameters[ZOOM])
    expected = CAMERA.centre_px + focal * turned[:, :2] / turned[:, 2:]
    np.testing.assert_allclose(filmed, expected, atol=0.02)
    assert slopes.shape == (3, 2, SIZE)


@pytest.mark.parametrize(
    ("away_m", "taken_m"), [(25.0, 25.0), (2.1, 2.1), (1.9, 30.0), (-25.0, 30.0)]
)
def test_the_firing_line_is_at_least_two_metres_off_and_else_taken_at_thirty(away_m, taken_m):
    """What a shift of the camera does shows how far away a line of sight is taken to end."""
    camera = looking_at(np.array([8.0, -away_m, 1.5]), np.array([8.0, 80.0, 1.5]), 600.0, FRAME)
    steadier = Steadier(camera, 1 / 60)
    move = motion(True, shift=(SHIFT, (0.05, 0.0, 0.0)))
    middle = camera.centre_px[None]
    filmed, _ = steadier._filmed(move, middle)
    assert middle[0, 0] - filmed[0, 0] == pytest.approx(600.0 * 0.05 / taken_m, rel=1e-3)


def test_markers_were_picked_where_the_firing_line_is_read():
    steadier = Steadier(CAMERA, 1 / 60)
    line = np.column_stack([np.linspace(0.0, 40.0, 21), np.zeros((21, 2))])
    pixels = pinhole(CAMERA, line)
    inside = np.all((pixels >= 0.0) & (pixels <= (639.0, 359.0)), axis=1)
    assert 0 < inside.sum() < 21
    expected = np.mean(pixels[inside, 1] / 359.0 - 0.5)
    assert steadier._line_share() == pytest.approx(expected, abs=1e-6)
    away = looking_at(np.array([8.0, -25.0, 1.5]), np.array([8.0, -90.0, 3.0]), 600.0, FRAME)
    assert Steadier(away, 1 / 60)._line_share() == 0.0


def test_what_lies_off_the_frame_is_read_with_its_nearest_row():
    steadier = Steadier(CAMERA, 1 / 60)
    pixels = np.array([[320.0, -500.0], [320.0, 179.5], [320.0, 999.0], [np.nan, np.nan]])
    assert steadier._share(pixels) == pytest.approx([-0.5, 0.0, 0.5, 0.0])


@pytest.mark.parametrize("shift", [(3.0, 0.0), (0.0, -2.0), (5.0, 4.0)])
def test_a_part_is_drawn_where_a_homography_takes_it_from(shift):
    rng = np.random.default_rng(3)
    picture = rng.integers(0, 255, (60, 80), dtype=np.uint8)
    before = rng.integers(0, 255, (60, 80), dtype=np.uint8)
    matrix = np.array([[1.0, 0.0, shift[0]], [0.0, 1.0, shift[1]], [0.0, 0.0, 1.0]])
    drawn = steadying._warped(picture, matrix, (20, 10, 60, 50), before)
    columns, rows = int(shift[0]), int(shift[1])
    expected = before.copy()
    expected[10:50, 20:60] = picture[10 + rows : 50 + rows, 20 + columns : 60 + columns]
    np.testing.assert_array_equal(drawn, expected)
    nothing = steadying._warped(picture, matrix, (20, 10, 20, 50), before)
    np.testing.assert_array_equal(nothing, before)


def test_a_moved_frame_comes_back_in_luma_and_colour(monkeypatch):
    """A shift by whole even pixels: colour has half of both sides."""
    steadier = Steadier(CAMERA, 1 / 60)
    rng = np.random.default_rng(4)
    wide = np.kron(rng.integers(0, 255, (50, 90), dtype=np.uint8), np.ones((8, 8), np.uint8))
    luma, colour = wide[6 : 6 + 360, 4 : 4 + 640], wide[3 : 3 + 180, 2 : 2 + 320]
    monkeypatch.setattr(
        steadier, "_filmed", lambda _, grid: (grid - np.array([4.0, 6.0]), None), raising=False
    )
    steadier._before = (np.zeros_like(luma), np.zeros_like(colour))
    drawn, tint = steadier._redrawn(steadier._homography(motion(True)), luma, colour)
    np.testing.assert_array_equal(drawn[20:, 20:], wide[20:360, 20:640])
    np.testing.assert_array_equal(tint[20:, 20:], wide[20:180, 20:320])
    # What was not filmed is as it was before.
    assert not drawn[:3].any() and not drawn[:, :2].any()


def test_a_motion_is_kept_until_its_candidates_come_and_no_longer(monkeypatch):
    steadier = Steadier(CAMERA, 1 / 60)
    homography = np.array([[1.0, 0.0, 5.0], [0.0, 1.0, -2.0], [0.0, 0.0, 1.0]])
    steadier._motions = {frame: (motion(True), homography) for frame in (3, 4, 7)}
    pixels = np.array([[100.0, 100.0]])
    steadied = []
    candidates = SimpleNamespace(
        frame=4, pixels=pixels, with_steadied=lambda each: steadied.append(each) or "steadied"
    )
    assert steadier.steadied(candidates) == "steadied"
    assert list(steadier._motions) == [7]
    found = steadied[0]
    followed, slope = steadier._filmed(motion(True), pixels)
    np.testing.assert_allclose(found.filmed_pixels, pixels + np.array([5.0, -2.0]))
    np.testing.assert_allclose(found.still_pixels, pixels + found.filmed_pixels - followed)
    np.testing.assert_allclose(found.covariances[0], slope[0] @ (1e-8 * np.eye(SIZE)) @ slope[0].T)
    still = SimpleNamespace(frame=5, pixels=pixels)
    assert steadier.steadied(still) is still
