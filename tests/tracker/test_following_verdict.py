"""What a hypothesis needs to be a flight, and when two are one."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.test_following_search import VIEW, clip, context, search, thrown
from tests.tracker.thrown_balls import Throw
from tracker.following.hypothesis import straight_flight
from tracker.following.verdict import extent_of, is_twin, px_per_m, shortfall
from tracker.records import ReasonCode

GATE_PX = 45.0


def flight(release_s=1.0, angle_deg=40.0, speed_mps=19.0, **numbers):
    return replace(
        straight_flight(context(), release_s, np.radians(angle_deg), speed_mps), **numbers
    )


def test_a_flight_beside_one_that_was_found_is_its_twin():
    one = flight()
    assert is_twin(context(), flight(angle_deg=40.5, speed_mps=19.1), [one], GATE_PX)
    assert is_twin(context(), flight(release_s=1.02), [flight(3.0), one], GATE_PX)
    assert not is_twin(context(), one, [], GATE_PX)


def test_other_flights_are_no_twins():
    one = flight()
    # Elsewhere at the same time, and the same way a moment later.
    assert not is_twin(context(), flight(angle_deg=70.0), [one], GATE_PX)
    assert not is_twin(context(), flight(release_s=1.3), [one], GATE_PX)


def test_what_is_left_of_a_ball_gives_no_second_flight():
    # A ball that shows as two things, a few gates apart: both halves would pass alone.
    throw, rng = Throw(19.0, 45.0), np.random.default_rng(12)
    ball = thrown(throw, 2.0)

    def shadow(time):
        at = ball(time)
        return None if at is None else at + np.array([16.0, 16.0])

    assert len(search(clip(rng, 6.0, [shadow], missing=0.1))) == 1
    assert len(search(clip(rng, 6.0, [ball, shadow], missing=0.1))) == 1


@pytest.mark.parametrize(
    ("numbers", "code"),
    [
        ({"hits": 5, "in_view": 10, "support": 90.0}, ReasonCode.DETECTIONS_FEW),
        ({"hits": 11, "in_view": 60, "support": 90.0}, ReasonCode.DETECTIONS_SHARE),
        ({"hits": 20, "in_view": 60, "support": 27.0}, ReasonCode.CHANCE),
    ],
)
def test_what_a_flight_lacks_is_named(numbers, code):
    reason = shortfall(flight(**numbers))
    assert reason is not None and reason.code is code


def test_a_flight_that_lacks_nothing_has_no_shortfall():
    assert shortfall(flight(hits=6, in_view=30, support=28.0)) is None


def test_extent_is_what_the_frame_shows_of_the_line():
    along, up = extent_of(context())
    width, height = VIEW.size_px
    # The right edge of the frame on the line's plane, and its upper edge.
    corners = [(width - 1.0, height - 1.0), (width - 1.0, 0.0), (width / 2.0, 0.0)]
    places = VIEW.on_plane(np.array(corners), context().release_m, (0.0, 1.0, 0.0))
    assert along == pytest.approx(1.02 * (places[:, 0].max() - context().release_m[0]), rel=1e-6)
    assert up == pytest.approx(1.02 * places[:, 2].max(), rel=0.05)


def test_pixels_a_metre_are_those_of_the_middle_of_the_line():
    middle = context().release_m + np.array([15.0, 0.0, 2.0])
    two = VIEW.project(np.stack([middle, middle + np.array([0.0, 0.0, 1.0])]))
    assert px_per_m(context(), 40.0) == pytest.approx(np.linalg.norm(two[1] - two[0]), rel=0.02)
