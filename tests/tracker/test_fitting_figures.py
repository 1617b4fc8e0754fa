"""The figures of a shot against closed forms and reference integrations."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.thrown_balls import DRAG, RADIUS_M, RELEASE_M, Throw, camera, flown
from tracker.fitting import FIGURES, PARAMETERS, Circumstances, figures_of
from tracker.fitting.figures import flight_time_of
from tracker.fitting.parameters import GRAVITY_AT, VELOCITY_AT
from tracker.flight.forces import Forces

# A ball of 58 g and 67 mm in air of 1.2 kg/m3, as the reference integrations take it.
KNOWN = Circumstances(
    camera=camera(),
    release_m=RELEASE_M,
    release_u_m=0.02,
    forces=Forces(3.647226574646e-2, 9.80665),
    gravity_u_mps2=0.01,
    drag=DRAG,
    drag_u=0.05,
    lift_u=0.03,
    wind_mps=(0.0, 0.0),
    wind_u_mps=0.5,
    ball_radius_m=0.0,
    readout_s=0.0,
    readout_u_s=1e-3,
)


def parameters(throw, release_s=0.0):
    numbers = np.zeros(len(PARAMETERS))
    numbers[0], numbers[1:12] = release_s, throw.launch()
    return numbers


def figures(throw, known=KNOWN, **more):
    return figures_of(known, parameters(throw, **more))


def thrown(speed, angle, height, drag=0.0, lift=(0.0, 0.0), wind=(0.0, 0.0)):
    start = (0.0, 0.0, height)
    return Throw(speed, angle, drag=drag, lift=lift, wind_mps=wind, start_m=start)


# Vacuum: T = (v sin + sqrt(v2 sin2 + 2gh))/g, R = v cos T, apex h + v2 sin2/2g, landing speed
# sqrt(v2 + 2gh); closed forms (Galileo, 1638), g = 9.80665 (3rd CGPM, 1901).
VACUUM = [
    (20, 45, 0.0, 2.884192996, 40.788648519, 10.197162130, 20.0),
    (10, 30, 0.5, 1.111461722, 9.625540865, 1.774645266, 10.478866828),
    (25, 20, 1.0, 1.853829304, 43.550742934, 4.727629289, 25.389235908),
    (15, 60, 0.0, 2.649300435, 19.869753265, 8.603855547, 15.0),
    (12, 0, 1.2, 0.494703842, 5.936446102, 1.2, 12.943568287),
]


@pytest.mark.parametrize(("speed", "angle", "height", "time", "carry", "apex", "last"), VACUUM)
def test_vacuum_flights(speed, angle, height, time, carry, apex, last):
    got = figures(thrown(speed, angle, height))
    assert got.value("flight_time_s") == pytest.approx(time, abs=1e-8)
    assert got.value("carry_m") == pytest.approx(carry, abs=1e-7)
    assert got.value("apex_m") == pytest.approx(apex, abs=1e-8)
    assert got.value("landing_speed_mps") == pytest.approx(last, abs=1e-7)
    assert got.value("exit_speed_mps") == pytest.approx(speed, abs=1e-12)
    assert got.value("launch_angle_deg") == pytest.approx(angle, abs=1e-12)


# Computed outside the project with scipy's DOP853 (tolerance 1e-12) and by extrapolation in
# 80-bit floats, which agree to 9e-14: time, along, across (left), speed, descent, apex height.
INTEGRATED = [
    (
        thrown(20, 45, 0.0, 0.55),
        *(2.515773593, 25.814129508, 0.0, 13.468726113, 55.828090622, 7.803521995),
    ),
    (
        thrown(10, 30, 0.5, 0.55),
        *(1.085886523, 8.574595973, 0.0, 9.109951780, 37.770657936, 1.699302672),
    ),
    (
        thrown(25, 20, 1.0, 0.55),
        *(1.682868242, 28.916507906, 0.0, 15.163166568, 31.987889296, 3.968948558),
    ),
    (
        thrown(20, 20, 0.5, 0.55, lift=(0.15, 0.0)),
        *(1.565061326, 22.838360803, 0.0, 13.493556630, 29.574170196, 2.893196180),
    ),
    (
        thrown(25, 15, 1.0, 0.55, lift=(-0.20, 0.0)),
        *(1.076511433, 20.954472227, 0.0, 17.077247548, 24.036665016, 2.338707378),
    ),
    (
        thrown(20, 45, 0.0, 0.55, wind=(-5.0, 0.0)),
        *(2.452580003, 19.896300222, 0.0, 11.599767200, 68.587561393, 7.445633855),
    ),
    (
        thrown(20, 30, 0.5, 0.55, wind=(3.0, -2.0)),
        *(1.911161876, 27.150332583, -0.831250133, 14.848729184, 36.814442505, 4.730082010),
    ),
    (
        thrown(20, 15, 1.0, 0.55, lift=(0.0, 0.20)),
        *(1.176411589, 18.619630966, 1.289299648, 14.533875486, 25.049814452, 2.207715853),
    ),
]


@pytest.mark.parametrize(("throw", "time", "along", "across", "last", "down", "apex"), INTEGRATED)
def test_flights_that_two_integrators_agree_on(throw, time, along, across, last, down, apex):
    got = figures(throw)
    # The project's own steps of 0.02 s are good for a hundredth of a millimetre.
    assert got.value("flight_time_s") == pytest.approx(time, abs=1e-6)
    assert got.value("landing_along_m") == pytest.approx(along, abs=1e-5)
    assert got.value("landing_across_m") == pytest.approx(across, abs=1e-5)
    assert got.value("landing_speed_mps") == pytest.approx(last, abs=1e-5)
    assert got.value("landing_angle_deg") == pytest.approx(down, abs=1e-4)
    assert got.value("apex_m") == pytest.approx(apex, abs=1e-5)
    assert got.value("carry_m") == pytest.approx(np.hypot(along, across), abs=1e-5)


def test_ball_lands_with_its_lowest_point():
    # The centre is then one radius above the ground (the meaning of landing in formats.md).
    throw = Throw(18.0, 40.0, 2.0, lift=(0.05, 0.02), wind_mps=(1.0, -0.5))
    _, landed, end = flown(throw, ground_m=RADIUS_M)
    got = figures(throw, replace(KNOWN, ball_radius_m=RADIUS_M))
    assert got.value("flight_time_s") == pytest.approx(landed, abs=1e-6)
    assert got.value("landing_along_m") == pytest.approx(end[0], abs=1e-5)
    assert got.value("landing_across_m") == pytest.approx(end[1], abs=1e-5)


def test_carry_is_from_release_and_landing_from_the_origin():
    here, there = figures(Throw(18.0, 40.0)), figures(Throw(18.0, 40.0, start_m=(1.5, -0.4, 0.8)))
    assert there.value("carry_m") == pytest.approx(here.value("carry_m"), abs=1e-9)
    moved = there.value("landing_along_m") - here.value("landing_along_m")
    assert moved == pytest.approx(1.5, abs=1e-9)
    assert there.value("landing_across_m") == pytest.approx(-0.4, abs=1e-9)


def test_azimuth_is_positive_to_the_left():
    got = figures(Throw(18.0, 40.0, 3.0))
    assert got.value("azimuth_deg") == pytest.approx(3.0, abs=1e-10)
    assert got.value("landing_across_m") > 0.5


def test_ball_thrown_downward_has_its_apex_at_release():
    assert figures(Throw(12.0, -5.0)).value("apex_m") == pytest.approx(RELEASE_M[2])


def test_more_gravity_shortens_the_flight():
    numbers = parameters(Throw(18.0, 40.0))
    heavier = numbers.copy()
    heavier[GRAVITY_AT] = 0.05
    lighter, heavy = figures_of(KNOWN, numbers), figures_of(KNOWN, heavier)
    of_more = replace(KNOWN, forces=Forces(KNOWN.forces.reach_per_m, 9.85665))
    np.testing.assert_allclose(heavy.values, figures_of(of_more, numbers).values, atol=1e-12)
    assert heavy.value("carry_m") < lighter.value("carry_m")


def test_release_time_only_moves_the_release_time():
    early, late = figures(Throw(18.0, 40.0)), figures(Throw(18.0, 40.0), release_s=2.5)
    assert late.value("release_s") == 2.5
    np.testing.assert_array_equal(early.values[:-1], late.values[:-1])


def test_uncertainty_of_a_figure_is_the_spread_of_its_draws():
    # Propagation of distributions against the law of propagation (JCGM 101:2008, clause 8).
    rng = np.random.default_rng(1)
    mean = parameters(Throw(18.0, 40.0))
    spread = np.zeros(len(PARAMETERS))
    spread[1:12] = [0.02, 0.02, 0.02, 0.05, 0.05, 0.05, 0.01, 0.01, 0.01, 0.1, 0.1]
    spread[GRAVITY_AT] = 0.01
    u = figures_of(KNOWN, mean).u(np.diag(spread**2))
    draws = mean + spread * rng.normal(size=(150, len(mean)))
    values = np.array([figures_of(KNOWN, draw).values for draw in draws])
    for index, name in enumerate(FIGURES[:-1]):
        assert u[name] == pytest.approx(values[:, index].std(), rel=0.22), name


def test_a_release_from_a_pit_has_all_figures():
    """Level ground at 0 m, the ball's centre half a metre below it: v = 15 m/s, 40 degrees up.

    Vacuum, from the equations of motion: it falls to the ground after (v + sqrt(v² + 2 g h)) / g.
    """
    up = 15.0 * np.sin(np.radians(40.0))
    time_s = (up + np.sqrt(up**2 - 2.0 * 9.80665 * 0.5)) / 9.80665
    assert figures(thrown(15.0, 40.0, -0.5)).value("flight_time_s") == pytest.approx(time_s)


@pytest.mark.parametrize("throw", [Throw(18.0, 40.0), Throw(30.0, -5.0), Throw(40.0, 89.0)])
def test_the_flight_time_alone_is_that_of_the_figures(throw):
    numbers = parameters(throw)
    alone, whole = flight_time_of(KNOWN, numbers), figures_of(KNOWN, numbers)
    assert alone == whole.value("flight_time_s") > 0.0


def test_a_flight_that_is_not_down_by_then_is_flown_to_its_end(monkeypatch):
    numbers = parameters(Throw(18.0, 40.0))
    usual = figures_of(KNOWN, numbers)
    monkeypatch.setattr("tracker.fitting.figures.USUAL_SHARE", 0.2)
    longer = figures_of(KNOWN, numbers)
    assert np.all(np.isfinite(usual.values))
    np.testing.assert_allclose(longer.values, usual.values, rtol=1e-12)
    np.testing.assert_allclose(longer.jacobian, usual.jacobian, rtol=1e-9, atol=1e-12)


def test_a_flight_that_does_not_come_down_has_no_flight_time():
    floating = parameters(Throw(18.0, 40.0))
    floating[GRAVITY_AT] = -9.75
    assert np.isnan(flight_time_of(KNOWN, floating))
    assert np.isnan(figures_of(KNOWN, floating).value("flight_time_s"))


@pytest.mark.parametrize("azimuth", [0.0, 25.0])
def test_what_is_open_aside_widens_speed_angle_and_carry(azimuth):
    """Propagation of distributions (JCGM 101:2008) of a velocity that is open square to a shot."""
    speed, angle, height, aside_mps = 12.0, 40.0, 0.9, 1.5
    at = parameters(thrown(speed, angle, height))
    turn = np.radians(azimuth)
    way, square = np.array([np.cos(turn), np.sin(turn), 0.0]), [-np.sin(turn), np.cos(turn), 0.0]
    along, up = speed * np.cos(np.radians(angle)), speed * np.sin(np.radians(angle))
    at[VELOCITY_AT] = along * way + [0.0, 0.0, up]
    covariance = np.zeros((len(PARAMETERS), len(PARAMETERS)))
    covariance[VELOCITY_AT, VELOCITY_AT] = aside_mps**2 * np.outer(square, square)
    got = figures_of(KNOWN, at)
    u = got.u(covariance)
    drawn = aside_mps * np.random.default_rng(5).normal(size=200_000)
    level = np.hypot(along, drawn)
    duration = got.value("flight_time_s")
    moved = {
        "exit_speed_mps": np.hypot(level, up) - speed,
        "launch_angle_deg": np.degrees(np.arctan2(up, level)) - angle,
        "carry_m": duration * (level - along),
    }
    for name, off in moved.items():
        # Nothing of it is of the first order; beyond the second order is a twentieth here.
        assert abs(got.slope(name) @ covariance @ got.slope(name)) < 1e-12
        assert u[name] == pytest.approx(np.sqrt(np.mean(off**2)), rel=0.06)
    assert u["flight_time_s"] < 1e-9 and u["apex_m"] < 1e-9
    # Parts of what is open have variances that add up to the whole one's.
    parts = [got.variances(share * covariance, covariance) for share in (0.3, 0.7)]
    np.testing.assert_allclose(np.sqrt(sum(parts)), list(u.values()), atol=1e-6)


def test_a_toss_without_a_way_of_its_own_may_land_as_far_off_as_it_is_open():
    at = parameters(thrown(8.0, 90.0, 1.0))
    at[VELOCITY_AT] = 1e-9, 0.0, 8.0
    covariance = np.zeros((len(PARAMETERS), len(PARAMETERS)))
    across = VELOCITY_AT.start + 1
    covariance[across, across] = 0.5**2
    got = figures_of(KNOWN, at)
    assert got.u(covariance)["carry_m"] == pytest.approx(0.5 * got.value("flight_time_s"), rel=1e-3)
