import warnings

import numpy as np
import pytest

from tests.published.flight_cases import TENNIS, launch
from tests.work import calls_in
from tracker.flight.forces import Forces
from tracker.flight.integration import LAUNCH, fly, fly_many
from tracker.flight.sensitivities import _chained

SHOT = np.array([0.1, -0.2, 0.8, 17.0, 0.6, 9.0, 0.53, 0.04, -0.03, 1.0, -0.7])


def test_nodes_end_where_the_flight_ends():
    flight = fly(SHOT, TENNIS, 1.234)
    assert flight.times_s[0] == 0.0
    assert flight.times_s[-1] == 1.234
    assert np.all(np.diff(flight.times_s) <= 0.02 + 1e-12)
    assert np.array_equal(flight.states[0], SHOT[:6])


def test_a_duration_shorter_than_a_step():
    flight = fly(SHOT, TENNIS, 0.003)
    assert len(flight.times_s) == 2
    assert flight.at([0.0015]).shape == (1, 6)


def test_usual_step_is_good_to_a_micrometre():
    # Against a step forty times smaller, whose own error is 40^4 times less.
    times = np.linspace(0.0, 3.0, 301)
    fine = fly(SHOT, TENNIS, 3.0, 0.0005, with_sensitivities=True)
    usual = fly(SHOT, TENNIS, 3.0, with_sensitivities=True)
    assert np.abs(usual.at(times) - fine.at(times)).max() < 1e-7
    apart = usual.at_with_sensitivities(times)[1] - fine.at_with_sensitivities(times)[1]
    assert np.abs(apart).max() < 1e-6


def test_error_falls_with_the_fourth_power_of_the_step():
    end = {step: fly(SHOT, TENNIS, 2.0, step).states[-1] for step in (0.2, 0.1, 0.05, 0.001)}
    errors = [np.linalg.norm(end[step] - end[0.001]) for step in (0.2, 0.1, 0.05)]
    assert 12 < errors[0] / errors[1] < 20
    assert 12 < errors[1] / errors[2] < 20


def test_dense_output_error_falls_with_the_sixth_power():
    # Nodes of the fine flight, thinned: only the interpolation differs.
    fine = fly(SHOT, TENNIS, 2.0, 0.0005)
    times = np.linspace(0.0, 2.0, 997)

    def error(every):
        thin = type(fine)(fine.times_s[::every], fine.states[::every], fine.rates[::every])
        return np.abs(thin.at(times)[:, :3] - fine.at(times)[:, :3]).max()

    assert 40 < error(800) / error(400) < 90


def test_states_between_nodes_are_the_integral_of_their_rates():
    flight = fly(SHOT, TENNIS, 2.0)
    times = np.linspace(0.05, 1.95, 61)
    ahead, behind = flight.at(times + 1e-5), flight.at(times - 1e-5)
    _, rates = flight.at_with_rates(times)
    assert np.abs((ahead - behind) / 2e-5 - rates).max() < 1e-6


def test_before_the_release_it_flies_backwards():
    later = fly(SHOT, TENNIS, 2.0, 0.001)
    start = later.at(0.1)[0]
    flight = fly(np.concatenate([start, SHOT[6:]]), TENNIS, 2.0)
    assert np.abs(flight.at([-0.1, -0.05])[0] - SHOT[:6]).max() < 2e-4
    assert np.abs(flight.at([-0.02])[0] - later.at([0.08])[0]).max() < 1e-6


def test_sensitivities_are_central_differences():
    times = np.linspace(-0.04, 2.5, 40)
    states, found = fly(SHOT, TENNIS, 2.5, with_sensitivities=True).at_with_sensitivities(times)
    assert np.array_equal(states, fly(SHOT, TENNIS, 2.5).at(times))
    for column in range(len(LAUNCH)):
        step = np.zeros(len(LAUNCH))
        step[column] = 1e-5
        ahead = fly(SHOT + step, TENNIS, 2.5).at(times)
        behind = fly(SHOT - step, TENNIS, 2.5).at(times)
        assert np.abs((ahead - behind) / 2e-5 - found[:, :, column]).max() < 1e-6, LAUNCH[column]


def test_places_are_the_upper_half_of_all_sensitivities():
    flight = fly(SHOT, TENNIS, 2.5, 0.09, with_sensitivities=True, extras=np.linspace(0.1, 0.3, 15))
    times = np.linspace(-0.05, 2.55, 40)
    states, found = flight.positions_with_sensitivities(times)
    whole_states, whole = flight.at_with_sensitivities(times)
    np.testing.assert_array_equal(states, whole_states)
    np.testing.assert_allclose(found, whole[:, :3], rtol=1e-11, atol=1e-12)


def test_rates_of_the_sensitivities():
    flight = fly(SHOT, TENNIS, 1.0, with_sensitivities=True)
    times = np.array([0.013, 0.5, 0.77])
    _, _, rates, by_launch = flight.motion(times)
    ahead = flight.at_with_sensitivities(times + 1e-5)
    behind = flight.at_with_sensitivities(times - 1e-5)
    assert np.abs((ahead[0] - behind[0]) / 2e-5 - rates).max() < 1e-6
    assert np.abs((ahead[1] - behind[1]) / 2e-5 - by_launch).max() < 1e-5


def test_sensitivities_of_a_ball_at_rest_in_the_air():
    flight = fly(launch(0, 0, 2.0, 0.5, wind=(0.0, 0.0)), TENNIS, 0.5, with_sensitivities=True)
    assert np.all(np.isfinite(flight.sensitivities))
    assert np.array_equal(flight.sensitivities[0, :, :6], np.eye(6))


def test_without_sensitivities_there_are_none():
    with pytest.raises(ValueError, match="without sensitivities"):
        fly(SHOT, TENNIS, 1.0).at_with_sensitivities([0.5])
    with pytest.raises(ValueError, match="without sensitivities"):
        fly(SHOT, TENNIS, 1.0).positions_with_sensitivities([0.5])


@pytest.mark.parametrize("lift", [7, 8])
def test_many_flights_with_one_lift_only_are_those_of_one_each(lift):
    shot = np.where(np.isin(np.arange(len(LAUNCH)), (7, 8)), 0.0, SHOT)
    shot[lift] = 0.15
    many = fly_many([shot, shot], TENNIS, 1.0, 0.02)[1]
    np.testing.assert_allclose(many[:, 1], fly(shot, TENNIS, 1.0, 0.02).states, atol=1e-9)
    straight = fly_many([np.where(np.arange(len(LAUNCH)) == lift, 0.0, shot)], TENNIS, 1.0, 0.02)[1]
    assert np.abs(many[-1, 0] - straight[-1, 0])[:3].max() > 0.1


def test_many_flights_are_as_single_ones():
    shots = np.stack([SHOT, launch(20, 45, 0.5, 0.55), launch(8, -10, 2.0, 0.4, wind=(0, 3))])
    times, states = fly_many(shots, TENNIS, 1.5, 0.02)
    assert states.shape == (len(times), 3, 6)
    for index, shot in enumerate(shots):
        alone = fly(shot, TENNIS, 1.5, 0.02)
        assert np.array_equal(times, alone.times_s)
        assert np.abs(states[:, index] - alone.states).max() < 1e-12


def test_wind_moves_a_ball_that_has_no_drag_not_at_all():
    still = fly(launch(20, 45, 0.5), TENNIS, 2.0)
    blown = fly(launch(20, 45, 0.5, wind=(5, 5)), TENNIS, 2.0)
    assert np.abs(still.states - blown.states).max() < 1e-12


@pytest.mark.parametrize(
    ("lift", "part", "sign"), [((0.2, 0.0), 2, 1), ((-0.2, 0.0), 2, -1), ((0.0, 0.2), 1, 1)]
)
def test_lift_goes_where_it_is_named(lift, part, sign):
    plain = fly(launch(20, 0, 1.0, 0.5), TENNIS, 0.5).states[-1]
    spun = fly(launch(20, 0, 1.0, 0.5, lift=lift), TENNIS, 0.5).states[-1]
    assert sign * (spun - plain)[part] > 0.3


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_what_is_not_finite_is_refused(bad):
    shot = SHOT.copy()
    shot[3] = bad
    with pytest.raises(ValueError, match="finite"):
        fly(shot, TENNIS, 1.0)


@pytest.mark.parametrize(("duration", "step"), [(0.0, 0.02), (-1.0, 0.02), (1.0, 0.0), (np.nan, 1)])
def test_durations_and_steps_are_above_zero(duration, step):
    with pytest.raises(ValueError, match="above zero"):
        fly(SHOT, TENNIS, duration, step)


def test_launches_have_eleven_numbers():
    with pytest.raises(ValueError, match="11"):
        fly(SHOT[:6], TENNIS, 1.0)
    with pytest.raises(ValueError, match="11"):
        fly_many(SHOT, TENNIS, 1.0, 0.02)


def test_light_ball_with_strong_drag():
    # A table tennis ball at 25 m/s loses 10 % of its speed a step at first.
    forces = Forces(0.28)
    shot = launch(25, 30, 0.8, 0.47)
    coarse, fine = fly(shot, forces, 1.5), fly(shot, forces, 1.5, 0.001)
    assert np.abs(coarse.states[-1] - fine.states[-1]).max() < 1e-4


def test_sensitivities_cost_a_fit_no_loop_over_nodes():
    def calls(duration, sensitivities):
        return calls_in(lambda: fly(SHOT, TENNIS, duration, with_sensitivities=sensitivities))

    calls(3.0, True)  # what is imported or kept at the first flight does not count
    short, long = (calls(duration, True) for duration in (1.5, 3.0))
    # 75 and 150 steps of four stages each, on plain numbers; measured 675 more calls.
    assert long - short < 1.5 * 675
    # All derivatives at once, as whole arrays: measured 198 calls, of which twice the steps, one
    # more halving of their chain, take four.
    assert long - calls(3.0, False) < 1.5 * 198
    assert (long - calls(3.0, False)) - (short - calls(1.5, False)) < 1.5 * 4


@pytest.mark.parametrize("count", [1, 2, 3, 7, 8, 75])
def test_a_chain_of_maps_is_one_after_the_other(count):
    rng = np.random.default_rng(count)
    linear = np.eye(3) + 0.1 * rng.normal(size=(count, 3, 3))
    constant = rng.normal(size=(count, 3, 5))
    expected = [np.eye(3, 5)]
    for number in range(count):
        expected.append(linear[number] @ expected[-1] + constant[number])
    found = _chained(linear, constant, expected[0])
    np.testing.assert_allclose(found, expected, rtol=1e-12, atol=1e-12)


@pytest.mark.parametrize("with_sensitivities", [False, True])
def test_a_launch_that_no_ball_could_have_ends_in_what_is_not_finite_without_a_word(
    with_sensitivities,
):
    strayed = np.zeros(11)
    strayed[3:7] = 1e180, -1e180, 1e180, 0.01
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        one = fly(strayed, Forces(0.01), 1.0, with_sensitivities=with_sensitivities)
        many = fly_many([strayed, strayed], Forces(0.01), 1.0, 0.05)[1]
    assert not np.isfinite(one.states[-1]).any()
    assert not np.isfinite(many[-1]).any()
