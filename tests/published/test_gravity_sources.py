"""Gravity by latitude and height: WGS 84 and what is near it."""

import numpy as np
import pytest

from tracker.flight.gravity import STANDARD_GRAVITY, normal_gravity


def test_standard_gravity():
    # 3rd CGPM (1901); the value stands in the constants of ICAO Doc 7488.
    assert STANDARD_GRAVITY == 9.80665


@pytest.mark.parametrize(
    ("latitude", "value"),
    [
        (0, 9.7803253359),
        (15, 9.7837849624),
        (30, 9.7932472692),
        (45, 9.8061977694),
        (60, 9.8191769531),
        (75, 9.8286966275),
        (90, 9.8321849379),
    ],
)
def test_somigliana(latitude, value):
    # Somigliana's formula with the constants of WGS 84, computed outside the project.
    assert normal_gravity(latitude) == pytest.approx(value, abs=1e-9)
    assert normal_gravity(-latitude) == normal_gravity(latitude)


def test_constants_follow_from_the_ellipsoid():
    # Re-derived from a, f, GM and the rotation in closed form (Moritz, GRS 80, 2000).
    assert normal_gravity(0) == pytest.approx(9.780325335904, abs=1e-10)
    assert normal_gravity(90) == pytest.approx(9.832184937863, abs=1e-10)


def test_the_grs_80_ellipsoid_is_a_hair_away():
    # GRS 80 has 9.8061992025 at 45 degrees; WGS 84 of 1987, still in use on the web, is 1.4e-6
    # higher than the present one everywhere.
    assert normal_gravity(45) == pytest.approx(9.8061992025, abs=2e-6)
    assert abs(normal_gravity(45) - 9.8061992025) > 1e-6
    sine = np.sin(np.radians(45)) ** 2
    old = 9.7803267714 * (1 + 0.00193185138639 * sine) / np.sqrt(1 - 0.00669437999013 * sine)
    assert old - normal_gravity(45) == pytest.approx(1.4e-6, abs=1e-7)


@pytest.mark.parametrize(
    ("height", "value"),
    [
        (100, 9.80588922),
        (500, 9.80465518),
        (1000, 9.80311294),
        (2000, 9.80002956),
        (3000, 9.79694763),
    ],
)
def test_second_order_in_the_height(height, value):
    # NIMA TR8350.2, equation 4-3, computed outside the project at 45 degrees.
    assert normal_gravity(45, height) == pytest.approx(value, abs=1e-7)


def test_free_air_gradient():
    # -3.086e-6 per s2, common practice, no source.
    slope = (normal_gravity(45, 10.0) - normal_gravity(45, -10.0)) / 20
    assert slope == pytest.approx(-3.086e-6, rel=5e-3)


@pytest.mark.parametrize(("height", "value"), [(1000, 9.8036), (2000, 9.8005), (3000, 9.7974)])
def test_handbook_gravity_at_a_height(height, value):
    # US Standard Atmosphere 1976 as in the Mechanical Engineers' Handbook, vol. 4, table 6: it
    # starts from standard gravity, so the difference from the ground is what compares.
    fall = normal_gravity(45) - normal_gravity(45, height)
    assert STANDARD_GRAVITY - fall == pytest.approx(value, abs=8e-5)


def test_45_degrees_is_not_standard_gravity():
    assert normal_gravity(45) - STANDARD_GRAVITY == pytest.approx(-0.000452, abs=1e-6)


def test_equator_to_pole_changes_a_range_by_half_a_percent():
    # A vacuum range goes as 1/g: 0.53024 %, computed outside the project.
    assert 100 * (normal_gravity(90) / normal_gravity(0) - 1) == pytest.approx(0.53024, abs=1e-5)
