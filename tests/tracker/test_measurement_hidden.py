"""How long a ball flew before it was first seen."""

from types import SimpleNamespace

import numpy as np
import pytest

from tracker.measurement.starts import hidden
from tracker.measurement.starts.ends import Ends

AGO_S = 0.02 * np.arange(1, 6)


def test_a_ball_that_would_have_been_seen_did_not_fly_before():
    assert hidden.unseen_s(AGO_S, np.ones(5)) == (0.0, 0.0)
    assert hidden.unseen_s(AGO_S[:0], np.zeros(0)) == (0.0, 0.0)


def test_where_its_background_hides_a_ball_it_may_have_flown_for_any_time():
    """An even law over six moments 0.02 s apart: mean 0.05 s, variance (6^2 - 1) / 12 steps."""
    mean_s, u_s = hidden.unseen_s(AGO_S, np.zeros(5))
    assert mean_s == pytest.approx(0.05)
    assert u_s == pytest.approx(0.02 * np.sqrt(35.0 / 12.0))


def test_a_ball_cannot_have_flown_from_before_where_it_would_have_been_seen():
    """Three moments are left, whatever hides it farther back."""
    mean_s, _ = hidden.unseen_s(AGO_S, np.array([0.0, 0.0, 1.0, 0.0, 0.0]))
    assert mean_s == pytest.approx(0.02)


@pytest.mark.parametrize(
    ("unlike", "known", "expected_s"), [((), True, 0.0), ((8, 9), True, 0.02), ((8, 9), False, 0.0)]
)
def test_a_flight_is_walked_back_frame_by_frame(monkeypatch, unlike, known, expected_s):
    """Frames every 0.02 s, the first sighting in frame 15; a hand may lead it for 0.01 s."""
    frames = [SimpleNamespace(frame=at, time_s=0.02 * at) for at in range(30)]
    unlike, asked = tuple(each + 5 for each in unlike), {}

    def along(context, flight, about):
        asked["about"] = [each.frame for each in about]
        return about[1:], SimpleNamespace()

    def seen(track, used, crossing):
        asked["used"] = used
        return np.ones(len(asked["about"]) - 1) if known else None

    monkeypatch.setattr(hidden, "led_s", lambda flight, frame_s: 0.01)
    monkeypatch.setattr(hidden, "course_along", along)
    monkeypatch.setattr(hidden, "crossing_of", lambda *given: given)
    monkeypatch.setattr(hidden, "chances", seen)
    context = SimpleNamespace(frame_s=0.02, with_circumstances=lambda known: None)
    flight = SimpleNamespace(known=None, camera=None)
    track = SimpleNamespace(frames=np.arange(15, 26), times_s=0.02 * np.arange(15, 26))
    ends = Ends(0.3, 0.5, False, None, unlike)
    found = hidden.hidden_before(flight, context, frames, track, ends)
    # A quarter of a second back, to the last position.
    assert asked["about"] == list(range(3, 26))
    assert not known or np.all(asked["used"])
    assert found.mean_s == pytest.approx(expected_s - 0.005)
    spread_s = 0.02 * np.sqrt(2.0 / 3.0) if expected_s else 0.0
    assert found.u_s == pytest.approx(np.hypot(spread_s, 0.005))
