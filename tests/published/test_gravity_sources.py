"""Gravity where nobody states the place."""

import math

from tracker.flight.gravity import STANDARD_GRAVITY, STANDARD_GRAVITY_U


def test_standard_gravity():
    # 3rd CGPM (1901); the value stands in the constants of ICAO Doc 7488.
    assert STANDARD_GRAVITY == 9.80665


def test_its_uncertainty_is_that_of_any_latitude():
    # Normal gravity of WGS 84 at the equator and at the poles (NIMA TR8350.2, 2000, table 3.4).
    half = (9.8321849379 - 9.7803253359) / 2
    assert round(half / math.sqrt(3), 3) == STANDARD_GRAVITY_U
