"""Learning from measured setups, and what it predicts of others."""

import math
from dataclasses import replace

import numpy as np
import pytest

from calibration.ground import LEVEL, Ground
from tracker.flight.air import Weather, air_from
from tracker.flight.ball import ball_from, ball_named
from tracker.launcher.carry import Release, carries_of, carry_of
from tracker.launcher.discrepancy import Features
from tracker.launcher.identified import findings, sentences
from tracker.launcher.learning import Learning, Lesson, learn, own_spread, shared_keys
from tracker.launcher.machine import Machine
from tracker.launcher.prediction import Outdoors, predict, predict_all
from tracker.launcher.setup import machine_from_setup
from tracker.launcher.shot import launch
from tracker.launcher.spinning import STILL_ROOM
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
        true = launch(SETUPS[name].having(TRUTH), TENNIS).speed_mps
        miss = 0.0 if seed is None else float(draw.normal(0.0, u))
        found.append(Lesson(name, SETUPS[name], true + miss, u))
    return found


def test_machines_that_stand_apart_share_less_of_what_the_model_leaves_out():
    """Half of the variance in any case, and 0.45 of it by a Gaussian of unit width."""
    places = np.array([[0.0, 0.0, 0.0, 0.0], [1.0, 0.0, 0.0, 0.0], [1.0, 0.0, -9.0, 0.0]])
    found = Features(places, np.array([0.0, 0.01, 0.03])).covariance(0.02)
    assert np.diag(found) == pytest.approx([4e-4, 5e-4, 13e-4])
    assert found[0, 1] == found[1, 0] == pytest.approx(4e-4 * (0.5 + 0.45 * 0.606531))
    assert found[0, 2] == pytest.approx(2e-4)


@pytest.fixture(scope="module")
def learned():
    return learn(lessons(SETUPS, seed=1), TENNIS)


def test_shots_pull_the_unknown_to_the_truth(learned) -> None:
    place = learned.keys.index("losses.windage_factor")
    logs = learned.logs[:, place]
    assert abs(logs.mean() - math.log(22.0 / 10.0)) < 2.5 * logs.std()
    assert logs.std() < 0.5 * learned.priors[place]


def test_learning_never_makes_less_certain(learned) -> None:
    left = learned.logs.std(axis=0) / learned.priors
    # Three hundred draws, some of them several times, know each spread to some 8 %.
    assert np.max(left) < 1.3
    assert np.mean(left) < 0.95


def test_what_was_learned_is_reported_in_words(learned) -> None:
    said = sentences(learned)
    windage = "Drag of the air over that of a smooth disc (losses.windage_factor): "
    assert any(s.startswith(windage) and "known to" in s for s in said)
    (open_,) = [s for s in said if s.startswith("The shots say little of")]
    assert "." not in open_.removesuffix(".")
    assert said[-1].startswith("What the model leaves out is about ")
    assert all(s.endswith(".") for s in said)
    assert sentences(learn([], TENNIS, machines=[SETUPS["140"]])) == []


def test_a_combination_is_reported_where_only_that_is_fixed() -> None:
    """Slipping rims fix the product of friction and stiffness, neither of them alone."""
    slipping = {name: SETUPS[name] for name in ("140", "180", "220")}
    known = ("motor.no_load_rpm", "losses.windage_factor", "grip.squeeze_loss_percent")
    machines = {
        name: Machine(
            one.values, one.words, {**one.u, **dict.fromkeys(known, 0.0), "grip.friction": 0.27}
        )
        for name, one in slipping.items()
    }
    true = {"grip.friction": 0.75, "grip.stiffness_n_per_mm": 16.0}
    measured = [
        Lesson(name, one, launch(one.having(true), TENNIS).speed_mps, 0.1)
        for name, one in machines.items()
    ]
    found = findings(learn(measured, TENNIS))
    product = next(one for one in found if "grip.stiffness_n_per_mm" in one.keys)
    assert len(product.keys) > 1 and "The pull of the rims on the ball: " in product.sentence()
    stated = {"grip.friction": 0.9, "grip.stiffness_n_per_mm": 15.0}
    truth = sum(
        power * math.log(true[key] / stated[key])
        for key, power in zip(product.keys, product.powers, strict=True)
        if key in true
    )
    assert product.u < 0.6 * product.before
    assert abs(product.log - truth) < 3.0 * product.u


def test_a_model_that_misses_says_so() -> None:
    wrong = [Lesson("140", SETUPS["140"], 60.0, 0.1), *lessons(["100", "180"])]
    assert "it misses these shots" in sentences(learn(wrong, TENNIS))[-1]


def test_an_untested_wheel_is_predicted_within_its_uncertainty() -> None:
    """Learn from three wheels, predict a fourth; several draws of the measuring errors."""
    wheel = machine(160.0, 275.0)
    truth = launch(wheel.having(TRUTH), TENNIS).speed_mps
    before = predict(wheel, OUT).exit_speed
    scores = []
    for seed in range(3):
        learned = learn(lessons(["100", "140", "180"], seed), TENNIS)
        after = predict(wheel, OUT, learned).exit_speed
        assert after.u < 0.3 * before.u
        scores.append((after.value - truth) / after.u)
    assert max(abs(score) for score in scores) < 2.5


def test_a_setup_that_was_shot_is_known_as_well_as_its_shots() -> None:
    """Shots of 21.37 ± 0.21 m/s, far from what is stated: the prediction is theirs."""
    shot = [Lesson("140", SETUPS["140"], 21.37, 0.21)]
    learned = learn(shot, TENNIS)
    (own,) = predict_all([SETUPS["140"]], [OUT], learned, [0])
    assert own.exit_speed.value == pytest.approx(21.37, abs=0.15)
    assert own.exit_speed.u < 0.25
    stranger = predict(SETUPS["140"], OUT, learned)
    assert stranger.exit_speed.u > own.exit_speed.u


def test_an_error_of_the_calibration_does_not_average_out() -> None:
    """4 % shared by all setups of an evening stays 4 % in the prediction of another wheel."""
    wheel = machine(160.0, 275.0)
    plain = lessons(["100", "140", "180"])
    shared = [Lesson(x.name, x.machine, x.value, x.u, {"evening": 0.04}) for x in plain]
    apart = [Lesson(x.name, x.machine, x.value, x.u, {x.name: 0.04}) for x in plain]
    u = {}
    for kind, taken in (("none", plain), ("shared", shared), ("apart", apart)):
        found = predict(wheel, OUT, learn(taken, TENNIS)).exit_speed
        u[kind] = found.u / found.value
    # The stated numbers of the launcher know the scale too, though less well.
    assert 0.025 < u["shared"] < 0.05
    assert u["none"] < 0.015
    assert u["apart"] < u["shared"]


def test_only_what_the_setups_share_has_a_factor() -> None:
    keys = shared_keys([SETUPS["100"], SETUPS["140"]])
    assert "wheel.diameter_mm" not in keys
    assert "grip.stiffness_n_per_mm" in keys
    assert "battery.capacity_ah" not in keys
    assert "motor.duty_percent" in keys
    assert "motor.duty_percent" not in shared_keys([SETUPS["140"], SETUPS["140 slow"]])


def test_a_machine_s_own_numbers_scatter_its_exit_speed() -> None:
    """Central differences of each number by itself, added as squares; machines of two kinds."""
    one = SETUPS["140 slow"]
    own = {"motor.duty_percent": 3.0, "wheel.diameter_mm": 2.0}
    machines = [Machine(one.values, one.words, own), Machine(one.values, one.words, {})]
    squares = 0.0
    for key, u in own.items():
        ends = [
            launch(one.having({key: one.values[key] + side * u}), TENNIS).speed_mps
            for side in (1.0, -1.0)
        ]
        squares += (0.5 * (ends[0] - ends[1]) / launch(one, TENNIS).speed_mps) ** 2
    found = own_spread(machines, (), TENNIS, STILL_ROOM)
    assert found[0] == pytest.approx(math.sqrt(squares), rel=0.02)
    assert found[1] == 0.0
    assert own_spread(machines, tuple(own), TENNIS, STILL_ROOM) == [0.0, 0.0]


def test_the_same_lessons_in_another_order_teach_the_same() -> None:
    wheel = machine(160.0, 275.0)
    one = predict(wheel, OUT, learn(lessons(["100", "140", "180"], 5), TENNIS)).exit_speed
    other = predict(wheel, OUT, learn(lessons(["100", "140", "180"], 5)[::-1], TENNIS)).exit_speed
    assert one.value == pytest.approx(other.value, abs=0.3 * one.u)
    assert one.u == pytest.approx(other.u, rel=0.2)


def test_leaving_a_lesson_out_is_learning_without_it() -> None:
    """The draws of all lessons, weighed by some, give what those alone give."""
    wheel = SETUPS["140"]
    every = lessons(["100", "140", "180", "220"], 7)
    weighed = predict(wheel, OUT, Learning(every, TENNIS).posterior([0, 2, 3])).exit_speed
    alone = predict(wheel, OUT, learn([every[0], *every[2:]], TENNIS)).exit_speed
    assert weighed.value == pytest.approx(alone.value, abs=0.35 * alone.u)
    assert weighed.u == pytest.approx(alone.u, rel=0.3)


def test_prediction_grows_with_stated_uncertainty() -> None:
    sure = SETUPS["140 slow"]
    unsure = Machine(sure.values, sure.words, {**sure.u, "motor.supply_v": 1.5})
    assert predict(unsure, OUT).exit_speed.u > predict(sure, OUT).exit_speed.u


def test_a_ball_that_may_stick_has_a_chance_of_it() -> None:
    """A ball of 300 g between wheels of 80 mm on little voltage."""
    heavy = ball_from("tennis", mass_g=300.0)
    small = machine(80.0, 69.0, 75.0)
    (found,) = predict_all([small], [Outdoors(heavy, AIR, RELEASE)])
    assert 0.02 < found.sticks < 0.9
    assert np.count_nonzero(found.speeds == 0.0) == round(found.sticks * len(found.speeds))
    light = predict(SETUPS["140"], OUT)
    assert light.sticks == 0.0


def test_one_setup_that_cannot_start_does_not_take_the_others_along() -> None:
    weak = SETUPS["140"].having({"losses.bearing_mnm": 5000.0})
    found = predict_all([SETUPS["140"], weak], [OUT, OUT])
    assert [one.starts for one in found] == [True, False]
    assert found[1].exit_speed.value == 0.0 and found[1].costs is None
    assert found[0].exit_speed.value > 10.0


def test_prediction_has_everything_that_a_builder_asks() -> None:
    found = predict(SETUPS["140"], OUT)
    assert found.carry.value > 10.0
    assert found.costs.spin_up_s.value > found.costs.recovery_s.value > 0.0
    assert found.costs.spin_up_s.u > 0.0
    assert found.spin.value == pytest.approx(0.0, abs=1e-9)
    assert found.ball_energy_j(TENNIS) == pytest.approx(
        0.5 * TENNIS.mass_kg * found.exit_speed.value**2
    )
    assert float(found.launch.stored_j) > found.ball_energy_j(TENNIS)
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


def test_a_carry_ends_on_the_ground_that_rises_or_falls() -> None:
    """In a vacuum v cos(a) t, with v sin(a) t - g t^2 / 2 + h = rise v cos(a) t (from memory)."""
    thin = replace(AIR, density_kgpm3=1e-9, density_u_kgpm3=0.0)
    v, a, drop, g = 20.0, math.radians(42.0), 0.8 - TENNIS.diameter_m / 2, 9.80665
    for rise in (0.03, -0.04):
        level, up = v * math.cos(a), v * math.sin(a) - rise * v * math.cos(a)
        want = level * (up + math.sqrt(up**2 + 2 * g * drop)) / g
        release = replace(RELEASE, ground=Ground(rise))
        assert carry_of(v, 0.0, release, TENNIS, thin).carry_m == pytest.approx(want, rel=1e-5)


@pytest.mark.parametrize("ground", [LEVEL, Ground(0.03)])
def test_many_carries_are_those_of_single_flights(ground: Ground) -> None:
    speeds = np.array([8.0, 17.0, 25.0, 33.0])
    angles = [20.0, 42.0, 50.0, 5.0]
    releases = [Release(0.8, angle, ground=ground) for angle in angles]
    found = carries_of(speeds, releases, TENNIS, AIR)
    for speed, release, carry in zip(speeds, releases, found, strict=True):
        single = carry_of(float(speed), 0.0, release, TENNIS, AIR)
        assert carry == pytest.approx(single.carry_m, abs=2e-4)
