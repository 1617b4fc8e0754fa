"""The tables of a setup: what is taken, what is refused, and in which words."""

import tomllib

import pytest

from calibration.errors import InputErrors
from tracker.launcher.fields import NUMBERS
from tracker.launcher.setup import machine_from_setup

WHERE = 'session.toml, [[setup]] "140 mm wheels"'
GOOD = {
    "wheel": {"diameter_mm": 140.0, "mass_g": 210.0},
    "motor": {"supply_v": 12.0, "no_load_rpm": 6000.0, "rated_power_w": 67.0},
}
BALL = 0.067


def with_(**changes: object) -> dict:
    tables = {name: dict(table) for name, table in GOOD.items()}
    for key, value in changes.items():
        table, name = key.split("__")
        if value is None:
            del tables[table][name]
        else:
            tables.setdefault(table, {})[name] = value
    return tables


def faults(tables: dict, ball: float | None = BALL) -> list[str]:
    with pytest.raises(InputErrors) as caught:
        machine_from_setup(tables, WHERE, ball)
    return caught.value.sentences()


def test_a_short_setup_is_enough() -> None:
    machine = machine_from_setup(GOOD, WHERE, BALL)
    assert machine.wheel.radius_m == pytest.approx(0.07)
    assert machine.wheel.inertia_kgm2 == pytest.approx(0.5 * 0.21 * 0.07**2)
    motor = machine.motor
    assert motor.stall_torque_nm * motor.no_load_radps / 4 == pytest.approx(67.0)
    assert machine.values["grip.gap_mm"] == pytest.approx(0.75 * 67.0)
    assert machine.duties == (1.0, 1.0)
    assert machine.u["wheel.diameter_mm"] == pytest.approx(0.7)


def test_it_reads_what_toml_gives() -> None:
    text = """
    [wheel]
    kind = "ring"
    diameter_mm = 180
    diameter_u_mm = 0.5
    inner_diameter_mm = 140
    mass_g = 250
    rim_mass_g = 30
    [motor]
    supply_v = 12
    no_load_rpm = 5200
    no_load_current_a = 0.8
    stall_current_a = 22
    second_duty_percent = 80
    """
    machine = machine_from_setup(tomllib.loads(text), WHERE, BALL)
    ring = 0.5 * 0.25 * (0.09**2 + 0.07**2)
    assert machine.wheel.inertia_kgm2 == pytest.approx(ring + 0.03 * 0.09**2)
    assert machine.u["wheel.diameter_mm"] == 0.5
    assert machine.duties == (1.0, 0.8)


def test_a_measured_inertia_goes_before_the_shape() -> None:
    machine = machine_from_setup(with_(wheel__inertia_gm2=0.6), WHERE, BALL)
    assert machine.wheel.inertia_kgm2 == pytest.approx(0.6e-3)


def test_a_tachometer_needs_no_motor() -> None:
    tables = {"wheel": {"diameter_mm": 140, "mass_g": 210, "speed_rpm": 4000}}
    assert machine_from_setup(tables, WHERE, BALL).motor is None


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"wheel__diameter_mm": None}, "[setup.wheel] diameter_mm: is missing"),
        ({"wheel__mass_g": None}, "weigh one wheel"),
        ({"wheel__mass_g": 21000.0}, "more than a solid steel disc of 140 mm by 140 mm"),
        ({"wheel__mass_g": 6000.0, "wheel__width_mm": 40.0}, "by 40 mm weighs (4834 g)"),
        ({"wheel__inertia_gm2": 1.2}, "all of it at the rim"),
        ({"wheel__inner_diameter_mm": 150.0}, "does not lie within the wheel of 140 mm"),
        ({"wheel__driven": 1.5}, "neither 1 nor 2"),
        ({"wheel__inertia_u_gm2": 0.1}, "belongs to inertia_gm2, which was left out"),
        ({"motor__supply_v": None}, "[setup.motor] supply_v: is missing"),
        ({"motor__rated_power_w": None}, "says nothing of the motor's strength"),
        ({"motor__rated_power_w": 0.0}, "turns nothing"),
        (
            {"motor__stall_torque_mnm": 400.0, "motor__stall_current_a": 0.0,
             "motor__rated_power_w": None},
            "a stall torque of 400 mN m without current",
        ),
        (
            {"motor__stall_current_a": 2.0, "motor__no_load_current_a": 3.0,
             "motor__rated_power_w": None},
            "2 A at standstill is not more than 3 A without load",
        ),
        ({"motor__stall_torque_mnm": 900.0}, "keep the one that you trust"),
        ({"motor__stall_current_a": 3.0}, "is more than 3 A at 12 V"),
        ({"grip__gap_mm": 70.0}, "does not touch a ball of 67.0 mm"),
        ({"grip__gap_mm": 10.0}, "squeezes a ball of 67.0 mm by 57.0 mm, more than it can give"),
    ],
)  # fmt: skip
def test_faults_are_sentences(changes: dict, words: str) -> None:
    (sentence,) = faults(with_(**changes))
    assert sentence.startswith(WHERE)
    assert words in sentence
    assert sentence.endswith(".")


def test_every_fault_is_reported_at_once() -> None:
    said = faults({"wheel": {}, "motor": {"supply_v": 12.0}, "grip": {"gap_mm": 90.0}})
    assert len(said) == 5


def test_without_a_ball_the_gap_is_not_judged() -> None:
    assert machine_from_setup(with_(grip__gap_mm=70.0), WHERE).values["grip.gap_mm"] == 70.0


def test_names_of_uncertainties_carry_the_unit_last() -> None:
    names = {number.key: number.u_name for number in NUMBERS}
    assert names["wheel.diameter_mm"] == "diameter_u_mm"
    assert names["wheel.inertia_gm2"] == "inertia_u_gm2"
    assert names["motor.stall_torque_mnm"] == "stall_torque_u_mnm"
    assert names["grip.friction"] == "friction_u"
    assert names["grip.stiffness_n_per_mm"] == "stiffness_u_n_per_mm"
    assert names["grip.feed_speed_mps"] == "feed_speed_u_mps"
    assert names["battery.capacity_ah"] == "capacity_u_ah"
    assert len(set(names.values())) == len(names)
