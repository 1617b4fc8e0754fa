"""Rim speed, burst stress and fuse of a wheel."""

import math

import pytest

from tracker.flight.air import Weather, air_from
from tracker.flight.ball import ball_named
from tracker.launcher.cautions import cautions, troubles
from tracker.launcher.prediction import Outdoors, predict
from tracker.launcher.safety import burst_mpa, fuse_a, safety
from tracker.launcher.setup import machine_from_setup

TENNIS = ball_named("tennis")
OUT = Outdoors(TENNIS, air_from(Weather()))


def machine(**wheel: object):
    tables = {
        "wheel": {"diameter_mm": 140.0, "mass_g": 210.0, **wheel},
        "motor": {"supply_v": 12.0, "no_load_rpm": 6000.0, "stall_torque_mnm": 400.0},
    }
    return machine_from_setup(tables, "", TENNIS.diameter_m)


def test_hoop_stress_of_a_ring_and_a_disc() -> None:
    """rho v^2 = 7850 kg/m³ at 100 m/s is 78.5 MPa for a thin steel ring (textbook); a full disc
    has (3 + v)/8 = 0.4125 of it at its centre (Timoshenko and Goodier, from memory)."""
    speed = 100.0 / 0.07
    assert burst_mpa(machine(kind="ring", material="steel"), speed) == pytest.approx(78.5)
    disc = burst_mpa(machine(kind="disc", material="steel"), speed)
    assert disc == pytest.approx(78.5 * 0.4125)
    spokes = burst_mpa(machine(kind="spoked", material="plastic"), speed)
    assert spokes == pytest.approx(12.0)


@pytest.mark.parametrize(("running", "fuse"), [(3.0, 5.0), (4.0, 7.5), (30.0, 40.0), (90.0, None)])
def test_the_fuse_bears_the_running_current(running: float, fuse: float | None) -> None:
    assert fuse_a(running) == fuse


def test_what_a_machine_asks_before_it_is_built() -> None:
    one = machine(kind="spoked")
    found = predict(one, OUT)
    said = safety(one, found, found)
    stored = f"{float(found.launch.stored_j):.0f} J"
    assert f"the wheels hold {stored} against {stored} now" in said
    assert "within the 9 MPa that plastic may bear" in said
    assert "a slow fuse of" in said and "a guard that holds a burst wheel" in said
    fast = one.having({"wheel.speed_rpm": 20000.0})
    assert "ABOVE the 9 MPa" in safety(fast, predict(fast, OUT), None)


def test_cautions_stand_once_for_all_machines() -> None:
    small, large = machine(diameter_mm=100.0, mass_g=110.0), machine()
    found = [("small", predict(small, OUT), OUT), ("large", predict(large, OUT), OUT)]
    said = cautions(found)
    assert said[0].startswith('The ball of "large" leaves with ')
    assert 'the wheels of "large" hold' in said[0]
    assert sum("guard the gap" in one for one in said) == 1
    assert cautions([]) == ()


def test_what_keeps_a_machine_from_shooting_is_reported_by_its_name() -> None:
    held = predict(machine().having({"losses.bearing_mnm": 5000.0}), OUT)
    assert troubles("140 mm", held)[0].startswith('"140 mm": the motor cannot start its wheel')
    assert troubles("140 mm", predict(machine(), OUT)) == ()
    soft = machine().having({"grip.friction": 0.12})
    (said,) = troubles("140 mm", predict(soft, OUT))
    assert "the ball sticks in the gap with a chance of" in said
    assert math.isfinite(predict(soft, OUT).exit_speed.value)
