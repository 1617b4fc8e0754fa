"""The renderer's own flights against closed forms and reference integrations."""

from dataclasses import replace

import numpy as np
import pytest

from tracker.synthetic.flight import TrueAir, TrueBall, TrueLaunch, Turf, fly
from tracker.synthetic.truth import shot_truth

G = 9.80665
SOFT = Turf(hops=0)


def flown(ball, density, speed, angle, height, wind=(0.0, 0.0, 0.0), tilt=0.0):
    """Fly with the centre landing `radius` up, so that heights count from there.

    The references know no buoyancy and no added mass: a ball that much lighter, in a gravity that
    much stronger, moves as theirs does.
    """
    launch = TrueLaunch(2.0, (0.0, 0.0, height + 0.5 * ball.diameter_m), speed, angle, 0.0, tilt)
    displaced = density * np.pi / 6.0 * ball.diameter_m**3
    lighter = replace(ball, mass_kg=ball.mass_kg - 0.5 * displaced)
    gravity = G * ball.mass_kg / (lighter.mass_kg - displaced)
    return fly(launch, lighter, TrueAir(density, wind, gravity), SOFT)


# Values: closed forms of projectile motion without air, worked out with g = 9.80665 m/s².
@pytest.mark.parametrize(
    ("speed", "angle", "height", "time_s", "carry_m", "apex_m"),
    [
        (20.0, 45.0, 0.0, 2.884192996, 40.788648519, 10.197162130),
        (10.0, 30.0, 0.5, 1.111461722, 9.625540865, 1.774645266),
        (25.0, 20.0, 1.0, 1.853829304, 43.550742934, 4.727629289),
        (15.0, 60.0, 0.0, 2.649300435, 19.869753265, 8.603855547),
    ],
)
def test_vacuum_flights_follow_the_closed_forms(speed, angle, height, time_s, carry_m, apex_m):
    ball = TrueBall()
    shot = flown(ball, 0.0, speed, angle, height)
    truth = shot_truth(shot)
    assert truth["flight_time_s"] == pytest.approx(time_s, abs=1e-8)
    assert truth["carry_m"] == pytest.approx(carry_m, abs=1e-7)
    assert truth["apex_m"] - 0.5 * ball.diameter_m == pytest.approx(apex_m, abs=1e-8)
    assert truth["release_s"] == 2.0


# Values: two independent integrations (DOP853, and extrapolation in 80-bit floats) of
# a = -g - k|u|u + l|u|(w x u), m 0.058 kg, d 0.067 m, air 1.2 kg/m³, that agree to 9e-14.
@pytest.mark.parametrize(
    ("drag", "lift", "tilt", "wind", "launch", "expected"),
    [
        (0.55, 0.0, 0.0, (0.0, 0.0), (20.0, 45.0, 0.0), (2.515773593, 25.814129508, 0.0)),
        (0.55, 0.0, 0.0, (0.0, 0.0), (25.0, 20.0, 1.0), (1.682868242, 28.916507906, 0.0)),
        (0.55, 0.15, 0.0, (0.0, 0.0), (20.0, 20.0, 0.5), (1.565061326, 22.838360803, 0.0)),
        (0.55, -0.20, 0.0, (0.0, 0.0), (25.0, 15.0, 1.0), (1.076511433, 20.954472227, 0.0)),
        (0.55, 0.0, 0.0, (-5.0, 0.0), (20.0, 45.0, 0.0), (2.452580003, 19.896300222, 0.0)),
        (0.55, 0.0, 0.0, (3.0, -2.0), (20.0, 30.0, 0.5), (1.911161876, 27.150332583, -0.831250133)),
        (0.55, 0.20, 90.0, (0.0, 0.0), (20.0, 15.0, 1.0), (1.176411589, 18.619630966, 1.289299648)),
    ],
)
def test_flights_in_air_match_reference_integrations(drag, lift, tilt, wind, launch, expected):
    ball = TrueBall(0.058, 0.067, drag, lift)
    shot = flown(ball, 1.2, *launch, wind=(*wind, 0.0), tilt=tilt)
    landed = (shot.landing_s - 2.0, shot.landing[0], shot.landing[1])
    assert landed == pytest.approx(expected, abs=2e-8)


def lifted_m(speed, lift, spin_share):
    """Return the height in which balls lifted up and down differ after 20 ms of a level flight."""
    launch = TrueLaunch(0.0, (0.0, 0.0, 2.0), speed, 0.0)
    up, down = (
        fly(launch, TrueBall(lift_coefficient=sign * lift, spin_share=spin_share), TrueAir(), SOFT)
        for sign in (1.0, -1.0)
    )
    return float((up.positions([0.02]) - down.positions([0.02]))[0, 2])


@pytest.mark.parametrize(("spin_share", "grows"), [(0.0, 1.0), (1.0, 0.083333 / 0.045455)])
def test_a_kept_spin_lifts_more_the_slower_the_ball(spin_share, grows):
    # C = 1 / (2 + 1 / S), Štěpánek, Am. J. Phys. 56, 138 (1988; from memory): 0.045455 at S of 0.05
    # and 0.083333 at 0.1, so at half the speed.
    fast, slow = (lifted_m(speed, 0.045455, spin_share) for speed in (20.0, 10.0))
    assert slow / fast * 4.0 == pytest.approx(grows, rel=0.02)
    ball = TrueBall(lift_coefficient=0.045455, spin_share=spin_share)
    assert ball.lift_fade == pytest.approx(spin_share * 20.0 / 22.0, abs=1e-4)


def test_buoyancy_lightens_the_ball_and_added_mass_holds_it_back():
    # 57.7 g and 67.0 mm in 1.2 kg/m³: buoyancy over weight 0.003275 (mid-limit tennis ball), by
    # Archimedes; a sphere carries half as much air along (Lamb, Hydrodynamics, art. 92).
    ball = TrueBall(0.0577, 0.067, 0.0, 0.0)
    launch = TrueLaunch(0.0, (0.0, 0.0, 10.0), 1e-9, 0.0)
    shot = fly(launch, ball, TrueAir(1.2), SOFT)
    fall = 10.0 - 0.5 * ball.diameter_m
    assert 2.0 * fall / shot.landing_s**2 / G == pytest.approx(
        (1.0 - 0.003275) / (1.0 + 0.003275 / 2), abs=2e-6
    )


def test_first_bounce_is_where_the_lowest_point_touches():
    shot = fly(TrueLaunch(0.0, (0.0, 0.0, 0.8), 18.0, 40.0, 3.0), TrueBall(), TrueAir(), Turf())
    assert shot.landing[2] == pytest.approx(0.033, abs=1e-9)
    assert np.degrees(np.arctan2(*shot.landing[1::-1])) == pytest.approx(3.0, abs=1e-6)


def test_hops_keep_what_the_turf_leaves_and_end_at_rest():
    turf = Turf(restitution=0.7, kept=0.6, hops=3, rolling_mps2=2.0)
    shot = fly(
        TrueLaunch(0.0, (0.0, 0.0, 0.8), 18.0, 42.0), TrueBall(), TrueAir(density_kgpm3=0.0), turf
    )
    times = np.linspace(shot.landing_s, shot.legs[1].end_s, 2001)
    hop = shot.positions(times)[:, 2] - 0.033
    # Without air a bounce gives back the square of the restitution in height (Newton's law).
    fallen = shot.landing[5] ** 2 / (2.0 * shot.air.gravity_mps2)
    assert hop.max() == pytest.approx(0.49 * fallen, rel=1e-5)
    speeds = shot.states([shot.landing_s - 1e-6, shot.landing_s + 1e-6])[:, 3]
    assert speeds[1] / speeds[0] == pytest.approx(0.6, abs=1e-4)
    everywhere = shot.positions(np.linspace(0.0, shot.rest_s + 1.0, 4000))
    assert everywhere[:, 2].min() > 0.033 - 1e-9
    assert np.all(shot.states([shot.rest_s + 0.5])[0, 3:] == 0.0)
    assert len(shot.legs) == 5


def test_there_is_no_ball_before_the_release():
    shot = fly(TrueLaunch(1.0, (0.0, 0.0, 0.8), 18.0, 42.0), TrueBall(), TrueAir(), Turf())
    places = shot.positions([0.5, 0.999999, 1.0])
    assert np.all(np.isnan(places[:2]))
    assert places[2] == pytest.approx([0.0, 0.0, 0.8], abs=1e-9)


def test_azimuth_is_positive_to_the_left_and_velocity_matches_the_truth():
    launch = TrueLaunch(0.0, (0.0, 0.0, 0.8), 20.0, 30.0, 4.0)
    along, across, up = launch.velocity()
    assert across > 0.0
    assert np.degrees(np.arctan2(across, along)) == pytest.approx(4.0)
    assert np.hypot(along, across) == pytest.approx(20.0 * np.cos(np.radians(30.0)))
    assert up == pytest.approx(10.0)
