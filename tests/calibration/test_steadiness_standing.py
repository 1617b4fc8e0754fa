"""A camera stands until a motion is certain and large enough; each point has its own scatter."""

import numpy as np
import pytest

from calibration.steadiness.motion import SIZE, Motion
from calibration.steadiness.scatter import PointScatter
from calibration.steadiness.standing import may_stand


def _motion(shift_px: float, u_rad: float = 1e-5) -> Motion:
    turn = np.zeros(SIZE)
    turn[0] = 1e-4
    return Motion(turn, u_rad**2 * np.eye(SIZE), True, shift_px, 1.0)


@pytest.mark.parametrize(
    ("shift_px", "moves", "stands"),
    [(0.3, False, False), (0.2, False, True), (0.2, True, False), (0.08, True, True)],
)
def test_a_camera_that_stood_needs_a_larger_shift(shift_px, moves, stands):
    assert may_stand(_motion(shift_px), moves) is stands


def test_a_large_shift_that_may_be_chance_is_none():
    # Five standard uncertainties are below the 99.9 % point of ten degrees of freedom, six above.
    assert may_stand(_motion(5.0, 1e-4 / 5.0), True)
    assert not may_stand(_motion(5.0, 1e-4 / 6.0), True)


def test_each_point_gets_the_scatter_that_it_shows():
    rng = np.random.default_rng(1)
    true_px = np.repeat([0.1, 0.5, 1.7], 200)
    scatter = PointScatter(len(true_px), 1.0)
    assert np.ptp(scatter.own_px) == 0.0 and scatter.calm.all()
    found = np.ones(len(true_px), bool)
    for _ in range(60):
        scatter.learn(rng.normal(size=(len(true_px), 2)) * true_px[:, None], found, 0.5)
    own = scatter.own_px.reshape(3, 200)
    assert np.sqrt(np.mean(own**2, axis=1)) == pytest.approx([0.1, 0.5, 1.7], rel=0.1)
    assert scatter.calm[:400].mean() > 0.99 and scatter.calm[400:].mean() < 0.1


def test_a_point_that_somebody_hid_is_soon_back():
    scatter, both = PointScatter(2, 0.5), np.ones(2, bool)
    near = np.full((2, 2), 0.1)
    for _ in range(40):
        scatter.learn(near, both, 0.1)
    before = scatter.own_px
    scatter.learn(near, np.array([True, False]), 0.1)
    assert scatter.own_px[1] == before[1]
    for _ in range(40):
        scatter.learn(np.array([[0.1, 0.1], [500.0, 0.0]]), both, 0.1)
    assert scatter.own_px == pytest.approx([0.1, 6.0], rel=0.01) and not scatter.calm[1]
    for _ in range(30):
        scatter.learn(near, both, 0.1)
    assert scatter.calm[1]
