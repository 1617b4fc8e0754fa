"""Which settings give a wanted carry."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.invented_outings import AIR, TENNIS, shots_of, tables
from tracker.comparison.built import Setup
from tracker.comparison.knowledge import Knowledge
from tracker.comparison.setups import SetupShots
from tracker.comparison.target import crossing, settings_for, target_sentences
from tracker.launcher.carry import Release
from tracker.launcher.prediction import Outdoors
from tracker.launcher.setup import machine_from_setup

RELEASE = Release(0.8, 42.0)


@pytest.fixture(scope="module")
def base() -> Setup:
    name = "140 mm wheels"
    machine = machine_from_setup(tables(name), "", TENNIS.diameter_m)
    shots = SetupShots(name, tuple(shots_of(name, 5)), ("may",) * 5)
    return Setup(shots, machine, Outdoors(TENNIS, AIR, RELEASE))


def test_a_setting_that_is_found_carries_that_far(base: Setup) -> None:
    known = Knowledge([base])
    mean = base.mean("carry_m").value
    wanted = round(0.75 * mean)
    found = settings_for(known, base, wanted)
    assert "motor.duty_percent" in {one.key for one in found}
    for one in found:
        machine = base.machine.having({one.key: one.value})
        (made,) = known.machines(base, [machine])
        if one.key != "wheel.diameter_mm":
            assert made.carry.value == pytest.approx(wanted, abs=0.06 * wanted), one.key
        assert one.u_m > 0.0
        assert one.scatter_m == pytest.approx(base.sample("carry_m").sd / mean * wanted, rel=1e-6)
    said = target_sentences(base, wanted, found)
    assert said[0] == '"140 mm wheels" with one number changed:'
    (duty,) = (line for line in said if line.startswith("motor.duty_percent = "))
    assert f"{wanted} m" in duty and " % of the battery's voltage, a setting of the speed" in duty
    assert "battery.rest_v" not in {one.key for one in found}


def test_another_battery_is_named_where_the_speed_control_is_at_its_end(base: Setup) -> None:
    wanted = 1.01 * base.mean("carry_m").value
    found = {one.key: one for one in settings_for(Knowledge([base]), base, wanted)}
    assert "motor.duty_percent" not in found
    battery = found["battery.rest_v"]
    share = f"{100 * battery.value / battery.present:.0f} %"
    assert battery.value > battery.present
    assert f", another battery with {share} of the present one's voltage," in battery.sentence(9.0)


def test_what_no_setting_reaches_is_said(base: Setup) -> None:
    assert settings_for(Knowledge([base]), base, 400.0) == []
    assert target_sentences(base, 400.0, [])[0].startswith("No setting of")
    blind = replace(base, outdoors=Outdoors(TENNIS, AIR))
    assert "has no launch angle" in target_sentences(blind, 30.0, [])[0]


def test_of_two_crossings_the_nearer_one_is_taken() -> None:
    places, values = [0.0, 1.0, 2.0, 3.0], [0.0, 2.0, 2.0, 0.0]
    assert crossing(places, values, 1.0, 2.9) == pytest.approx(2.5)
    assert crossing(places, values, 1.0, 0.0) == pytest.approx(0.5)
    assert crossing(places, values, 3.0, 0.0) is None
    assert crossing(places, [np.nan] * 4, 1.0, 0.0) is None
