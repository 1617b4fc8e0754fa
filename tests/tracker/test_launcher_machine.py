"""Motors, battery and wheels at work."""

import math

import pytest

from calibration.errors import InputError
from tracker.flight.ball import ball_named
from tracker.launcher.battery import Battery, circuit
from tracker.launcher.motor import RPM, motor_from_torque
from tracker.launcher.passage import Body, Nip, Side, pass_through
from tracker.launcher.setup import machine_from_setup
from tracker.launcher.shot import effort, launch
from tracker.launcher.spinning import Spinning, running
from tracker.launcher.wheel import disc_drag_nm

TENNIS = ball_named("tennis")


def machine(**changes: float):
    tables = {
        "wheel": {"diameter_mm": 140.0, "mass_g": 210.0},
        "motor": {"supply_v": 12.0, "no_load_rpm": 6000.0, "stall_torque_mnm": 400.0},
        "battery": {"capacity_ah": 7.0},
    }
    for key, value in changes.items():
        table, name = key.split("__")
        tables.setdefault(table, {})[name] = value
    return machine_from_setup(tables, "", TENNIS.diameter_m)


FREE = {
    "battery__resistance_ohm": 0.0,
    "losses__bearing_mnm": 0.0,
    "losses__windage_factor": 0.5,
}


def test_spin_up_without_losses_is_exponential() -> None:
    """tau = I w0 / Ts: 0.183260 s for a disc of 50 g and 50 mm; t95 = tau ln 20."""
    light = machine(
        wheel__diameter_mm=100.0,
        wheel__mass_g=50.0,
        motor__no_load_rpm=7000.0,
        motor__stall_torque_mnm=250.0,
        motor__no_load_current_a=0.0,
        **FREE,
    )
    spinning = Spinning(light)
    # Without air at all nothing bends the line.
    spinning.air = type(spinning.air)(density_kgpm3=1e-24)
    steady = spinning.steady()
    assert steady[0] == pytest.approx(7000 * RPM, rel=1e-9)
    for share, seconds in ((0.90, 0.421971), (0.95, 0.548997), (0.99, 0.843942)):
        time, energy = spinning.climb((0.0, 0.0), steady, share)
        assert time == pytest.approx(seconds, abs=2e-6)
        # Two motors from rest: V integral I dt = V Is tau share each, as the current fades alike.
        tau, stall = 0.183260, spinning.motor.stall_current_a
        assert energy == pytest.approx(2 * 12.0 * stall * tau * share, rel=1e-5)


def test_the_battery_sags_under_all_motors_together() -> None:
    motor = motor_from_torque(12.0, 6000 * RPM, 0.5, 0.4)
    found = circuit(Battery(12.0, 0.1), [(motor, 1.0, 0.0), (motor, 0.5, 0.0)])
    # Kirchhoff's rules by hand.
    currents = [found.terminal_v / motor.resistance_ohm, 0.5 * found.terminal_v]
    currents[1] /= motor.resistance_ohm
    assert found.currents_a == pytest.approx(currents, rel=1e-12)
    assert found.battery_a == pytest.approx(currents[0] + 0.5 * currents[1], rel=1e-12)
    assert found.terminal_v == pytest.approx(12.0 - 0.1 * found.battery_a, rel=1e-12)


def test_power_is_accounted_for_at_steady_speed() -> None:
    one = machine()
    spinning = Spinning(one)
    state = running(one)
    (w, _), flow = state.speeds_radps, state.circuit
    loss = 2 * one.wheel.loss_nm(w) * w
    heat = sum(i**2 * one.motor.resistance_ohm for i in flow.currents_a)
    own = 2 * one.motor.no_load_current_a * one.motor.constant_vs * w
    battery = flow.battery_a**2 * spinning.battery.resistance_ohm
    assert flow.power_w(spinning.battery) == pytest.approx(loss + heat + own + battery, rel=1e-9)


def test_half_duty_is_half_voltage() -> None:
    half = running(machine(motor__duty_percent=50.0, motor__no_load_current_a=0.0, **FREE))
    low = running(
        machine(
            motor__supply_v=6.0, motor__no_load_rpm=3000.0, motor__stall_torque_mnm=200.0,
            motor__no_load_current_a=0.0, **FREE,
        )
    )  # fmt: skip
    assert half.speeds_radps[0] == pytest.approx(low.speeds_radps[0], rel=1e-9)


def test_a_gear_trades_speed_for_torque() -> None:
    geared = machine(motor__gear_ratio=2.0, **FREE)
    spinning = Spinning(geared)
    assert spinning.steady()[0] == pytest.approx(3000 * RPM, rel=0.02)
    start = spinning.net_nm(spinning.flow((0.0, 0.0)).currents_a[0], 0.0)
    assert start == pytest.approx(0.8, rel=0.001)


def test_the_motor_that_cannot_start_says_so() -> None:
    with pytest.raises(InputError, match="cannot start its wheel"):
        running(machine(losses__bearing_mnm=500.0))


def test_recovery_and_charge() -> None:
    one = machine()
    shot = launch(one, TENNIS)
    work = effort(one, shot)
    assert 0.0 < work.recovery_s < 5.0
    assert work.spin_up_s > work.recovery_s
    # The wheels' loss comes back through motors no better than their greatest efficiency.
    lost = sum(
        one.wheel.energy_j(a) - one.wheel.energy_j(b)
        for a, b in zip(shot.running.speeds_radps, shot.exit.wheel_radps, strict=True)
    )
    assert work.shot_j > 0.9 * lost
    seldom = effort(one, shot, interval_s=60.0).shots_per_charge
    assert seldom < work.shots_per_charge
    charge = 7.0 * 3600 * 12 * 0.8
    assert work.shots_per_charge == int(charge / (work.shot_j + 15.0 * work.running_w))
    assert effort(machine_from_setup(
        {"wheel": {"diameter_mm": 140, "mass_g": 210, "speed_rpm": 4000}}, "", 0.067
    ), shot) is None  # fmt: skip


def test_a_tachometer_overrides_the_motor() -> None:
    shot = launch(machine(wheel__speed_rpm=3000.0, wheel__second_speed_rpm=2900.0), TENNIS)
    assert shot.running.speeds_radps == pytest.approx((3000 * RPM, 2900 * RPM))
    assert shot.exit.spin_radps > 0.0


def test_one_driven_wheel_shoots_slower_than_two() -> None:
    two = launch(machine(grip__friction=2.0), TENNIS).exit
    plate = launch(machine(grip__friction=2.0, wheel__driven=1), TENNIS).exit
    tables = {
        "wheel": {"diameter_mm": 140.0, "mass_g": 210.0, "driven": 1, "partner": "idle"},
        "motor": {"supply_v": 12.0, "no_load_rpm": 6000.0, "stall_torque_mnm": 400.0},
        "grip": {"friction": 2.0},
    }
    idle = launch(machine_from_setup(tables, "", TENNIS.diameter_m), TENNIS).exit
    assert plate.speed_mps < 0.65 * two.speed_mps
    assert plate.spin_radps > 100.0
    assert 0.0 < idle.speed_mps < two.speed_mps
    # Pushed off its centre the ball spins at once, and its far side runs backwards.
    assert idle.wheel_radps[1] < 0.0


def test_two_grippy_surfaces_do_equally_well() -> None:
    """Once no side slips, more friction changes nothing."""
    slow = {"motor__duty_percent": 60.0}
    one = launch(machine(grip__friction=0.9, **slow), TENNIS).exit
    other = launch(machine(grip__friction=1.2, **slow), TENNIS).exit
    assert one.gripped == other.gripped == (True, True)
    assert other.speed_mps == pytest.approx(one.speed_mps, rel=0.02)


def test_a_ball_that_is_not_drawn_in_stays() -> None:
    """Squeeze losses beyond the friction hold a ball that nobody pushes."""
    rim, body = Side(0.07, 5e-4, 300.0), Body(0.058, 3.6e-5, 0.025)
    stuck = pass_through((rim, rim), body, Nip(5.0, squeeze_loss_j=11.0))
    assert stuck.speed_mps == 0.0
    pushed = pass_through((rim, rim), body, Nip(5.0, squeeze_loss_j=11.0, entry_mps=8.0))
    assert 0.0 < pushed.speed_mps < 8.0


def test_drag_of_a_disc() -> None:
    """von Karman: 0.146 Re^-1/5, Re = 2.2e5 here, both sides."""
    re = 1.2 * 300.0 * 0.1**2 / 1.81e-5
    torque = 0.5 * 0.146 / re**0.2 * 1.2 * 300.0**2 * 0.1**5
    assert disc_drag_nm(0.1, 300.0) == pytest.approx(torque, rel=1e-12)
    assert disc_drag_nm(0.1, -300.0) == -disc_drag_nm(0.1, 300.0)
    assert disc_drag_nm(0.1, 0.0) == 0.0
    laminar = 0.5 * 3.87 / math.sqrt(re / 100) * 1.2 * 3.0**2 * 0.1**5
    assert disc_drag_nm(0.1, 3.0) == pytest.approx(laminar, rel=1e-12)
