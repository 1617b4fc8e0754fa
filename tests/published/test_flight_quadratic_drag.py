"""Quadratic drag: closed forms on a line, the first order in the drag, and approximate formulae.

On a line, with v_t = sqrt(g / k): H = (v_t^2 / 2g) ln(1 + v0^2 / v_t^2), t_up = (v_t / g)
atan(v0 / v_t), v_return = v0 / sqrt(1 + v0^2 / v_t^2), t_down = (v_t / g) artanh(v_return / v_t):
any text on mechanics, for instance K. R. Symon, Mechanics; the numbers were computed from these.
"""

import numpy as np
import pytest

from tests.published.flight_cases import REACH, TENNIS, launch
from tracker.flight.events import apex, crossing
from tracker.flight.figures import figures
from tracker.flight.forces import Forces
from tracker.flight.integration import fly

DRAG = 0.55
STEP = 0.002

UP_AND_DOWN = [
    (5, 1.243123953, 0.501424343, 4.876858007, 0.505609634),
    (10, 4.638845223, 0.957644303, 9.111442447, 0.987809526),
    (20, 14.901795376, 1.657887651, 14.832282287, 1.831318480),
    (36, 32.278602746, 2.299767740, 18.840679982, 2.849479033),
]


@pytest.mark.parametrize(("speed", "height", "rise", "back", "fall"), UP_AND_DOWN)
def test_straight_up_and_back(speed, height, rise, back, fall):
    flight = fly(launch(speed, 90.0, drag=DRAG), TENNIS, 6.0, STEP)
    top, landing = apex(flight), crossing(flight, 0.0)
    assert (top.state[2], top.time_s) == pytest.approx((height, rise), abs=1e-8)
    assert -landing.state[5] == pytest.approx(back, abs=1e-8)
    assert landing.time_s - top.time_s == pytest.approx(fall, abs=1e-8)


@pytest.mark.parametrize(
    ("height", "speed", "time"),
    [
        (1, 4.384640389, 0.453112092),
        (2, 6.139552899, 0.642938809),
        (10, 12.710730546, 1.476276323),
        (50, 20.569505532, 3.744202411),
    ],
)
def test_drop_from_rest(height, speed, time):
    landing = crossing(fly(launch(0, 0, height, DRAG), TENNIS, 4.0, STEP), 0.0)
    assert -landing.state[5] == pytest.approx(speed, abs=1e-9)
    assert landing.time_s == pytest.approx(time, abs=1e-9)


def test_without_gravity():
    # v = v0 / (1 + k v0 t), x = ln(1 + k v0 t) / k, v = v0 exp(-k x).
    flight = fly(launch(20, 0, drag=DRAG), Forces(REACH, 0.0), 1.0, STEP)
    state = flight.at(0.5)[0]
    assert (state[3], state[0]) == pytest.approx((16.658372718, 9.113740328), abs=1e-9)
    nodes = flight.states
    at_ten = np.interp(10.0, nodes[:, 0], nodes[:, 3])
    assert at_ten == pytest.approx(16.364834780, abs=1e-5)


def test_baseball_of_a_school_text():
    # 0.142 kg, terminal speed 42.5 m/s, thrown up at 36 m/s, g 9.81 (school-physics worked
    # example): the drag is 0.999 N at 36 m/s; H and the return speed follow.
    strength = 9.81 / 42.5**2
    assert 0.142 * strength == pytest.approx(0.00077, abs=5e-6)
    assert 0.142 * strength * 36**2 == pytest.approx(0.999, abs=1e-3)
    flight = fly(launch(36, 90, drag=1.0), Forces(strength, 9.81), 8.0, STEP)
    assert apex(flight).state[2] == pytest.approx(49.79384, abs=1e-5)
    assert -crossing(flight, 0.0).state[5] == pytest.approx(27.46964, abs=1e-5)


@pytest.mark.parametrize(
    ("angle", "first"),
    [(15, 0.338065973), (30, 0.613997451), (45, 0.783975981), (60, 0.836504870)],
)
def test_first_order_in_the_drag(angle, first):
    # R = R0 [1 - F(a) k v0^2 / g + O(k^2)]: F was derived by hand and checked by Richardson
    # extrapolation of another integrator; the sensitivity in vacuum gives it at once.
    found = figures(fly(launch(20, angle), TENNIS, 4.0, with_sensitivities=True), 0.0)
    by_strength = found.by_launch[3, 6] / REACH
    assert -by_strength * 9.80665 / (20**2 * found["carry_m"]) == pytest.approx(first, abs=1e-8)


@pytest.mark.parametrize(
    ("speed", "angle", "excess_percent"),
    [(10, 45, 0.41), (20, 45, -0.07), (20, 20, 0.84), (25, 30, 0.06), (20, 70, -1.16)],
)
def test_approximate_formulae(speed, angle, excess_percent):
    # P. S. Chudinov's formulae, from memory; how far they miss the range was computed elsewhere.
    a = np.radians(angle)
    s, c = np.sin(a), np.cos(a)
    strength = DRAG * REACH * speed**2 / 9.80665
    top = speed**2 * s**2 / (9.80665 * (2 + strength * s))
    time = 2 * np.sqrt(2 * top / 9.80665)
    level = speed * c / np.sqrt(1 + strength * (s + c**2 * np.log(np.tan(a / 2 + np.pi / 4))))
    found = figures(fly(launch(speed, angle, drag=DRAG), TENNIS, 5.0), 0.0)
    missed = 100 * (level * time / found["carry_m"] - 1)
    assert missed == pytest.approx(excess_percent, abs=0.006)


@pytest.mark.parametrize(
    ("drag", "terminal"),
    [(0.4, 25.926803), (0.507, 23.028995), (0.55, 22.110452), (0.62, 20.824909), (0.65, 20.338658)],
)
def test_terminal_speed(drag, terminal):
    # v_t = sqrt(g / k), g = 9.80665.
    assert -fly(launch(0, 0, drag=drag), TENNIS, 40.0).states[-1, 5] == pytest.approx(
        terminal, abs=1e-6
    )


def test_terminal_speed_that_an_answer_site_has_wrong():
    # 73 mm, 146 g, C_D 1, 1.3 kg/m3: given as 3.28 m/s on a public answer site; it is 22.9332.
    forces = Forces(1.3 * np.pi * 0.073**2 / 4 / (2 * 0.146), 9.80)
    speed = -fly(launch(0, 0, drag=1.0), forces, 40.0).states[-1, 5]
    assert speed == pytest.approx(22.9332, abs=1e-4)
