import numpy as np
import pytest

from tests.published.flight_cases import TENNIS, launch
from tracker.flight.figures import FIGURES, figures
from tracker.flight.forces import Forces
from tracker.flight.integration import LAUNCH, fly
from tracker.records import Shot

SHOT = np.array([0.1, -0.2, 0.8, 17.0, 0.6, 9.0, 0.53, 0.04, -0.03, 1.0, -0.7])


def test_names_are_columns_of_a_shot():
    assert set(FIGURES) <= set(Shot.__dataclass_fields__)


def test_figures_of_a_shot_to_the_left():
    found = figures(fly(np.array([0, 0, 1, 3, 4, 5, 0, 0, 0, 0, 0.0]), Forces(0.0), 3.0), 1.0)
    time = 2 * 5 / 9.80665
    assert found["exit_speed_mps"] == pytest.approx(np.sqrt(50))
    assert found["launch_angle_deg"] == pytest.approx(45)
    assert found["azimuth_deg"] == pytest.approx(np.degrees(np.arctan2(4, 3)))
    assert found["flight_time_s"] == pytest.approx(time)
    assert found["carry_m"] == pytest.approx(5 * time)
    assert found["landing_along_m"] == pytest.approx(3 * time)
    assert found["landing_across_m"] == pytest.approx(4 * time)
    assert found["apex_m"] == pytest.approx(1 + 25 / (2 * 9.80665))
    assert found["landing_speed_mps"] == pytest.approx(np.sqrt(50))
    assert found["landing_angle_deg"] == pytest.approx(45)


def test_carry_is_from_the_release():
    here = figures(fly(SHOT, TENNIS, 3.0), 0.0335)
    moved = SHOT + np.array([1.0, 2.0, *np.zeros(9)])
    there = figures(fly(moved, TENNIS, 3.0), 0.0335)
    assert there["carry_m"] == pytest.approx(here["carry_m"], abs=1e-12)
    assert there["landing_along_m"] == pytest.approx(here["landing_along_m"] + 1.0)


def test_derivatives_are_central_differences():
    found = figures(fly(SHOT, TENNIS, 3.0, with_sensitivities=True), 0.0335)
    assert np.array_equal(found.values, figures(fly(SHOT, TENNIS, 3.0), 0.0335).values)
    for column in range(len(LAUNCH)):
        step = np.zeros(len(LAUNCH))
        step[column] = 1e-5
        ahead, behind = (
            figures(fly(SHOT + sign * step, TENNIS, 3.0), 0.0335).values for sign in (1, -1)
        )
        assert np.abs((ahead - behind) / 2e-5 - found.by_launch[:, column]).max() < 2e-6


def test_straight_up_has_no_direction_and_no_nonsense():
    found = figures(fly(launch(10, 90, 0.5, 0.5), TENNIS, 3.0, with_sensitivities=True), 0.0)
    assert np.all(np.isfinite(found.values))
    assert np.all(np.isfinite(found.by_launch))
    assert found["launch_angle_deg"] == pytest.approx(90)


def test_no_figures_without_a_landing():
    assert figures(fly(SHOT, TENNIS, 0.5), 0.0) is None
    assert figures(fly(SHOT, TENNIS, 1.2), 0.0) is None
