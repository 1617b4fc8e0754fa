"""Inertia from a swing, bearing torque from a run-down, as a person writes them in a setup."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.errors import InputErrors
from tracker.launcher.motor import RPM
from tracker.launcher.setup import machine_from_setup
from tracker.launcher.wheel import Wheel, shape_inertia
from tracker.launcher.workshop import run_down_torque, swing_inertia

WHEEL = {"diameter_mm": 140.0, "mass_g": 210.0}
DISC_SWING_S = 2 * math.pi * math.sqrt(1.5 * 0.07 / 9.80665)
"""A disc that hangs from its rim swings with 2 pi sqrt(3 r / 2 g) (textbook)."""


def setup(wheel: dict, losses: dict | None = None, motor: bool = True):
    tables = {"wheel": {**WHEEL, **wheel}, "losses": losses or {}}
    if motor:
        tables["motor"] = {"supply_v": 12.0, "no_load_rpm": 6000.0, "stall_torque_mnm": 400.0}
    else:
        tables["wheel"]["speed_rpm"] = 4000.0
    return machine_from_setup(tables, "session.toml", 0.067)


def test_a_disc_swung_from_its_rim_has_the_inertia_of_a_disc() -> None:
    assert swing_inertia(0.210, 0.07, DISC_SWING_S) == pytest.approx(
        shape_inertia(0.210, 0.07, "disc"), rel=1e-9
    )
    found = setup({"swing_s": DISC_SWING_S}).wheel.inertia_kgm2
    assert found == pytest.approx(0.5 * 0.21 * 0.07**2, rel=1e-9)


def test_bicycle_wheel_by_its_swing() -> None:
    """OpenStax University Physics 1, chapter 11: 12 kg between 0.280 and 0.330 m, on a nail."""
    inertia = 0.5 * 12.0 * (0.280**2 + 0.330**2)
    arm = 0.280
    period = 2 * math.pi * math.sqrt((inertia + 12.0 * arm**2) / (12.0 * 9.80665 * arm))
    assert swing_inertia(12.0, arm, period) == pytest.approx(1.12380, rel=1e-5)


def test_the_uncertainty_of_a_swung_inertia_is_that_of_its_inputs() -> None:
    """Three times the disc's own inertia swings: 1 % of the period is 6 % of the inertia."""
    wheel = {"swing_s": DISC_SWING_S, "swing_u_s": 0.01 * DISC_SWING_S, "mass_u_g": 0.0}
    wheel |= {"swing_arm_mm": 70.0, "swing_arm_u_mm": 0.0}
    machine = setup(wheel)
    share = machine.u["wheel.inertia_gm2"] / machine.values["wheel.inertia_gm2"]
    assert share == pytest.approx(0.06, rel=1e-6)
    arm = setup({**wheel, "swing_u_s": 0.0, "swing_arm_u_mm": 0.7})
    low, high = (1e3 * swing_inertia(0.21, length, DISC_SWING_S) for length in (0.0693, 0.0707))
    assert arm.u["wheel.inertia_gm2"] == pytest.approx(abs(high - low) / 2, rel=1e-3)


@given(st.floats(0.05, 5.0), st.floats(300.0, 1000.0), st.floats(1.0, 30.0), st.floats(0.0, 5e-3))
def test_a_wheel_that_runs_down_gives_its_bearing_back(
    inertia_gm2: float, fast: float, windage: float, bearing: float
) -> None:
    """Integrated in time by the general library; Simpson's mean of the air is near enough."""
    from scipy.integrate import quad

    wheel = Wheel(0.07, inertia_gm2 / 1e3, bearing, windage)
    slow, motor = 0.6 * fast, 1e-3
    seconds, _ = quad(
        lambda w: wheel.inertia_kgm2 / (wheel.loss_nm(w) + motor), slow * RPM, fast * RPM
    )
    found = run_down_torque(wheel, fast * RPM, slow * RPM, seconds, motor)
    scale = bearing + motor + wheel.air_nm(fast * RPM)
    assert found == pytest.approx(bearing, abs=0.03 * scale)


def test_a_run_down_takes_the_place_of_the_guessed_bearing() -> None:
    plain = setup({}, {"bearing_mnm": 3.0})
    friction = plain.motor.constant_vs * plain.motor.no_load_current_a
    wheel = plain.wheel
    torque = 3e-3 + friction + wheel.air_nm(250 * RPM)
    seconds = wheel.inertia_kgm2 * 100 * RPM / torque
    losses = {"run_down_s": seconds, "run_down_from_rpm": 300.0, "run_down_to_rpm": 200.0}
    found = setup({}, losses)
    assert found.values["losses.bearing_mnm"] == pytest.approx(3.0, rel=0.01)
    assert 0.0 < found.u["losses.bearing_mnm"] < 3.0
    # Without a motor all of the torque is the bearing's.
    free = setup({}, losses, motor=False)
    assert free.values["losses.bearing_mnm"] == pytest.approx(3.0 + 1e3 * friction, rel=0.01)


@pytest.mark.parametrize(
    ("wheel", "losses", "words"),
    [
        ({"swing_s": 0.3}, {}, "too short for an arm of 70 mm, which swings no quicker than 0.531"),
        ({"swing_s": 0.6, "inertia_gm2": 0.5}, {}, "keep it or inertia_gm2"),
        ({"swing_arm_mm": 60.0}, {}, "belongs to swing_s"),
        ({}, {"run_down_s": 5.0, "run_down_from_rpm": 300.0}, "run_down_to_rpm: is missing"),
        (
            {},
            {"run_down_s": 5.0, "run_down_from_rpm": 200.0, "run_down_to_rpm": 300.0},
            "300 rpm is not slower than 200 rpm",
        ),
        (
            {},
            {"run_down_s": 5, "run_down_from_rpm": 300, "run_down_to_rpm": 200, "bearing_mnm": 2},
            "keep it or bearing_mnm",
        ),
    ],
)
def test_measurements_that_cannot_be_are_faults(wheel: dict, losses: dict, words: str) -> None:
    with pytest.raises(InputErrors) as caught:
        setup(wheel, losses)
    (sentence,) = caught.value.sentences()
    assert words in sentence
