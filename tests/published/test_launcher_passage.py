"""A ball between two wheels against its closed forms, and mechanics problems of a textbook.

The closed forms follow from angular impulse, ``m v = 2 I (w0 - wf) / r``, with the exit at rim
speed or ahead of it by a tangential restitution; their numbers were computed beside this
project. The first two rows take the machine of a public question, 'Torque required to launch a
tennis ball' (Engineering Stack Exchange 25130).
"""

import math

import pytest

from tracker.launcher.passage import PLATE, Body, Nip, Side, contact_of, pass_through
from tracker.launcher.wheel import shape_inertia

RPM = 2 * math.pi / 60
MUCH = 1e6
"""Friction work without end, J: a grip that never slips through."""

ROWS = [
    # ball kg, wheel kg, r m, rpm; exit, rpm after, wheels give J, ball J, heat J, v e .10, v e .17
    (0.058, 0.05, 0.05, 7000, 16.968479, 3240.741, 26.385839, 8.349949, 18.035890, 18.665327,
     19.853120),
    (0.100, 0.05, 0.05, 7000, 12.217305, 2333.333, 29.852507, 7.463127, 22.389380, 13.439035,
     14.294247),
    (0.058, 0.30, 0.05, 3500, 15.356947, 2932.961, 15.000731, 6.839239, 8.161492, 16.892642,
     17.967628),
    (0.058, 0.30, 0.10, 2500, 21.938496, 2094.972, 30.613737, 13.957631, 16.656106, 24.132346,
     25.668041),
]  # fmt: skip


def shoot(row: tuple, restitution: float):
    ball, mass, radius, rpm = row[:4]
    side = Side(radius, shape_inertia(mass, radius, "disc"), rpm * RPM)
    body = Body(ball, 0.55 * ball * 0.0335**2, 0.0335)
    return side, pass_through((side, side), body, Nip(MUCH, restitution=restitution))


@pytest.mark.parametrize("row", ROWS)
def test_exit_at_rim_speed(row: tuple) -> None:
    side, out = shoot(row, 0.0)
    speed, rpm_after, given, ball_energy, heat = row[4:9]
    assert out.speed_mps == pytest.approx(speed, abs=1e-6)
    assert out.wheel_radps[0] / RPM == pytest.approx(rpm_after, abs=1e-3)
    lost = sum(0.5 * side.inertia_kgm2 * (side.speed_radps**2 - w**2) for w in out.wheel_radps)
    assert lost == pytest.approx(given, abs=1e-6)
    assert 0.5 * row[0] * out.speed_mps**2 == pytest.approx(ball_energy, abs=1e-6)
    assert out.slip_heat_j == pytest.approx(heat, abs=1e-6)
    # Never more than half of what the wheels give reaches the ball: 1 / (2 + s).
    s = row[0] * row[2] ** 2 / (2 * side.inertia_kgm2)
    assert ball_energy / lost == pytest.approx(1 / (2 + s), rel=1e-6)
    assert out.gripped == (True, True)


@pytest.mark.parametrize("row", ROWS)
@pytest.mark.parametrize(("restitution", "column"), [(0.10, 9), (0.17, 10)])
def test_exit_with_tangential_restitution(row: tuple, restitution: float, column: int) -> None:
    """Restitutions of a gripping tennis ball: Cross, Am. J. Phys. 70, 1093 (2002)."""
    side, out = shoot(row, restitution)
    assert out.speed_mps == pytest.approx(row[column], abs=1e-6)
    u, s = side.speed_radps * side.radius_m, row[0] * row[2] ** 2 / (2 * side.inertia_kgm2)
    after = side.speed_radps * (1 - restitution * s) / (1 + s)
    assert out.wheel_radps[0] == pytest.approx(after, rel=1e-9)
    heat = (1 - restitution**2) * side.inertia_kgm2 * side.speed_radps**2 * s / (1 + s)
    assert out.slip_heat_j == pytest.approx(heat, rel=1e-9)
    assert u > 0


def test_the_forum_formula_is_not_ours() -> None:
    """u / sqrt(1 + s), energy kept and exit at rim speed, contradicts the angular impulse."""
    _, out = shoot(ROWS[0], 0.0)
    assert abs(out.speed_mps - 24.938469) > 7.9


def test_unequal_wheels_of_great_inertia_share_speed_and_spin() -> None:
    """v = (u1 + u2) / 2 and w = (u1 - u2) / 2 R: 22 and 18 m/s on a ball of 33.5 mm."""
    fast, slow = Side(0.1, 1e9, 220.0), Side(0.1, 1e9, 180.0)
    body = Body(0.058, 0.55 * 0.058 * 0.0335**2, 0.0335)
    out = pass_through((fast, slow), body, Nip(MUCH))
    assert out.speed_mps == pytest.approx(20.0, abs=1e-6)
    assert out.spin_radps == pytest.approx(59.70149, abs=1e-4)
    assert out.spin_radps / RPM == pytest.approx(570.107, abs=1e-3)
    assert out.spin_radps * 0.0335 / out.speed_mps == pytest.approx(0.1, abs=1e-6)


def test_the_least_friction_is_the_one_of_the_work_on_offer() -> None:
    """mu >= m v^2 / (4 L N): 58 g to 20 m/s over 50 mm with 150 N a side needs 0.77333."""
    rim = Side(0.1, 1e9, 200.0)
    body = Body(0.058, 0.55 * 0.058 * 0.0335**2, 0.0335)
    for friction, grips in ((0.77333 * 0.999, False), (0.77334 * 1.001, True)):
        out = pass_through((rim, rim), body, Nip(friction * 150.0 * 0.05))
        assert out.gripped == (grips, grips)
        assert out.speed_mps == pytest.approx(20.0, rel=1e-3)
    out = pass_through((rim, rim), body, Nip(0.5 * 150.0 * 0.05))
    assert out.speed_mps == pytest.approx(math.sqrt(4 * 0.5 * 150 * 0.05 / 0.058), rel=1e-12)


def test_against_a_plate_the_ball_rolls_at_half_the_rim_speed() -> None:
    """Rolling without slip on the plate: centre at u / 2, spin u / 2 R (rigid-body kinematics)."""
    body = Body(0.058, 0.55 * 0.058 * 0.0335**2, 0.0335)
    out = pass_through((Side(0.1, 1e9, 200.0), PLATE), body, Nip(MUCH))
    assert out.speed_mps == pytest.approx(10.0, rel=1e-9)
    assert out.spin_radps == pytest.approx(10.0 / 0.0335, rel=1e-9)


def test_contact_is_the_integral_of_the_squeeze() -> None:
    """Closed forms against quadrature by the general library."""
    from scipy.integrate import quad

    r, R, g = 0.07, 0.0335, 0.052
    touch = r + R
    two = contact_of(r, R, g, 15e3, plate=False)
    axis = r + g / 2
    area, _ = quad(lambda x: 2 * (touch - math.hypot(x, axis)), -two.length_m / 2, two.length_m / 2)
    assert two.normal_work_j == pytest.approx(15e3 * area, rel=1e-9)
    assert two.squeeze_m == pytest.approx(2 * (touch - axis), rel=1e-12)

    one = contact_of(r, R, g, 15e3, plate=True)

    def squeeze(x: float) -> float:
        # Ball at height b over the plate, squeezed by R - b at either side.
        from scipy.optimize import brentq

        b = brentq(lambda b: math.hypot(x, r + g - b) - r - b, 0.0, 2 * R)
        return 2 * (R - b)

    area, _ = quad(squeeze, -one.length_m / 2, one.length_m / 2)
    assert one.normal_work_j == pytest.approx(15e3 * area, rel=1e-7)
    assert squeeze(0.0) == pytest.approx(one.squeeze_m, rel=1e-9)
    assert squeeze(one.length_m / 2) == pytest.approx(0.0, abs=1e-9)
