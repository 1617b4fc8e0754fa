"""Laws of mechanics that every flight must keep, whatever its launch."""

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st

from tracker.flight.air import moist_density
from tracker.flight.events import apex, crossing
from tracker.flight.figures import figures
from tracker.flight.forces import Forces
from tracker.flight.integration import LAUNCH, fly, fly_many

G = 9.80665


def number(low, high):
    return st.floats(low, high, allow_nan=False, width=64)


SPEEDS, ANGLES, TURNS = number(1.0, 40.0), number(-60.0, 85.0), number(-40.0, 40.0)
DRAGS, LIFTS, WINDS = number(0.0, 1.0), number(-0.4, 0.4), number(-8.0, 8.0)
REACHES = number(0.005, 0.06)


@st.composite
def launches(draw, wind=True, drag=DRAGS, lift=LIFTS):
    speed, angle = draw(SPEEDS), np.radians(draw(ANGLES))
    turn = np.radians(draw(TURNS))
    velocity = speed * np.array(
        [np.cos(angle) * np.cos(turn), np.cos(angle) * np.sin(turn), np.sin(angle)]
    )
    blown = [draw(WINDS), draw(WINDS)] if wind else [0.0, 0.0]
    return np.array(
        [0.0, 0.0, draw(number(0.1, 3.0)), *velocity, draw(drag), draw(lift), draw(lift), *blown]
    )


@given(launches(wind=False), REACHES)
def test_energy_never_grows_in_still_air(shot, reach):
    # Lift does no work and drag only takes (first law of thermodynamics).
    states = fly(shot, Forces(reach), 3.0).states
    energy = 0.5 * np.sum(states[:, 3:] ** 2, axis=1) + G * states[:, 2]
    assert np.all(np.diff(energy) <= 1e-6 * (1.0 + abs(energy[0])))


@given(launches(drag=st.just(0.0), lift=st.just(0.0)))
def test_vacuum_flight_is_a_parabola(shot):
    # Galileo, Two New Sciences (1638).
    flight = fly(shot, Forces(0.03), 3.0)
    times = np.linspace(-0.1, 3.0, 50)[:, None]
    fall = np.array([0.0, 0.0, -0.5 * G])
    assert (
        np.abs(flight.at(times)[:, :3] - (shot[:3] + times * shot[3:6] + times**2 * fall)).max()
        < 1e-9
    )


@given(SPEEDS, number(5.0, 85.0))
def test_vacuum_flight_is_symmetric(speed, angle):
    # Down as it went up; and the same range from the complementary angle (Tartaglia, Galileo).
    def of(degrees):
        a = np.radians(degrees)
        shot = np.array([0, 0, 0, speed * np.cos(a), 0, speed * np.sin(a), 0, 0, 0, 0, 0.0])
        flight = fly(shot, Forces(0.0), 2.1 * speed / G)
        return figures(flight, 0.0), apex(flight), crossing(flight, 0.0)

    found, top, landing = of(angle)
    assert np.isclose(landing.time_s, 2 * top.time_s, rtol=1e-9)
    assert np.isclose(found["landing_angle_deg"], angle, atol=1e-7)
    assert np.isclose(found["landing_speed_mps"], speed, rtol=1e-9)
    assert np.isclose(found["carry_m"], of(90.0 - angle)[0]["carry_m"], rtol=1e-9)


@given(launches(), REACHES)
def test_sensitivities_are_central_differences(shot, reach):
    forces, times = Forces(reach), np.linspace(0.0, 1.5, 7)
    found = fly(shot, forces, 1.5, with_sensitivities=True).at_with_sensitivities(times)[1]
    for column in range(len(LAUNCH)):
        step = np.zeros(len(LAUNCH))
        step[column] = 1e-4
        ahead, behind = (fly(shot + sign * step, forces, 1.5).at(times) for sign in (1, -1))
        difference = (ahead - behind) / 2e-4
        size = 1.0 + np.abs(found[:, :, column]).max()
        assert np.abs(difference - found[:, :, column]).max() < 2e-4 * size


@given(launches(), REACHES)
def test_mirror_image_flies_as_the_mirror_image(shot, reach):
    # Mirrored across the line, side-spin and cross wind turn round, back-spin does not.
    mirror = np.array([1, -1, 1, 1, -1, 1, 1, 1, -1, 1, -1.0])
    here = fly(shot, Forces(reach), 2.0, with_sensitivities=True)
    there = fly(shot * mirror, Forces(reach), 2.0, with_sensitivities=True)
    sides = mirror[:6]
    assert np.abs(there.states - here.states * sides).max() < 1e-9
    turned = here.sensitivities * sides[:, None] * mirror
    assert np.allclose(there.sensitivities, turned, atol=1e-9)


@given(launches(), REACHES, number(0.2, 5.0))
def test_flights_scale(shot, reach, scale):
    # Froude: lengths by L, times and speeds by its root, drag per length by 1/L.
    root = np.sqrt(scale)
    factors = np.array([scale] * 3 + [root] * 3 + [1.0] * 3 + [root] * 2)
    small = fly(shot, Forces(reach), 2.0, 0.02)
    large = fly(shot * factors, Forces(reach / scale), 2.0 * root, 0.02 * root)
    assert np.allclose(large.states, small.states * factors[:6], rtol=1e-9, atol=1e-9)


@given(launches(), REACHES, WINDS, WINDS)
def test_moving_air_is_as_good_as_air_at_rest(shot, reach, along, across):
    # Galilean invariance: ride with the air and the flight is the same.
    ride = np.array([along, across, 0.0])
    moved = shot.copy()
    moved[3:6] += ride
    moved[9:11] += ride[:2]
    here, there = fly(shot, Forces(reach), 2.0), fly(moved, Forces(reach), 2.0)
    drift = here.times_s[:, None] * ride
    assert np.abs(there.states[:, :3] - here.states[:, :3] - drift).max() < 1e-9


@given(launches(), REACHES, number(0.1, 1.4))
def test_a_flight_can_be_taken_up_anywhere(shot, reach, pause):
    # The state holds all there is: no memory.
    whole = fly(shot, Forces(reach), 2.0)
    taken_up = np.concatenate([whole.at(pause)[0], shot[6:]])
    rest = fly(taken_up, Forces(reach), 2.0 - pause)
    assert np.abs(rest.states[-1] - whole.states[-1]).max() < 2e-5


@given(st.lists(launches(), min_size=1, max_size=5), REACHES)
def test_many_are_as_one(shots, reach):
    _, states = fly_many(np.stack(shots), Forces(reach), 1.0, 0.03)
    for index, shot in enumerate(shots):
        assert np.abs(states[:, index] - fly(shot, Forces(reach), 1.0, 0.03).states).max() < 1e-10


@given(launches(wind=False, lift=st.just(0.0)), REACHES, number(0.05, 0.5))
def test_more_drag_never_carries_farther(shot, reach, more):
    slow = shot.copy()
    slow[6] += more
    near, far = (figures(fly(each, Forces(reach), 9.0), 0.0) for each in (slow, shot))
    assume(near is not None and far is not None)
    assert near["carry_m"] <= far["carry_m"] + 1e-9
    assert near["apex_m"] <= far["apex_m"] + 1e-9


@given(number(-20.0, 45.0), number(60000.0, 105000.0), number(0.0, 0.95))
def test_air_is_thinner_when_warm_high_or_moist(celsius, pascal, humidity):
    here = moist_density(celsius, pascal, humidity)
    assert moist_density(celsius + 1.0, pascal, humidity) < here
    assert moist_density(celsius, pascal - 100.0, humidity) < here
    assert moist_density(celsius, pascal, humidity + 0.05) < here
