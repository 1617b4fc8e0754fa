"""Priors of a fit from what is known of a shot, and the layout of its parameters."""

from dataclasses import replace
from math import hypot

import numpy as np
import pytest

from tests.tracker.fitting_case import calibrated, circumstances, drawn
from tracker.fitting import parameters as layout
from tracker.fitting.conditions import Conditions, circumstances_of
from tracker.fitting.model import Instants, flight_of, look, predict
from tracker.flight.air import Weather, air_from
from tracker.flight.ball import ball_from


def conditions(**changes) -> Conditions:
    given = {
        "ball": ball_from("tennis"),
        "air": air_from(Weather(temperature_c=15.0, pressure_hpa=1013.0, wind_u_mps=0.5)),
        "gravity_mps2": 9.81,
        "gravity_u_mps2": 0.005,
        "release_m": np.array([0.0, 0.0, 0.8]),
        "release_u_m": 0.03,
        "readout_s": 0.008,
    }
    return Conditions(**{**given, **changes})


def known(**changes):
    return circumstances_of(calibrated(), conditions(**changes))


@pytest.mark.parametrize(
    ("stated_s", "value_s", "u_s"),
    [(0.008, 0.008, 0.0008), (0.02, 0.02, 0.002), (0.0, 0.0, 1e-4), (None, 0.01, 0.00577)],
)
def test_a_stated_readout_is_known_to_a_tenth_and_an_unstated_one_to_all(stated_s, value_s, u_s):
    found = known(readout_s=stated_s)
    assert (found.readout_s, found.readout_u_s) == pytest.approx((value_s, u_s), rel=1e-3)


@pytest.mark.parametrize(
    ("frame_s", "longest_s"), [(1 / 24, 0.02), (1 / 60, 1 / 60), (1 / 240, 1 / 240)]
)
def test_no_readout_is_longer_than_from_one_frame_to_the_next(frame_s, longest_s):
    """A rectangular law from nothing on: JCGM 100:2008, 4.3.7."""
    found = circumstances_of(calibrated(), conditions(readout_s=None), frame_s)
    assert found.readout_s == pytest.approx(longest_s / 2)
    assert found.readout_u_s == pytest.approx(longest_s / 2 / 3**0.5)
    stated = circumstances_of(calibrated(), conditions(readout_s=0.008), frame_s)
    assert (stated.readout_s, stated.readout_u_s) == pytest.approx((0.008, 0.0008))


@pytest.mark.parametrize(
    ("field", "weight"), [("mass_u_kg", 1.0), ("diameter_u_m", 2.0), ("drag_u", 1.0)]
)
def test_the_drag_s_uncertainty_combines_what_acts_like_drag(field, weight):
    """k = rho A C / (2 m): relative uncertainties in quadrature, that of the diameter twice.

    JCGM 100:2008, 5.1.6.
    """
    ball = ball_from("tennis")
    size = {"mass_u_kg": ball.mass_kg, "diameter_u_m": ball.diameter_m,
            "drag_u": ball.drag_coefficient}[field]  # fmt: skip
    sure, unsure = (known(ball=replace(ball, **{field: share * size})) for share in (0.0, 0.05))
    before, after = (each.drag_u / ball.drag_coefficient for each in (sure, unsure))
    assert after == pytest.approx(hypot(before, 0.05 * weight))
    # What the drag coefficient itself adds is none of the reach's.
    share = 0.0 if field == "drag_u" else 0.05 * weight
    assert unsure.reach_share_u == pytest.approx(hypot(sure.reach_share_u, share))


def test_the_air_s_share_is_that_of_its_density():
    air = air_from(Weather(temperature_c=15.0, pressure_hpa=1013.0))
    found = known(air=air)
    assert found.drag_air_u / found.drag == pytest.approx(air.density_u_kgpm3 / air.density_kgpm3)
    thin = known(air=replace(air, density_u_kgpm3=0.0))
    assert found.reach_share_u == pytest.approx(
        hypot(thin.reach_share_u, air.density_u_kgpm3 / air.density_kgpm3)
    )


def test_each_name_of_the_layout_stands_where_the_vector_has_it():
    names = layout.PARAMETERS
    assert names[layout.RELEASE_AT] == "release_s"
    assert names[layout.POSITION_AT] == ("along", "across", "up")
    assert names[layout.VELOCITY_AT] == ("speed_along", "speed_across", "speed_up")
    assert names[layout.DRAG_AT] == "drag"
    assert names[layout.LIFT_AT] == ("lift_up", "lift_side")
    assert names[layout.MEAN_WIND_AT] == ("wind_along", "wind_across")
    assert names[layout.LIGHT_AT] == ("light_right", "light_down", "light_forward")
    assert names[layout.GUSTS_AT] == "gust_along_1"
    assert names[layout.CAMERA_AT] == "turn_x" and names[-1] == "k3"
    assert names[layout.CAMERA_ACROSS_AT] == "across"
    assert layout.CAMERA_ACROSS_AT > layout.CAMERA_AT
    along, across = ([names[at] for at in axis] for axis in layout.WIND_AT)
    assert along[0] == "wind_along" and all(name.startswith("gust_along") for name in along[1:])
    assert across[0] == "wind_across" and all(name.startswith("gust_across") for name in across[1:])
    assert {names[at] for at in layout.FLIGHT_AT} == {
        *names[1 : layout.READOUT_AT],
        *names[layout.GRAVITY_AT : layout.CAMERA_AT],
    }


@pytest.mark.parametrize("ball", ["tennis", "table tennis"])
def test_the_step_of_integration_costs_no_pixel(ball):
    """Against steps of a millisecond; positions are known to a tenth of a pixel at best."""
    case = drawn(np.random.default_rng(4), circumstances(calibrated(), ball), wrong=False)
    given = Instants(case.track.times_s, case.row_share, case.track.lean)
    fast = predict(case.circumstances, case.truth, given).pixels
    camera = case.circumstances.camera
    last_s = float(case.track.times_s[-1] - case.truth[0] + 0.1)
    fine = flight_of(case.circumstances, case.truth, last_s, 0.001, with_sensitivities=True)
    assert np.abs(fast - look(camera, fine, case.truth, given)[0]).max() < 0.01


def test_a_ball_touches_the_ground_with_half_its_diameter_below_its_centre():
    assert known().ball_radius_m == pytest.approx(0.0335, abs=0.0005)  # ITF Rules: 65.4 to 68.6 mm


def test_light_is_presumed_to_come_from_above():
    """Rows grow downwards: below its middle a ball is darker, by its whole uncertainty."""
    light = slice(layout.LIGHT_AT.start, layout.LIGHT_AT.stop)
    assert known().prior_mean()[light] == pytest.approx([0.0, -20.0, 0.0])
    weight = np.diag(known().prior_information())[light]
    assert 1.0 / np.sqrt(weight) == pytest.approx([20.0, 20.0, 20.0])
