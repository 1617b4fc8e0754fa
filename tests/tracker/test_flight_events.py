import numpy as np
import pytest

from tests.published.flight_cases import TENNIS, launch
from tracker.flight.events import apex, crossing
from tracker.flight.forces import Forces
from tracker.flight.integration import LAUNCH, fly
from tracker.flight.trajectory import Trajectory

SHOT = np.array([0.1, -0.2, 0.8, 17.0, 0.6, 9.0, 0.53, 0.04, -0.03, 1.0, -0.7])
VACUUM = Forces(0.0)


def test_crossing_is_at_its_height_and_going_down():
    for height in (0.0335, 0.8, 2.0):
        found = crossing(fly(SHOT, TENNIS, 3.0), height)
        assert found.state[2] == pytest.approx(height, abs=1e-12)
        assert found.state[5] < 0.0


def test_apex_is_level():
    found = apex(fly(SHOT, TENNIS, 3.0))
    assert found.state[5] == pytest.approx(0.0, abs=1e-12)
    assert found.state[2] >= fly(SHOT, TENNIS, 3.0).states[:, 2].max()


def test_what_the_flight_does_not_reach():
    flight = fly(SHOT, TENNIS, 0.3)
    assert apex(flight) is None
    assert crossing(flight, 0.0) is None
    assert crossing(fly(SHOT, TENNIS, 3.0), 50.0) is None


def test_falling_from_the_start():
    flight = fly(launch(10, -20, 2.0, 0.5), TENNIS, 2.0, with_sensitivities=True)
    top = apex(flight)
    assert top.time_s == 0.0
    assert np.array_equal(top.state, flight.states[0])
    assert np.array_equal(top.time_by_launch, np.zeros(11))
    assert np.array_equal(top.state_by_launch, flight.sensitivities[0])


def test_starting_at_the_height():
    # On the way up it is not yet coming down; on the way down it comes through at once.
    up = crossing(fly(launch(10, 40, 1.0), VACUUM, 3.0), 1.0)
    assert up.time_s == pytest.approx(2 * 10 * np.sin(np.radians(40)) / 9.80665, abs=1e-12)
    down = crossing(fly(launch(10, -40, 1.0), VACUUM, 3.0), 1.0)
    assert down.time_s == pytest.approx(0.0, abs=1e-12)


def test_a_top_between_two_nodes():
    # The ball is above the height for less than a step, and at no node.
    rise = 9.80665 * 0.01
    flight = fly(np.array([0, 0, 1.0, 5, 0, rise, 0, 0, 0, 0, 0]), VACUUM, 0.4)
    height = 1.0 + rise**2 / (2 * 9.80665) - 1e-5
    assert np.all(flight.states[:, 2] < height)
    found = crossing(flight, height)
    assert found.time_s == pytest.approx(0.01 + np.sqrt(2e-5 / 9.80665), abs=1e-12)


def test_height_of_the_apex_itself():
    flight = fly(SHOT, TENNIS, 3.0)
    top = apex(flight)
    found = crossing(flight, top.state[2] - 1e-9)
    assert found.time_s == pytest.approx(top.time_s, abs=1e-4)
    assert crossing(flight, top.state[2] + 1e-9) is None


def test_a_second_coming_down_is_not_the_first():
    # Lift so strong that the ball loops.
    flight = fly(launch(20, 10, 1.0, 0.1, lift=(8.0, 0.0)), TENNIS, 6.0, 0.005)
    falls = np.flatnonzero((flight.states[:-1, 2] > 3.0) & (flight.states[1:, 2] <= 3.0))
    assert len(falls) > 1
    found = crossing(flight, 3.0)
    assert flight.times_s[falls[0]] <= found.time_s <= flight.times_s[falls[0] + 1]


@pytest.mark.parametrize("event", [apex, lambda flight: crossing(flight, 0.0335)])
def test_derivatives_are_central_differences(event):
    found = event(fly(SHOT, TENNIS, 3.0, with_sensitivities=True))
    for column in range(len(LAUNCH)):
        step = np.zeros(len(LAUNCH))
        step[column] = 1e-5
        ahead, behind = (event(fly(SHOT + sign * step, TENNIS, 3.0)) for sign in (1, -1))
        by_time = (ahead.time_s - behind.time_s) / 2e-5
        assert found.time_by_launch[column] == pytest.approx(by_time, abs=1e-6)
        by_state = (ahead.state - behind.state) / 2e-5
        assert np.abs(found.state_by_launch[:, column] - by_state).max() < 1e-6


def test_without_sensitivities_there_are_no_derivatives():
    found = crossing(fly(SHOT, TENNIS, 3.0), 0.0)
    assert found.time_by_launch is None
    assert found.state_by_launch is None


def test_staying_at_a_height_is_not_coming_down():
    level = fly(launch(10, 0, 1.0), Forces(0.0, 0.0), 1.0)
    assert crossing(level, 1.0) is None


def test_a_path_on_which_newton_alone_would_run_away():
    # Steep at both ends, rising between them: the middle, where the search begins, slopes away.
    states = np.array([[0, 0, 1.0, 1, 0, -10], [1, 0, -1.0, 1, 0, -10]])
    bent = Trajectory(np.array([0.0, 1.0]), states, np.hstack([states[:, 3:], np.zeros((2, 3))]))
    found = crossing(bent, 0.3)
    assert 0.0 < found.time_s < 1.0
    assert found.state[2] == pytest.approx(0.3, abs=1e-12)
