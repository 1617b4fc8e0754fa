"""Which cells of the ballot are tried: the tops of hills, however high the others' sides."""

import numpy as np
from scipy.ndimage import maximum_filter

from tracker.following.starts import MOST_STARTS, peaks

SHAPE = (40, 48, 58)


def clutter():
    """Votes of a few things that move, each a long ridge, far above what a weak ball gets."""
    row, angle, speed = np.indices(SHAPE, float)
    votes = np.zeros(SHAPE)
    for at in (8.0, 20.0, 31.0):
        ridge = np.hypot(row - at, speed - 20.0 - 0.4 * angle)
        votes += 120.0 * np.exp(-0.5 * (ridge / 4.0) ** 2) * (1.0 + 0.2 * np.cos(angle / 9.0))
    return votes


def test_a_weak_ball_beside_what_moves_is_tried():
    ball = (14, 22, 50)
    votes = clutter()
    squared = sum((i - at) ** 2 for i, at in zip(np.indices(SHAPE), ball, strict=True))
    votes += 45.0 * np.exp(-0.5 * squared / 1.5**2)
    assert np.sum(votes > votes[ball]) > 5000
    cells = peaks(votes, np.zeros(SHAPE[1:]))
    assert list(ball) in cells.tolist()


def test_cells_are_tops_of_either_measure_and_each_once():
    rng = np.random.default_rng(3)
    votes, usual = rng.normal(20.0, 15.0, SHAPE), rng.uniform(0.0, 60.0, SHAPE[1:])
    standing = votes / np.sqrt(6.0 * usual + 40.0)
    cells = peaks(votes, usual)
    assert len(cells) == len({tuple(cell) for cell in cells.tolist()}) <= sum(MOST_STARTS)
    tops = [measure == maximum_filter(measure, 5, mode="nearest") for measure in (votes, standing)]
    at = tuple(cells.T)
    assert np.all(tops[0][at] | tops[1][at])
    assert np.unravel_index(np.argmax(votes), SHAPE) == tuple(cells[0])
    assert np.unravel_index(np.argmax(standing), SHAPE) in [tuple(cell) for cell in cells]


def test_nothing_is_tried_where_nothing_stands_out():
    assert len(peaks(np.zeros(SHAPE), np.full(SHAPE[1:], 5.0))) == 0
