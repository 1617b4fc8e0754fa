"""Laws of mechanics that a shot keeps whatever the machine."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tracker.flight.ball import ball_named
from tracker.launcher.machine import Machine
from tracker.launcher.passage import Drive, Exit, Fed, pass_through
from tracker.launcher.setup import machine_from_setup
from tracker.launcher.shot import effort_of, launch
from tracker.launcher.squeeze import Squeeze

BALL = 0.0335
radii = st.floats(0.03, 0.15)
inertias = st.floats(5e-5, 2e-2)
rims = st.floats(1.0, 60.0)
squeezes = st.tuples(st.floats(0.035, 0.064), st.floats(3e3, 4e4), st.floats(0.0, 0.9))
balls = st.builds(
    lambda mass, friction, speed: Fed(mass, 0.55 * mass * BALL**2, friction, speed),
    st.floats(0.02, 0.4),
    st.floats(0.05, 1.5),
    st.floats(0.1, 5.0),
)


def drive_of(radius: float, inertia: tuple[float, float], rim: tuple[float, float]) -> Drive:
    return Drive(radius, (1 / inertia[0], 1 / inertia[1]), (rim[0] / radius, rim[1] / radius))


def squeeze_of(radius: float, gap: float, stiffness: float, loss: float) -> Squeeze:
    return Squeeze(radius, BALL, gap, stiffness, loss, plate=False)


def stored_j(squeeze: Squeeze) -> float:
    """Return the energy of the ball at the narrowest place."""
    return 0.5 * squeeze.stiffness_npm * squeeze.greatest_m**2


def energy(drive: Drive, ball: Fed, speed: float, spin: float, wheels) -> float:
    turning = sum(0.5 * w**2 / free for w, free in zip(wheels, drive.mobility, strict=True))
    return 0.5 * ball.mass_kg * speed**2 + 0.5 * ball.inertia_kgm2 * spin**2 + turning


@given(radii, inertias, inertias, rims, rims, balls, squeezes)
def test_energy_never_grows(radius, one, other, rim, second, ball, squeezed) -> None:
    """Without a motor the energy falls by the heat of friction and of the squeeze."""
    drive = drive_of(radius, (one, other), (rim, second))
    squeeze = squeeze_of(radius, *squeezed)
    out = pass_through(drive, ball, squeeze)
    assume(not out.stuck)
    before = energy(drive, ball, ball.speed_mps, 0.0, drive.speeds_radps)
    after = energy(drive, ball, out.speed_mps, out.spin_radps, out.wheel_radps)
    heat = squeeze.loss * stored_j(squeeze)
    # Steps are integrated to a hundredth of what is exchanged.
    exchanged = 0.5 * ball.mass_kg * float(out.speed_mps) ** 2 + stored_j(squeeze)
    assert after <= before - heat + 0.03 * exchanged


@given(radii, inertias, inertias, rims, rims, balls, squeezes)
def test_angular_momentum_balances(radius, one, other, rim, second, ball, squeezed) -> None:
    """The spin of the ball is what the difference of the two frictions turns."""
    drive = drive_of(radius, (one, other), (rim, second))
    out = pass_through(drive, ball, squeeze_of(radius, *squeezed))
    assume(not out.stuck)
    pulls = [
        (start - after) / free / radius
        for start, after, free in zip(
            drive.speeds_radps, out.wheel_radps, drive.mobility, strict=True
        )
    ]
    turned = ball.inertia_kgm2 * float(out.spin_radps)
    arms = sorted((squeezed[0] / 2, BALL))
    # The arm lies between half the gap and the ball's radius.
    moment = float(pulls[0] - pulls[1])
    slack = 1e-9 + 0.02 * (abs(pulls[0]) + abs(pulls[1])) * BALL
    low, high = sorted((moment * arms[0], moment * arms[1]))
    assert low - slack <= turned <= high + slack


@given(radii, inertias, inertias, rims, rims, balls, squeezes)
def test_sides_can_change_places(radius, one, other, rim, second, ball, squeezed) -> None:
    squeeze = squeeze_of(radius, *squeezed)
    a = pass_through(drive_of(radius, (one, other), (rim, second)), ball, squeeze)
    b = pass_through(drive_of(radius, (other, one), (second, rim)), ball, squeeze)
    assert float(a.speed_mps) == pytest.approx(float(b.speed_mps), rel=1e-9)
    assert float(a.spin_radps) == pytest.approx(-float(b.spin_radps), rel=1e-9, abs=1e-9)


@given(radii, inertias, rims, balls, squeezes)
def test_equal_wheels_give_no_spin(radius, inertia, rim, ball, squeezed) -> None:
    out = pass_through(
        drive_of(radius, (inertia, inertia), (rim, rim)), ball, squeeze_of(radius, *squeezed)
    )
    assert float(out.spin_radps) == pytest.approx(0.0, abs=1e-6)


@given(radii, inertias, rims, balls, squeezes, st.floats(0.0, 0.9))
def test_more_loss_never_quickens_a_ball_that_slips(
    radius, inertia, rim, ball, squeezed, more
) -> None:
    # A ball faster than the rims is braked by them, and less so by a squeeze that gives less back.
    assume(rim > ball.speed_mps)
    gap, stiffness, loss = squeezed
    low, high = sorted((loss, more))
    # A ball fed faster than the rims is braked by them, and less loss brakes it longer.
    assume(rim > ball.speed_mps)
    drive = drive_of(radius, (inertia, inertia), (rim, rim))
    a, b = (
        pass_through(drive, ball, squeeze_of(radius, gap, stiffness, share))
        for share in (low, high)
    )
    assume(not a.gripped[0] and not b.stuck)
    assert float(b.speed_mps) <= float(a.speed_mps) * (1 + 1e-3)


@given(radii, inertias, rims, balls, squeezes)
def test_never_faster_than_the_rims_at_the_tilt_of_the_exit(
    radius, inertia, rim, ball, squeezed
) -> None:
    drive = drive_of(radius, (inertia, inertia), (rim, rim))
    squeeze = squeeze_of(radius, *squeezed)
    assume(rim > ball.speed_mps)
    out = pass_through(drive, ball, squeeze)
    cosine = float(squeeze.at(np.array(float(squeeze.half_length_m))).cosines[0])
    # What the squeeze gives back on the way out may come on top.
    limit = np.sqrt((rim / cosine) ** 2 + 2 * stored_j(squeeze) / ball.mass_kg)
    assert float(out.speed_mps) <= limit * 1.01


@given(radii, inertias, rims, rims, balls, squeezes, st.floats(0.1, 10.0))
def test_the_unit_of_mass_does_not_matter(
    radius, inertia, rim, second, ball, squeezed, unit
) -> None:
    gap, stiffness, loss = squeezed
    plain = pass_through(
        drive_of(radius, (inertia, inertia), (rim, second)),
        ball,
        squeeze_of(radius, gap, stiffness, loss),
    )
    heavy = Fed(ball.mass_kg * unit, ball.inertia_kgm2 * unit, ball.friction, ball.speed_mps)
    moved: Exit = pass_through(
        drive_of(radius, (inertia * unit, inertia * unit), (rim, second)),
        heavy,
        squeeze_of(radius, gap, stiffness * unit, loss),
    )
    assert float(moved.speed_mps) == pytest.approx(float(plain.speed_mps), rel=1e-6, abs=1e-9)


@given(radii, inertias, rims, balls, squeezes)
def test_draws_computed_together_are_those_computed_alone(
    radius, inertia, rim, ball, squeezed
) -> None:
    frictions = np.array([0.3, ball.friction, 1.1])
    together = pass_through(
        drive_of(radius, (inertia, inertia), (rim, rim)),
        Fed(ball.mass_kg, ball.inertia_kgm2, frictions, ball.speed_mps),
        squeeze_of(radius, *squeezed),
    )
    alone = pass_through(
        drive_of(radius, (inertia, inertia), (rim, rim)), ball, squeeze_of(radius, *squeezed)
    )
    assert together.speed_mps[1] == pytest.approx(float(alone.speed_mps), rel=1e-12)


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


@given(st.floats(20, 99), st.floats(20, 99))
def test_more_duty_is_more_speed(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assume(high - low > 0.5)
    ball = ball_named("tennis")
    slow = launch(machine(motor__duty_percent=low, grip__friction=2.0), ball)
    fast = launch(machine(motor__duty_percent=high, grip__friction=2.0), ball)
    assert fast.running.speeds_radps[0] > slow.running.speeds_radps[0]
    assert fast.speed_mps > slow.speed_mps


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


@given(st.floats(50, 600), st.floats(1.05, 3.0))
def test_heavier_wheels_shoot_faster_and_spin_up_slower(mass: float, more: float) -> None:
    ball = ball_named("tennis")
    light, heavy = machine(wheel__mass_g=mass), machine(wheel__mass_g=mass * more)
    one, other = launch(light, ball), launch(heavy, ball)
    assert other.speed_mps >= one.speed_mps * (1 - 2e-3)
    assert other.stored_j > one.stored_j
    assert effort_of(heavy, other).spin_up_s > effort_of(light, one).spin_up_s


@given(st.floats(30, 100), st.floats(30, 100))
def test_motors_that_change_places_change_only_the_spin(one: float, other: float) -> None:
    ball = ball_named("tennis")
    a = launch(machine(motor__duty_percent=one, motor__second_duty_percent=other), ball)
    b = launch(machine(motor__duty_percent=other, motor__second_duty_percent=one), ball)
    assert a.speed_mps == pytest.approx(b.speed_mps, rel=2e-3)
    assert float(a.exit.spin_radps) == pytest.approx(-float(b.exit.spin_radps), rel=0.01, abs=0.5)
    np.testing.assert_allclose(a.running.speeds_radps, b.running.speeds_radps[::-1], rtol=1e-8)
