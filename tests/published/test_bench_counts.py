"""Limits on a false-shot rate against the printed table of limits on a Poisson mean.

Review of Particle Physics (Particle Data Group), Statistics, table of one-sided limits at 95 %;
from memory, to the printed digits.
"""

import numpy as np
import pytest

from tests.bench.false_alarms import Ledger, Piece, Tally, follows_one, limits
from tests.tracker.test_synthetic_crowd import CAMERA, SETTING
from tracker.records import TrackPoint
from tracker.synthetic.crowd import ThrownBall, fetchers

UPPER_95 = {0: 3.00, 1: 4.74, 2: 6.30, 3: 7.75, 4: 9.15, 5: 10.51, 10: 16.96}
LOWER_95 = {1: 0.051, 2: 0.355, 3: 0.818, 4: 1.37, 5: 1.97, 10: 5.43}


@pytest.mark.parametrize(("count", "printed"), UPPER_95.items())
def test_upper_limit(count, printed):
    assert limits(count)[1] == pytest.approx(printed, abs=0.006)


@pytest.mark.parametrize(("count", "printed"), LOWER_95.items())
def test_lower_limit(count, printed):
    assert limits(count)[0] == pytest.approx(printed, rel=0.01)


def test_line_states_the_limit_by_the_minute():
    assert "limit  0.300" in Tally(10.0, 0, 2).line("birds")
    assert "2 rejected" in Tally(10.0, 0, 2).line("birds")


def test_ledger_goes_on_where_it_was_stopped(tmp_path):
    path = tmp_path / "ledger.jsonl"
    ledger = Ledger(path)
    birds = Piece(
        "birds", 1, 0.5, 30.0, 20.0, False, Tally(1 / 3, 1, 0, 8.0, 4.0), ("released 2.00 s",)
    )
    dog = Piece("dog", 1, 0.5, None, 20.0, True, Tally(1 / 3, 0, 0, 8.0, 4.0))
    ledger.add(birds)
    ledger.add(dog)
    whole = path.read_text(encoding="utf-8")
    path.write_text(whole[:-5], encoding="utf-8")  # stopped in the middle of a line
    again = Ledger(path)
    assert again.pieces == [birds]
    again.add(dog)
    assert Ledger(path).pieces == [birds, dog]
    table = again.table().splitlines()
    assert table[0] == "    seed 1: released 2.00 s"
    assert "0.33 min    1 false" in table[1] and "cpu   24 +   12 s a minute" in table[1]
    assert "limit  8.987" in table[2]  # none in a third of a minute: 3.00 times three
    assert "0.67 min    1 false" in table[3] and "limit  7.116" in table[3]  # 4.74 over it


def test_a_row_of_a_ball_that_a_person_threw_is_none_that_nobody_threw():
    found = fetchers(SETTING, np.random.default_rng(2))
    balls = [(CAMERA, each) for each in found if isinstance(each, ThrownBall)]
    ball = balls[0][1]
    times = ball.route.times_s[2:14].tolist()
    places = CAMERA.project(np.array([ball.route.at(time_s) for time_s in times]))

    def points(off_px: float, spoilt: int) -> list[TrackPoint]:
        moved = places + np.array([off_px, 0.0])
        moved[:spoilt] += 50.0
        return [
            TrackPoint("a.mp4", 1, frame, time_s, *place, True, 0.0, 0.0, 0.0, 0.0, 0.0)
            for frame, (time_s, place) in enumerate(zip(times, moved.tolist(), strict=True))
        ]

    assert follows_one(points(5.0, 3), balls)
    assert not follows_one(points(5.0, 4), balls)
    assert not follows_one(points(7.0, 0), balls)
    assert not follows_one(points(0.0, 0), [])
    assert not follows_one([], balls)
