"""The crowd on the field moves as such things do: birds fall freely between wing beats."""

import numpy as np
import pytest

from calibration.camera import looking_at
from tracker.synthetic.crowd import (
    Bounder,
    _bounds,
    fetchers,
    flock,
    insects,
    leaves,
    passers,
)
from tracker.synthetic.movers import Route
from tracker.synthetic.plate import Plate
from tracker.synthetic.recipes import RECIPES
from tracker.synthetic.scene import Light, Scene
from tracker.synthetic.setting import Setting
from tracker.synthetic.small import Small

CAMERA = looking_at((17.0, -30.0, 1.5), (17.0, 0.0, 3.0), 700.0, (960, 540))
SETTING = Setting(Scene(3), CAMERA, (), 12.0, 0.7, 1.0 / 500.0)


def grey() -> Plate:
    return Plate(
        np.full((540, 960), 120.0, np.float32),
        np.full((270, 480), 128.0, np.float32),
        np.full((270, 480), 128.0, np.float32),
    )


@pytest.mark.parametrize("folded", [0.35, 0.6])
def test_a_bounding_bird_falls_freely_while_its_wings_are_folded(folded):
    step = 0.001
    times = np.arange(0.0, 3.0, step)
    up = _bounds(times, 0.9, folded)
    share = (times / 0.9) % 1.0
    pull = np.diff(up, 2) / step**2
    inside = (share[1:-1] > 0.01) & (share[1:-1] < folded - 0.01)
    assert pull[inside] == pytest.approx(-9.81, abs=0.01)
    beating = (share[1:-1] > folded + 0.01) & (share[1:-1] < 0.99)
    # Over a whole bound lift makes up for weight.
    assert pull[beating] == pytest.approx(9.81 * folded / (1.0 - folded), abs=0.01)
    assert np.abs(np.diff(up)).max() < 0.01


def test_wings_show_in_the_beating_part_alone():
    route = Route(np.array([0.0, 9.0]), np.zeros((2, 3)))
    bird = Bounder(route, Light(), 0.7, 0.3, (0.1, 0.1, 0.1), 0.0, 1.0, 0.4, 10.0)
    shown = [len(bird.shapes(time)) for time in (0.05, 0.39, 0.41, 0.95, 1.05)]
    assert shown == [1, 1, 2, 2, 1]


def test_birds_are_near_and_far_and_of_every_manner():
    birds = [bird for seed in range(6) for bird in flock(SETTING, np.random.default_rng(seed))]
    off = [bird.depth(CAMERA, 6.0) for bird in birds]
    assert min(off) < 8.0 and max(off) > 90.0
    assert 0.2 < np.mean([isinstance(bird, Bounder) for bird in birds]) < 0.35
    assert any(getattr(bird, "beats_per_s", 1.0) == 0.0 for bird in birds)


def test_people_walk_before_and_behind_the_firing_line():
    across = [
        walker.route.at(0.0)[1]
        for seed in range(6)
        for walker in passers(SETTING, np.random.default_rng(seed))
    ]
    assert min(across) < -10.0 and max(across) > 10.0


def test_balls_are_thrown_back_from_hands_and_fall_to_the_ground():
    found = fetchers(SETTING, np.random.default_rng(2))
    balls = [each for each in found if isinstance(each, Small)]
    assert len(balls) >= 4
    for ball in balls:
        points, times = ball.route.points_m, ball.route.times_s
        assert 1.2 <= points[0, 2] <= 2.0
        assert points[-1, 2] == pytest.approx(0.033, abs=0.01)
        assert points[10, 0] < points[0, 0]
        fall = np.diff(points[:6, 2], 2) / np.diff(times[:6])[1:] ** 2
        # Drag, lift of none: somewhat more than gravity on the way up, less on the way down.
        assert np.all((fall < -7.0) & (fall > -14.0))


def test_insects_are_near_the_lens_and_blurred():
    found = insects(SETTING, np.random.default_rng(4))
    off = np.array([each.depth(CAMERA, each.route.times_s[0]) for each in found])
    assert np.all((off > 0.2) & (off <= 3.0)) and off.min() < 1.0


def test_what_is_near_is_out_of_focus_by_the_lens_opening():
    """2.4 mm over 0.4 m at 700 px: a disc of 4.2 px, whose standard deviation is 1.05 px."""
    here, ahead = CAMERA.position + 0.4 * CAMERA.rotation[2], CAMERA.rotation[2]
    spot = Small(Route(np.array([-1.0, 1.0]), np.array([here, here])), Light(), 0.3, 0.002,
                 0.0005, (0.0, 0.0, 0.0))  # fmt: skip
    plate = grey()
    (box,) = spot.draw(plate, CAMERA, 0.0)
    dark = 120.0 - plate.luma[box[1] : box[3], box[0] : box[2]].astype(float)
    columns = np.indices(dark.shape)[1]
    middle = (columns * dark).sum() / dark.sum()
    spread = np.sqrt((dark * (columns - middle) ** 2).sum() / dark.sum())
    # With the point spread in focus, the spot's own half millimetre, and the pixel.
    expected = np.sqrt(0.3**2 + 1.05**2 + (0.0005 * 700 / 0.4) ** 2 / 16 + 1 / 12)
    assert spread == pytest.approx(expected, rel=0.1)
    assert spot.draw(plate, CAMERA, 1.5) == []
    behind = Route(np.array([-1.0, 1.0]), np.array([CAMERA.position - ahead] * 2))
    assert Small(behind, Light(), 0.3, 0.002, 0.01, (0, 0, 0)).draw(plate, CAMERA, 0.0) == []


def test_leaves_fall_and_show_their_edge():
    found = leaves(SETTING, np.random.default_rng(6))
    assert len(found) > 3
    for leaf in found:
        assert np.all(np.diff(leaf.route.points_m[:, 2]) < 0.0)
        assert leaf.flutter_per_s >= 1.0


def test_the_crowd_has_everything_at_once():
    assert set(RECIPES["crowd"].movers) >= {"flock", "passers", "fetchers", "insects", "leaves"}
