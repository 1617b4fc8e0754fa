"""Learning from measured setups, and what it predicts of others."""

import math

import numpy as np
import pytest

from tracker.flight.air import Weather, air_from
from tracker.flight.ball import ball_named
from tracker.launcher.carry import Release, carry_of
from tracker.launcher.learning import Lesson, learn, leave_one_out, shared_keys
from tracker.launcher.machine import Machine
from tracker.launcher.prediction import Outdoors, predict
from tracker.launcher.setup import machine_from_setup
from tracker.launcher.shot import launch
from tracker.launcher.sweep import changed

TENNIS = ball_named("tennis")
AIR = air_from(Weather())
RELEASE = Release(0.8, 42.0)
OUT = Outdoors(TENNIS, AIR, RELEASE)


def machine(diameter: float, mass: float, duty: float = 100.0) -> Machine:
    tables = {
        "wheel": {"diameter_mm": diameter, "mass_g": mass, "kind": "spoked"},
        "motor": {
            "supply_v": 12.0, "no_load_rpm": 6000.0, "stall_torque_mnm": 420.0,
            "duty_percent": duty,
        },
        "grip": {"gap_mm": 48.0, "friction": 0.9},
    }  # fmt: skip
    return machine_from_setup(tables, "", TENNIS.diameter_m)


SETUPS = {
    "100": machine(100.0, 110.0),
    "140": machine(140.0, 210.0),
    "140 slow": machine(140.0, 210.0, 55.0),
    "180": machine(180.0, 350.0),
    "220": machine(220.0, 520.0),
}
TRUTH = {"losses.windage_factor": 22.0, "motor.no_load_rpm": 5700.0, "grip.friction": 1.0}


def lessons(names, seed: int | None = None, u: float = 0.15) -> list[Lesson]:
    draw = np.random.default_rng(seed)
    found = []
    for name in names:
        true = launch(SETUPS[name].having(TRUTH), TENNIS).exit.speed_mps
        miss = 0.0 if seed is None else float(draw.normal(0.0, u))
        found.append(Lesson(name, SETUPS[name], true + miss, u))
    return found


@pytest.fixture(scope="module")
def learned():
    return learn(lessons(SETUPS, seed=1), TENNIS)


def test_shots_pull_the_unknown_to_the_truth(learned) -> None:
    place = learned.keys.index("losses.windage_factor")
    truth = math.log(22.0 / 10.0)
    u = math.sqrt(learned.covariance[place, place])
    assert abs(learned.logs[place] - truth) < 2.5 * u
    assert learned.shrinkage("losses.windage_factor") < 0.5
    assert learned.explained


def test_learning_never_makes_less_certain(learned) -> None:
    left = [learned.shrinkage(key) for key in learned.keys]
    # Two hundred draws, some of them twice, know each spread to some 8 %.
    assert max(left) < 1.3
    assert np.mean(left) < 0.95
    assert np.linalg.eigvalsh(learned.covariance).min() > 0.0


def test_what_was_learned_is_told_in_words(learned) -> None:
    said = learned.sentences()
    assert any(s.startswith("losses.windage_factor: ") and "known to" in s for s in said)
    assert any("next to nothing" in s for s in said)
    assert all(s.endswith(".") for s in said)


def test_a_model_that_misses_says_so() -> None:
    wrong = [Lesson("140", SETUPS["140"], 60.0, 0.1), *lessons(["100", "180"])]
    learned = learn(wrong, TENNIS)
    assert not learned.explained
    assert any("does not meet all setups" in s for s in learned.sentences())


def test_an_untested_wheel_is_predicted_within_its_uncertainty() -> None:
    """Learn from three wheels, predict a fourth; several draws of the measuring errors."""
    wheel = machine(160.0, 275.0)
    truth = launch(wheel.having(TRUTH), TENNIS).exit.speed_mps
    before = predict(wheel, OUT).exit_speed
    scores = []
    for seed in range(3):
        learned = learn(lessons(["100", "140", "180"], seed), TENNIS)
        after = predict(wheel, OUT, learned).exit_speed
        assert after.u < before.u
        scores.append((after.value - truth) / after.u)
    assert max(abs(score) for score in scores) < 2.5


def test_leaving_each_out_in_turn() -> None:
    found = leave_one_out(lessons(["100", "140", "180"], 3), TENNIS)
    assert [left.name for left in found] == ["100", "140", "180"]
    for left in found:
        assert abs(left.error) < 3.0 * left.u
    assert leave_one_out(lessons(["140"]), TENNIS) == []


def test_only_what_the_setups_share_has_a_factor() -> None:
    keys = shared_keys(lessons(["100", "140"]))
    assert "wheel.diameter_mm" not in keys
    assert "grip.stiffness_n_per_mm" in keys
    assert "battery.capacity_ah" not in keys
    assert "motor.duty_percent" in keys
    assert "motor.duty_percent" not in shared_keys(lessons(["140", "140 slow"]))


def test_the_same_lessons_in_another_order_teach_the_same() -> None:
    one = learn(lessons(["100", "140", "180"], 5), TENNIS)
    other = learn(lessons(["100", "140", "180"], 5)[::-1], TENNIS)
    np.testing.assert_allclose(one.logs, other.logs, atol=2e-3)


def test_prediction_grows_with_stated_uncertainty() -> None:
    sure = SETUPS["140 slow"]
    unsure = Machine(sure.values, sure.words, {**sure.u, "motor.supply_v": 1.5})
    assert predict(unsure, OUT).exit_speed.u > predict(sure, OUT).exit_speed.u
    assert predict(unsure, OUT).budget[0][0] in dict(predict(sure, OUT).budget)


def test_prediction_has_everything_that_a_builder_asks() -> None:
    found = predict(SETUPS["140"], OUT)
    assert found.carry.value > 10.0
    assert found.spin_up.value > 0.0
    assert found.spin.value == 0.0
    assert found.ball_energy_j(TENNIS) == pytest.approx(
        0.5 * TENNIS.mass_kg * found.exit_speed.value**2
    )
    assert found.launch.stored_j > found.ball_energy_j(TENNIS)
    assert predict(SETUPS["140"], Outdoors(TENNIS, AIR)).carry is None


def test_a_sweep_draws_the_wheel_larger() -> None:
    wide = changed(SETUPS["140"], "wheel.diameter_mm", 280.0)
    assert wide.values["wheel.mass_g"] == pytest.approx(840.0)
    assert wide.wheel.inertia_kgm2 == pytest.approx(16 * SETUPS["140"].wheel.inertia_kgm2)
    assert wide.u["wheel.diameter_mm"] == pytest.approx(1.4)
    duty = changed(SETUPS["140"], "motor.second_duty_percent", 80.0)
    assert predict(duty, OUT).spin.value > 0.0
    assert duty.u["motor.second_duty_percent"] == pytest.approx(0.8)


@pytest.mark.parametrize(
    ("arrangement", "longer", "side"), [("over", False, 0), ("under", True, 0), ("beside", None, 1)]
)
def test_spin_lifts_presses_or_turns_the_ball(arrangement, longer, side) -> None:
    plain = carry_of(20.0, 0.0, RELEASE, TENNIS, AIR)
    spun = carry_of(20.0, 100.0, RELEASE, TENNIS, AIR, arrangement)
    if longer is not None:
        assert (spun.flight_time_s > plain.flight_time_s) is longer
    else:
        assert spun.flight_time_s == pytest.approx(plain.flight_time_s, rel=0.02)


def test_carry_without_air_is_the_vacuum_parabola() -> None:
    """R = v cos(a)/g (v sin(a) + sqrt(v^2 sin(a)^2 + 2 g h)); textbook projectile."""
    from dataclasses import replace

    thin = replace(AIR, density_kgpm3=1e-9, density_u_kgpm3=0.0)
    v, a, drop = 20.0, math.radians(42.0), 0.8 - TENNIS.diameter_m / 2
    g = 9.80665
    want = (
        v * math.cos(a) / g * (v * math.sin(a) + math.sqrt((v * math.sin(a)) ** 2 + 2 * g * drop))
    )
    found = carry_of(v, 0.0, RELEASE, TENNIS, thin)
    assert found.carry_m == pytest.approx(want, rel=1e-5)
    step = carry_of(v + 0.01, 0.0, RELEASE, TENNIS, thin).carry_m - found.carry_m
    assert found.by_speed_s == pytest.approx(step / 0.01, rel=1e-3)
    assert carry_of(0.0, 0.0, RELEASE, TENNIS, AIR) is None
