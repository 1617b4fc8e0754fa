"""Nine flights that two unrelated integrators agree on to 9e-14.

A ball of 58 g and 67 mm in air of 1.2 kg/m3, g = 9.80665; computed outside the project with
scipy's DOP853 at a tolerance of 1e-12 and by extrapolation in 80-bit floats. The flight ends
with the ball's centre at the level of zero. Across is to the left here, to the right there.
"""

import numpy as np
import pytest

from tests.published.flight_cases import TENNIS, launch
from tracker.flight.events import apex, crossing
from tracker.flight.integration import fly

CASES = {
    1: launch(20, 45),
    2: launch(20, 45, 0.0, 0.55),
    3: launch(10, 30, 0.5, 0.55),
    4: launch(25, 20, 1.0, 0.55),
    5: launch(20, 20, 0.5, 0.55, lift=(0.15, 0.0)),
    6: launch(25, 15, 1.0, 0.55, lift=(-0.20, 0.0)),
    7: launch(20, 45, 0.0, 0.55, wind=(-5.0, 0.0)),
    8: launch(20, 30, 0.5, 0.55, wind=(3.0, -2.0)),
    9: launch(20, 15, 1.0, 0.55, lift=(0.0, 0.20)),
}
# time, along, to the right, speed, degrees below the horizontal
LANDINGS = {
    1: (2.884192996, 40.788648519, 0, 20.000000000, 45.000000000),
    2: (2.515773593, 25.814129508, 0, 13.468726113, 55.828090622),
    3: (1.085886523, 8.574595973, 0, 9.109951780, 37.770657936),
    4: (1.682868242, 28.916507906, 0, 15.163166568, 31.987889296),
    5: (1.565061326, 22.838360803, 0, 13.493556630, 29.574170196),
    6: (1.076511433, 20.954472227, 0, 17.077247548, 24.036665016),
    7: (2.452580003, 19.896300222, 0, 11.599767200, 68.587561393),
    8: (1.911161876, 27.150332583, 0.831250133, 14.848729184, 36.814442505),
    9: (1.176411589, 18.619630966, -1.289299648, 14.533875486, 25.049814452),
}
# time, along, up
APEXES = {
    1: (1.442096498, 20.394324260, 10.197162130),
    2: (1.193143750, 14.085271027, 7.803521995),
    3: (0.487548014, 4.039970973, 1.699302672),
    4: (0.738853555, 14.821751993, 3.968948558),
    5: (0.722764088, 11.867733378, 2.893196180),
    6: (0.436660126, 9.608113641, 2.338707378),
    7: (1.152463145, 12.092183586, 7.445633855),
    8: (0.891101409, 13.880280802, 4.730082010),
    9: (0.482001593, 8.518371729, 2.207715853),
}


def landing_row(landing):
    velocity = landing.state[3:]
    level = np.hypot(velocity[0], velocity[1])
    return (
        landing.time_s,
        landing.state[0],
        -landing.state[1],
        np.linalg.norm(velocity),
        np.degrees(np.arctan2(-velocity[2], level)),
    )


def apex_row(top):
    return (top.time_s, top.state[0], top.state[2])


@pytest.mark.parametrize("case", CASES)
def test_fit_integrator(case):
    flight = fly(CASES[case], TENNIS, 3.0, step_s=0.005)
    assert landing_row(crossing(flight, 0.0)) == pytest.approx(LANDINGS[case], abs=1e-8)
    assert apex_row(apex(flight)) == pytest.approx(APEXES[case], abs=1e-8)


@pytest.mark.parametrize("case", CASES)
def test_fit_integrator_at_its_usual_step(case):
    flight = fly(CASES[case], TENNIS, 3.0)
    assert landing_row(crossing(flight, 0.0)) == pytest.approx(LANDINGS[case], abs=2e-7)
    assert apex_row(apex(flight)) == pytest.approx(APEXES[case], abs=2e-8)


def test_a_millisecond_step_and_interpolation():
    # Tried outside: Runge-Kutta of fourth order at 1 ms on case 5 is 5e-10 m off with cubic
    # Hermite interpolation and 4.4e-7 m with a straight line between the nodes.
    landing = crossing(fly(CASES[5], TENNIS, 2.0, step_s=0.001), 0.0)
    assert landing.state[0] == pytest.approx(22.838360803, abs=1e-9)
