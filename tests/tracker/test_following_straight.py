"""What moves straight on where a flight ends is no flight."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.test_following_search import context
from tracker.following.hypothesis import Pool, straight_flight
from tracker.following.straight import goes_straight

FLIGHT = straight_flight(context(), 1.0, np.radians(40.0), 19.0)
GATE_PX = 4.0


def runs(own: int, on: int, bend_px: float = 0.0, off: int = 0) -> bool:
    """Judge a flight of `own` candidates on a straight way that goes on for `on` more frames.

    `bend_px` is added for the square of each frame number, and `off` of the flight's candidates
    lie 50 px beside the way.
    """
    count = own + on
    frames = np.arange(count)
    pixels = np.column_stack([100.0 + 5.0 * frames, 300.0 - 2.0 * frames + bend_px * frames**2])
    # Each other one of the first lies on the other side.
    pixels[:off, 1] += 50.0 * (-1.0) ** np.arange(off)
    nothing = np.zeros(count)
    pool = Pool(frames, frames / 30.0, frames, pixels, nothing, nothing)
    flight = replace(FLIGHT, hits=own, in_view=own, chosen=np.arange(own))
    return goes_straight(pool, flight, GATE_PX)


@pytest.mark.parametrize(("on", "verdict"), [(2, False), (3, True), (20, True)])
def test_it_goes_on_for_three_tenths_of_the_flight(on: int, verdict: bool) -> None:
    assert runs(10, on) is verdict


def test_what_falls_does_not_go_straight() -> None:
    assert runs(20, 0, bend_px=0.5) is False
    assert runs(20, 20, bend_px=0.5) is False


@pytest.mark.parametrize(("off", "verdict"), [(0, True), (8, True), (9, False)])
def test_six_of_ten_lie_on_the_way(off: int, verdict: bool) -> None:
    assert runs(20, 40, off=off) is verdict


def test_of_two_candidates_nothing_is_said() -> None:
    assert runs(2, 10) is False
    assert runs(3, 10) is True
