"""Projectiles without air: closed forms, and the examples of a textbook.

Closed forms: T = (v sin a + sqrt(v^2 sin^2 a + 2 g h)) / g and what follows, any mechanics text.
Examples: OpenStax University Physics vol. 1, chapters 4 to 6, with g = 9.80; the book's rounded
answers with a tolerance of its rounding, and the same answers in full precision.
"""

import numpy as np
import pytest

from calibration.ground import Ground
from tests.published.flight_cases import launch
from tracker.flight.events import apex, crossing
from tracker.flight.figures import FIGURES, figures
from tracker.flight.forces import Forces
from tracker.flight.integration import LAUNCH, fly

VACUUM = Forces(0.0)
BOOK = Forces(0.0, 9.80)


@pytest.mark.parametrize(
    ("speed", "angle", "height", "time", "carry", "top", "landing"),
    [
        (20, 45, 0, 2.884192996, 40.788648519, 10.197162130, 20),
        (10, 30, 0.5, 1.111461722, 9.625540865, 1.774645266, 10.478866828),
        (25, 20, 1.0, 1.853829304, 43.550742934, 4.727629289, 25.389235908),
        (15, 60, 0, 2.649300435, 19.869753265, 8.603855547, 15),
        (12, 0, 1.2, 0.494703842, 5.936446102, 1.2, 12.943568287),
    ],
)
def test_closed_forms(speed, angle, height, time, carry, top, landing):
    found = figures(fly(launch(speed, angle, height), VACUUM, 4.0), 0.0)
    assert found["flight_time_s"] == pytest.approx(time, abs=1e-9)
    assert found["carry_m"] == pytest.approx(carry, abs=1e-8)
    assert found["apex_m"] == pytest.approx(top, abs=1e-9)
    assert found["landing_speed_mps"] == pytest.approx(landing, abs=1e-9)


@pytest.mark.parametrize("rise", [0.02, -0.025, 0.2])
@pytest.mark.parametrize("angle", [25.0, 60.0])
def test_closed_forms_on_a_slope(rise, angle):
    # T = 2 v sin(a - s) / (g cos s), R = v cos a T on the level, s = atan(rise): the projectile on
    # an inclined plane, any mechanics text (from memory).
    slope, up = np.arctan(rise), np.radians(angle)
    time = 2 * 20 * np.sin(up - slope) / (9.80665 * np.cos(slope))
    flight = fly(launch(20, angle), VACUUM, 4.5, with_sensitivities=True)
    found = figures(flight, 0.0, Ground(rise))
    assert found["flight_time_s"] == pytest.approx(time, abs=1e-9)
    assert found["carry_m"] == pytest.approx(20 * np.cos(up) * time, abs=1e-8)
    # dT/dv_up = 2 / g, dT/dv_along = -2 rise / g; the carry is v_along T.
    names = ("speed_along", "speed_up")
    at = [LAUNCH.index(name) for name in names]
    by_time, by_carry = (
        found.by_launch[FIGURES.index(n), at] for n in ("flight_time_s", "carry_m")
    )
    expected = np.array([-2 * rise, 2]) / 9.80665
    np.testing.assert_allclose(by_time, expected, atol=1e-9)
    level = 20 * np.cos(up)
    np.testing.assert_allclose(
        by_carry, [time + level * expected[0], level * expected[1]], atol=1e-7
    )
    # What rises across the line changes nothing for a ball on it.
    aside = figures(flight, 0.0, Ground(0.0, 0.1))
    assert aside["carry_m"] == pytest.approx(20**2 * np.sin(2 * up) / 9.80665, abs=1e-8)


def test_best_angle_from_a_height():
    # tan a = v / sqrt(v^2 + 2 g h), R = (v / g) sqrt(v^2 + 2 g h).
    best = figures(fly(launch(20, 44.314392170, 1.0), VACUUM, 4.0, with_sensitivities=True), 0.0)
    assert best["carry_m"] == pytest.approx(41.776681834, abs=1e-8)
    # There the carry does not change with the angle: turn the velocity a little.
    up, level = 20 * np.sin(np.radians(44.314392170)), 20 * np.cos(np.radians(44.314392170))
    turning = best.by_launch[3, [3, 5]] @ np.array([-up, level])
    assert abs(turning) < 1e-6


def test_path_length():
    # (v^2 / g)(sin a + cos^2 a artanh(sin a)) = 46.816948691 m for 20 m/s at 45 degrees.
    flight = fly(launch(20, 45), VACUUM, 4.0)
    end = crossing(flight, 0.0).time_s
    nodes, weights = np.polynomial.legendre.leggauss(40)
    speeds = np.linalg.norm(flight.at(end / 2 * (nodes + 1))[:, 3:], axis=1)
    assert end / 2 * weights @ speeds == pytest.approx(46.816948691, abs=1e-8)


def test_book_fireworks():
    top = apex(fly(launch(70.0, 75.0), BOOK, 10.0))
    along, up = top.state[0], top.state[2]
    assert (up, top.time_s, along) == pytest.approx((233.2532, 6.89947, 125.0000), rel=2e-6)
    assert (up, top.time_s, along) == pytest.approx((233, 6.90, 125), rel=3e-3)
    away, angle = np.hypot(along, up), np.degrees(np.arctan2(up, along))
    assert (away, angle) == pytest.approx((264.6357, 61.8132), rel=2e-6)
    assert (away, angle) == pytest.approx((264, 61.8), rel=3e-3)


def test_book_tennis_ball_caught_higher_up():
    caught = crossing(fly(launch(30.0, 45.0), BOOK, 5.0), 10.0)
    speed = np.linalg.norm(caught.state[3:])
    below = np.degrees(np.arctan2(-caught.state[5], caught.state[3]))
    assert (caught.time_s, speed, below) == pytest.approx((3.79088, 26.53300, 36.91736), rel=2e-6)
    assert (caught.time_s, below) == pytest.approx((3.79, 36.9), rel=1e-3)


@pytest.mark.parametrize(("angle", "speed", "book"), [(30, 31.91310, 31.9), (70, 37.04252, 37.0)])
def test_book_golf(angle, speed, book):
    assert figures(fly(launch(speed, angle), BOOK, 8.0), 0.0)["carry_m"] == pytest.approx(
        90.0, rel=1e-6
    )
    assert speed == pytest.approx(book, rel=2e-3)


def test_book_rock_from_a_cliff():
    hit = crossing(fly(launch(15.0, 0.0), BOOK, 6.0), -100.0)
    speed = np.linalg.norm(hit.state[3:])
    angle = np.degrees(np.arctan2(-hit.state[5], hit.state[3]))
    assert (-hit.state[5], speed, angle) == pytest.approx((44.27189, 46.74398, 71.28282), rel=2e-6)
    assert (-hit.state[5], speed, angle) == pytest.approx((44.3, 46.8, 71.3), rel=2e-3)


def test_book_football_and_crossbar():
    kicked = figures(fly(launch(23.0, 10.0), BOOK, 2.0), 0.0)["carry_m"]
    assert kicked == pytest.approx(18.46211, rel=2e-6)
    assert kicked == pytest.approx(18.5, rel=3e-3)
    bar = fly(launch(16.38118, 25.0), BOOK, 2.0)
    assert bar.at(10.0 / (16.38118 * np.cos(np.radians(25.0))))[0, 2] == pytest.approx(
        2.44, abs=1e-6
    )


@pytest.mark.parametrize(
    ("speed", "angle", "drop", "time", "along", "book_time", "book_along"),
    [
        (20.0, 40.0, 20.0, 3.72065, 57.00360, 3.7, 56.7),
        (30.0, 53.0, 100.0, 7.58146, 136.87905, 7.58, 136.44),
        (500 / 3.6 + 300.0, 0.0, 800.0, 12.77753, 5607.9165, 12.8, 5619.0),
    ],
)
def test_book_landing_lower(speed, angle, drop, time, along, book_time, book_along):
    hit = crossing(fly(launch(speed, angle), BOOK, 20.0), -drop)
    assert (hit.time_s, hit.state[0]) == pytest.approx((time, along), rel=2e-6)
    assert (hit.time_s, hit.state[0]) == pytest.approx((book_time, book_along), rel=1e-2)


def test_book_apex_above_the_cliff():
    assert apex(fly(launch(30.0, 53.0), BOOK, 5.0)).state[2] == pytest.approx(29.28759, rel=2e-6)


@pytest.mark.parametrize(
    ("mass", "coefficient", "area", "full", "book", "tolerance"),
    [(75.0, 0.70, 0.18, 98.1930, 98.0, 5e-3), (85.0, 1.0, 0.70, 44.3502, 44.0, 1e-2)],
)
def test_book_skydivers(mass, coefficient, area, full, book, tolerance):
    forces = Forces(1.21 * area / (2 * mass), 9.80)
    fall = fly(launch(0.0, 0.0, drag=coefficient), forces, 200.0, 0.1)
    assert -fall.states[-1, 5] == pytest.approx(full, rel=2e-6)
    assert -fall.states[-1, 5] == pytest.approx(book, rel=tolerance)
