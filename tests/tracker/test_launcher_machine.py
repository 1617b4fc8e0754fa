"""Motors, battery and wheels at work."""

import math

import numpy as np
import pytest

from tracker.flight.ball import ball_from, ball_named
from tracker.launcher.battery import Battery, circuit
from tracker.launcher.motor import RPM, motor_from_torque
from tracker.launcher.recovery import climb
from tracker.launcher.setup import machine_from_setup
from tracker.launcher.shot import effort_of, launch
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
        way = climb(spinning, (0.0, 0.0), steady, share)
        assert float(way.seconds) == pytest.approx(seconds, abs=2e-4)
        # Two motors from rest: V integral I dt = V Is tau each, until nothing is missing.
        tau, stall = 0.183260, spinning.motor.stall_current_a
        assert float(way.energy_j) == pytest.approx(2 * 12.0 * stall * tau, rel=1e-4)


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
    (w, _), flow = [float(w) for w in state.speeds_radps], state.circuit
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


def test_a_motor_that_cannot_start_leaves_the_others_alone() -> None:
    held = running(machine(losses__bearing_mnm=500.0))
    assert not held.starts
    assert float(held.speeds_radps[0]) == 0.0
    both = machine().having({"losses.bearing_mnm": np.array([2.0, 500.0])})
    assert running(both).starts.tolist() == [True, False]
    assert launch(both, TENNIS).exit.stuck.tolist() == [False, True]


def recovered_in_time(one, shot, until: float) -> tuple[float, float]:
    """Time to 99 % and energy of a recovery, by the general library's integration in time."""
    from scipy.integrate import solve_ivp

    spinning = Spinning(one)
    steady = np.array([float(w) for w in spinning.steady()])
    idle = float(spinning.flow(tuple(steady)).power_w(spinning.battery))

    def rates(_, state):
        flow = spinning.flow(tuple(state[:2]))
        torque = [spinning.net_nm(c, w) for c, w in zip(flow.currents_a, state, strict=False)]
        power = flow.power_w(spinning.battery) - idle
        return [*(t / one.wheel.inertia_kgm2 for t in torque), power]

    def ready(_, state):
        return float((state[:2] / steady).min()) - 0.99

    start = [float(w) for w in shot.exit.wheel_radps]
    found = solve_ivp(rates, (0, until), [*start, 0.0], events=ready, rtol=1e-9, atol=1e-9)
    return float(found.t_events[0][0]), float(found.y[2, -1])


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"motor__second_duty_percent": 60.0},
        {"wheel__diameter_mm": 80.0, "wheel__mass_g": 69.0},
    ],
)
def test_recovery_is_that_of_an_integration_in_time(changes: dict) -> None:
    """Also of unequal duty, and with the energy until nothing is missing any more."""
    one = machine(**changes)
    shot = launch(one, TENNIS)
    work = effort_of(one, shot)
    seconds, energy = recovered_in_time(one, shot, 40.0)
    assert float(work.recovery_s) == pytest.approx(seconds, rel=2e-3)
    assert float(work.shot_j) == pytest.approx(energy, rel=2e-3)


def test_a_tachometer_needs_no_effort() -> None:
    tables = {"wheel": {"diameter_mm": 140, "mass_g": 210, "speed_rpm": 4000}}
    one = machine_from_setup(tables, "", 0.067)
    assert effort_of(one, launch(one, TENNIS)) is None


def test_a_tachometer_overrides_the_motor() -> None:
    shot = launch(machine(wheel__speed_rpm=3000.0, wheel__second_speed_rpm=2900.0), TENNIS)
    assert [float(w) for w in shot.running.speeds_radps] == pytest.approx((3000 * RPM, 2900 * RPM))
    assert float(shot.exit.spin_radps) > 0.0


def test_one_driven_wheel_shoots_slower_than_two() -> None:
    two = launch(machine(grip__friction=2.0), TENNIS)
    plate = launch(machine(grip__friction=2.0, wheel__driven=1), TENNIS)
    tables = {
        "wheel": {"diameter_mm": 140.0, "mass_g": 210.0, "driven": 1, "partner": "idle"},
        "motor": {"supply_v": 12.0, "no_load_rpm": 6000.0, "stall_torque_mnm": 400.0},
        "grip": {"friction": 2.0},
    }
    idle = launch(machine_from_setup(tables, "", TENNIS.diameter_m), TENNIS)
    assert plate.speed_mps < 0.65 * two.speed_mps
    assert float(plate.exit.spin_radps) > 100.0
    assert 0.0 < idle.speed_mps < two.speed_mps


def test_two_grippy_surfaces_do_equally_well() -> None:
    """Once no side slips for most of the way, more friction changes little."""
    slow = {"motor__duty_percent": 50.0}
    one = launch(machine(grip__friction=1.2, **slow), TENNIS)
    other = launch(machine(grip__friction=1.6, **slow), TENNIS)
    assert bool(one.exit.gripped[0]) and bool(other.exit.gripped[0])
    assert other.speed_mps == pytest.approx(one.speed_mps, rel=0.03)


def test_a_ball_that_is_too_heavy_for_its_wheels_stays_in_the_gap() -> None:
    """The squeeze stores more than small slow wheels can give."""
    small = machine(
        wheel__diameter_mm=80.0, wheel__mass_g=69.0, motor__duty_percent=75.0,
        grip__stiffness_n_per_mm=25.0,
    )  # fmt: skip
    heavy = ball_from("tennis", mass_g=300.0)
    assert launch(small, heavy).exit.stuck
    assert not launch(small, TENNIS).exit.stuck


def test_drag_of_a_disc() -> None:
    """von Karman: 0.146 Re^-1/5, Re = 2.2e5 here, both sides."""
    re = 1.2 * 300.0 * 0.1**2 / 1.81e-5
    torque = 0.5 * 0.146 / re**0.2 * 1.2 * 300.0**2 * 0.1**5
    assert disc_drag_nm(0.1, 300.0) == pytest.approx(torque, rel=1e-12)
    assert disc_drag_nm(0.1, -300.0) == -disc_drag_nm(0.1, 300.0)
    assert disc_drag_nm(0.1, 0.0) == 0.0
    laminar = 0.5 * 3.87 / math.sqrt(re / 100) * 1.2 * 3.0**2 * 0.1**5
    assert disc_drag_nm(0.1, 3.0) == pytest.approx(laminar, rel=1e-12)
