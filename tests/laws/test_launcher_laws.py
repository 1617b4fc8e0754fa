"""Laws of mechanics that a shot keeps whatever the machine."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tracker.flight.ball import ball_named
from tracker.launcher.machine import Machine
from tracker.launcher.passage import PLATE, Body, Exit, Nip, Side, pass_through
from tracker.launcher.setup import machine_from_setup
from tracker.launcher.shot import effort, launch

law = settings(deadline=None, max_examples=120)
few = settings(deadline=None, max_examples=25)

sides = st.builds(Side, st.floats(0.02, 0.3), st.floats(1e-6, 1e-1), st.floats(0.0, 800.0))
bodies = st.builds(
    lambda mass, radius, share, squeeze: Body(mass, share * mass * radius**2, squeeze * radius),
    st.floats(0.003, 0.45),
    st.floats(0.02, 0.12),
    st.floats(0.4, 0.67),
    st.floats(0.4, 1.0),
)
nips = st.builds(
    Nip, st.floats(0.01, 200.0), st.floats(0.0, 5.0), st.floats(0.0, 0.5), st.floats(0.0, 10.0)
)


def energy(body: Body, pair: tuple[Side, Side], v: float, w: float, speeds) -> float:
    wheels = sum(
        0.5 * side.inertia_kgm2 * speed**2
        for side, speed in zip(pair, speeds, strict=True)
        if math.isfinite(side.inertia_kgm2)
    )
    return 0.5 * body.mass_kg * v**2 + 0.5 * body.inertia_kgm2 * w**2 + wheels


def speeds(pair: tuple[Side, Side]) -> tuple[float, float]:
    return pair[0].speed_radps, pair[1].speed_radps


def left(out: Exit) -> bool:
    return out.speed_mps > 0.0


@law
@given(sides, sides, bodies, nips)
def test_energy_balances(first: Side, second: Side, body: Body, nip: Nip) -> None:
    out = pass_through((first, second), body, nip)
    assume(left(out))
    pair = (first, second)
    before = energy(body, pair, nip.entry_mps, 0.0, speeds(pair))
    after = energy(body, pair, out.speed_mps, out.spin_radps, out.wheel_radps)
    heat = out.slip_heat_j + out.squeeze_heat_j
    assert before == pytest.approx(after + heat, rel=1e-9, abs=1e-9)
    assert out.squeeze_heat_j <= nip.squeeze_loss_j * (1 + 1e-9)
    assert out.slip_heat_j >= -1e-9 * max(1.0, before)


@law
@given(sides, sides, bodies, nips)
def test_momentum_balances(first: Side, second: Side, body: Body, nip: Nip) -> None:
    """What the wheels lose of angular momentum is the friction's impulse on the ball."""
    still = Nip(nip.friction_work_j, 0.0, nip.restitution, nip.entry_mps)
    out = pass_through((first, second), body, still)
    assume(left(out))
    impulse = [
        side.inertia_kgm2 * (side.speed_radps - after) / side.radius_m
        for side, after in zip((first, second), out.wheel_radps, strict=True)
    ]
    scale = 1e-9 * (1 + sum(s.inertia_kgm2 * s.speed_radps / s.radius_m for s in (first, second)))
    gained = body.mass_kg * (out.speed_mps - still.entry_mps)
    assert sum(impulse) == pytest.approx(gained, rel=1e-9, abs=scale)
    turned = body.inertia_kgm2 * out.spin_radps
    assert body.arm_m * (impulse[0] - impulse[1]) == pytest.approx(turned, rel=1e-9, abs=scale)


@law
@given(sides, sides, bodies, nips)
def test_sides_can_change_places(first: Side, second: Side, body: Body, nip: Nip) -> None:
    one, other = pass_through((first, second), body, nip), pass_through((second, first), body, nip)
    assert one.speed_mps == pytest.approx(other.speed_mps, rel=1e-7, abs=1e-9)
    assert one.spin_radps == pytest.approx(-other.spin_radps, rel=1e-7, abs=1e-6)
    assert one.wheel_radps == pytest.approx(other.wheel_radps[::-1], rel=1e-7, abs=1e-7)


@law
@given(sides, bodies, nips)
def test_equal_wheels_give_no_spin(side: Side, body: Body, nip: Nip) -> None:
    out = pass_through((side, side), body, nip)
    assert out.spin_radps == pytest.approx(0.0, abs=1e-9 * max(1.0, side.speed_radps))


@law
@given(sides, bodies, st.floats(0.01, 300.0), st.floats(1.0, 3.0))
def test_more_grip_never_slows_a_ball(side: Side, body: Body, work: float, more: float) -> None:
    slow = pass_through((side, side), body, Nip(work))
    fast = pass_through((side, side), body, Nip(work * more))
    assert fast.speed_mps >= slow.speed_mps * (1 - 1e-12)
    # Never faster than the rim, nor than all friction on offer makes it.
    limit = math.sqrt(4 * work / body.mass_kg)
    s = body.mass_kg * side.radius_m**2 / (2 * side.inertia_kgm2)
    together = side.speed_radps * side.radius_m / (1 + s)
    assert slow.speed_mps == pytest.approx(min(limit, together), rel=1e-9)


@law
@given(sides, bodies, nips, st.floats(0.1, 10.0))
def test_the_unit_of_mass_does_not_matter(side: Side, body: Body, nip: Nip, unit: float) -> None:
    other = Side(side.radius_m * 0.9, side.inertia_kgm2 * 1.3, side.speed_radps * 0.8)

    def scaled(one: Side) -> Side:
        return Side(one.radius_m, one.inertia_kgm2 * unit, one.speed_radps)

    plain = pass_through((side, other), body, nip)
    moved = pass_through(
        (scaled(side), scaled(other)),
        Body(body.mass_kg * unit, body.inertia_kgm2 * unit, body.arm_m),
        Nip(nip.friction_work_j * unit, nip.squeeze_loss_j * unit, nip.restitution, nip.entry_mps),
    )
    assert moved.speed_mps == pytest.approx(plain.speed_mps, rel=1e-6, abs=1e-9)
    assert moved.slip_heat_j == pytest.approx(plain.slip_heat_j * unit, rel=1e-6, abs=1e-7)


@law
@given(sides, bodies, nips)
def test_a_plate_is_a_wheel_too_heavy_to_turn(side: Side, body: Body, nip: Nip) -> None:
    plate = pass_through((side, PLATE), body, nip)
    heavy = pass_through((side, Side(1.0, 1e12, 0.0)), body, nip)
    assert plate.speed_mps == pytest.approx(heavy.speed_mps, rel=1e-6, abs=1e-7)
    assert plate.wheel_radps[1] == 0.0


def machine(**changes: float) -> Machine:
    tables = {
        "wheel": {"diameter_mm": 140.0, "mass_g": 210.0},
        "motor": {"supply_v": 12.0, "no_load_rpm": 6000.0, "stall_torque_mnm": 400.0},
        "grip": {"gap_mm": 50.0},
    }
    for key, value in changes.items():
        table, name = key.split("__")
        tables.setdefault(table, {})[name] = value
    return machine_from_setup(tables)


@few
@given(st.floats(20, 99), st.floats(20, 99))
def test_more_duty_is_more_speed(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assume(high - low > 0.5)
    ball = ball_named("tennis")
    slow = launch(machine(motor__duty_percent=low, grip__friction=2.0), ball)
    fast = launch(machine(motor__duty_percent=high, grip__friction=2.0), ball)
    assert fast.running.speeds_radps[0] > slow.running.speeds_radps[0]
    assert fast.exit.speed_mps > slow.exit.speed_mps


@few
@given(st.floats(0.0, 0.5), st.floats(1.0, 80.0), st.floats(0.0, 20.0))
def test_every_loss_costs_speed(resistance: float, windage: float, bearing: float) -> None:
    free = launch(
        machine(battery__resistance_ohm=0.0, losses__windage_factor=0.5, losses__bearing_mnm=0.0),
        ball_named("tennis"),
    )
    held = launch(
        machine(
            battery__resistance_ohm=resistance,
            losses__windage_factor=windage,
            losses__bearing_mnm=bearing,
        ),
        ball_named("tennis"),
    )
    assert held.running.speeds_radps[0] <= free.running.speeds_radps[0] * (1 + 1e-12)


@few
@given(st.floats(50, 600), st.floats(1.05, 3.0))
def test_heavier_wheels_shoot_faster_and_spin_up_slower(mass: float, more: float) -> None:
    ball = ball_named("tennis")
    light, heavy = machine(wheel__mass_g=mass), machine(wheel__mass_g=mass * more)
    one, other = launch(light, ball), launch(heavy, ball)
    assert other.exit.speed_mps >= one.exit.speed_mps * (1 - 1e-12)
    assert other.stored_j > one.stored_j
    assert effort(heavy, other).spin_up_s > effort(light, one).spin_up_s


@few
@given(st.floats(30, 100), st.floats(30, 100))
def test_motors_that_change_places_change_only_the_spin(one: float, other: float) -> None:
    ball = ball_named("tennis")
    a = launch(machine(motor__duty_percent=one, motor__second_duty_percent=other), ball)
    b = launch(machine(motor__duty_percent=other, motor__second_duty_percent=one), ball)
    assert a.exit.speed_mps == pytest.approx(b.exit.speed_mps, rel=1e-7)
    assert a.exit.spin_radps == pytest.approx(-b.exit.spin_radps, rel=1e-5, abs=1e-6)
    np.testing.assert_allclose(a.running.speeds_radps, b.running.speeds_radps[::-1], rtol=1e-9)
