"""A map over two numbers of a setup."""

from pathlib import Path

import numpy as np
import pytest

from calibration.errors import InputError
from tests.tracker.invented_outings import session
from tracker.comparison.grid import grid_of
from tracker.comparison.knowledge import Knowledge
from tracker.comparison.many import mean_carries
from tracker.launcher.sweep import changed, parse_sweep
from tracker.workflow.gathering import gather
from tracker.workflow.predict import predict_sessions


@pytest.fixture(scope="module")
def lane(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("fen") / "lane"
    return session(folder, {"100 mm wheels": 4, "140 mm wheels": 4, "180 mm wheels": 0})


@pytest.fixture(scope="module")
def known(lane: Path) -> Knowledge:
    return Knowledge(gather([lane]).setups)


def test_a_map_is_made_of_single_predictions(known: Knowledge) -> None:
    base = known.setups[1]
    across = parse_sweep("wheel.diameter_mm=110:170:3")
    up = parse_sweep("motor.duty_percent=60:100:2")
    found = grid_of(known, base, across, up)
    assert found.values.shape == (2, 3)
    for row, column in ((0, 0), (1, 1), (1, 2)):
        machine = changed(base.machine, across.key, across.values[column])
        machine = changed(machine, up.key, up.values[row])
        (single,) = known.machines(base, [machine])
        assert found.values[row, column] == pytest.approx(single.carry.value, rel=0.015)
        assert found.u[row, column] == pytest.approx(single.carry.u, rel=0.4)
    assert [one[:2] for one in found.shot] == [("100 mm wheels", 100.0), ("140 mm wheels", 140.0)]
    assert "wheel.diameter_mm lies 30 mm beyond anything shot" in found.sentence()
    assert found.sentence().startswith("The greatest carry on the map is ")


def test_carries_are_as_uncertain_as_the_measured_ratios(known: Knowledge) -> None:
    """Of a speed that is known exactly the scatter of measured over modelled carry is left."""
    factor = known.ratios.factor()
    values, u = mean_carries(known, known.setups[0], np.array([20.0, np.nan]), np.zeros(2))
    assert u[0] == pytest.approx(values[0] * factor.u / factor.value, rel=1e-9)
    assert u[0] > 0.0 and np.isnan(values[1])


def test_a_map_is_drawn_with_the_wanted_carry(lane: Path) -> None:
    sweeps = ("wheel.diameter_mm=100:140:4", "battery.rest_v=9:13:4")
    made = predict_sessions([lane], "140 mm wheels", sweeps, to_hit=35.0)
    assert made.sweep is None and made.map is not None
    assert made.map.picture.name == "map-wheel-diameter-mm-battery-rest-v.png"
    assert made.map.picture.read_bytes()[:4] == b"\x89PNG"
    # More voltage carries farther at every diameter.
    assert (np.diff(made.map.grid.values, axis=0) > 0.0).all()


def test_a_voltage_that_is_swept_is_the_battery_s(known: Knowledge) -> None:
    base = known.setups[1].machine
    more = changed(base, "motor.supply_v", 14.0)
    assert more.motor == base.motor
    assert more.battery.voltage_v == 14.0
    assert more.u["battery.rest_v"] == pytest.approx(0.14)


def test_ranges_that_make_no_map_are_refused(lane: Path) -> None:
    one, other = "wheel.diameter_mm=100:140:4", "motor.duty_percent=40:100:3"
    with pytest.raises(InputError, match="two different fields"):
        predict_sessions([lane], "", (one, one))
    with pytest.raises(InputError, match="one, or two for a map"):
        predict_sessions([lane], "", (one, other, one))
