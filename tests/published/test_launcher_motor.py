"""Motor lines and turning bodies from course notes and a textbook."""

import math

import pytest

from tracker.launcher.motor import (
    RPM,
    Motor,
    motor_from_currents,
    motor_from_torque,
    stall_torque_from_power,
)
from tracker.launcher.wheel import shape_inertia


def test_greatest_power_lies_at_half_the_no_load_speed() -> None:
    """T = Ts (1 - w/w0), P = Ts w0 / 4: MIT course page on DC motors, numbers computed."""
    motor = motor_from_torque(12.0, 7000 * RPM, 0.0, 0.25)
    assert motor.no_load_radps == pytest.approx(733.038286, abs=1e-6)
    assert motor.stall_torque_nm == pytest.approx(0.25, rel=1e-12)
    half = 366.519143
    torque = motor.constant_vs * (motor.current_a(half, 12.0) - motor.no_load_current_a)
    assert torque * half == pytest.approx(45.814893, abs=1e-6)
    assert torque == pytest.approx(0.125, abs=1e-9)
    assert stall_torque_from_power(45.814893, 7000 * RPM) == pytest.approx(0.25, rel=1e-7)


def test_constants_from_a_bench() -> None:
    """R = V / Is, K = (V - I0 R) / w0.

    The relations are those of motor handbooks (from memory), the numbers computed.
    """
    motor = motor_from_currents(12.0, 7000 * RPM, 0.5, 16.0)
    assert motor.resistance_ohm == pytest.approx(0.75, abs=1e-12)
    assert motor.constant_vs == pytest.approx(0.01585865, abs=1e-8)
    assert motor.stall_torque_nm == pytest.approx(0.245809, abs=1e-6)


def test_both_ways_to_a_motor_meet() -> None:
    bench = motor_from_currents(12.0, 7000 * RPM, 0.5, 16.0)
    label = motor_from_torque(12.0, 7000 * RPM, 0.5, bench.stall_torque_nm)
    assert label == Motor(
        12.0,
        pytest.approx(bench.resistance_ohm, rel=1e-12),
        pytest.approx(bench.constant_vs, rel=1e-12),
        0.5,
    )
    assert bench.no_load_radps == pytest.approx(7000 * RPM, rel=1e-12)


def test_a_motor_of_an_exercise_at_part_of_its_speed() -> None:
    """A public exercise: 12 V, 3800 rpm without load, 30 mN m at standstill, running at 2500 rpm.

    Torque 30 (1 - 2500/3800) mN m, power torque times speed; friction left out, numbers computed.
    """
    motor = motor_from_torque(12.0, 3800 * RPM, 0.0, 0.030)
    current = motor.current_a(2500 * RPM, 12.0)
    torque = motor.constant_vs * current
    assert torque == pytest.approx(10.2632e-3, rel=1e-4)
    assert torque * 2500 * RPM == pytest.approx(2.68691, rel=1e-4)
    # What goes in is what the shaft gives and what the winding loses.
    assert 12.0 * current == pytest.approx(torque * 2500 * RPM + motor.resistance_ohm * current**2)


def test_composite_wheel_of_a_textbook() -> None:
    """OpenStax University Physics 1, chapter 10: a disc and an annulus at 10 rev/s."""
    inertia = shape_inertia(2.0, 0.50, "disc") + shape_inertia(1.0, 0.30, "ring", 0.20)
    assert inertia == pytest.approx(0.315, rel=1e-12)
    assert 0.5 * inertia * (20 * math.pi) ** 2 == pytest.approx(621.785, abs=1e-3)


def test_bicycle_wheel_of_a_textbook() -> None:
    """OpenStax University Physics 1, chapter 11: 12 kg between 0.280 and 0.330 m at 120 rad/s."""
    inertia = shape_inertia(12.0, 0.330, "ring", 0.280)
    assert inertia == pytest.approx(1.12380, rel=1e-5)
    assert 0.5 * inertia * 120.0**2 == pytest.approx(8091.36, rel=1e-5)


def test_merry_go_round_and_grindstone() -> None:
    """OpenStax University Physics 1, chapter 10: 375 N m on 50 kg; a grindstone of 10 kg."""
    assert 375.0 / shape_inertia(50.0, 1.50, "disc") == pytest.approx(6.6667, rel=1e-4)
    stone = shape_inertia(10.0, 0.12, "disc")
    assert 0.5 * stone * (1500 * RPM) ** 2 == pytest.approx(888.264, abs=1e-3)
