"""Drag and lift of a session's shots together, and what a flight itself decided."""

from dataclasses import fields, replace

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from tests.tracker.invented_shot import unmeasured
from tests.tracker.simulated_shots import KINDS, Kind, simulate
from tracker.fitting.choice import flight_model, log_bayes_factor
from tracker.fitting.parameters import DRAG_AT, PARAMETERS, WIND_AT
from tracker.fitting.pooling import _own_equations, pool
from tracker.records import FlightModel, MeasuredShot, Pooled, Track
from tracker.report.flight_words import model_clauses, pooled_clauses

SESSIONS = 12


def simulated(count):
    shots = simulate(KINDS["calm"], count, 5, shots=3)
    return [[shot for shot in shots if shot.session == one] for one in range(count)]


def fitted(sessions):
    return [[(shot.known, shot.fit()) for shot in shots] for shots in sessions]


@pytest.fixture(scope="module")
def fits():
    return fitted(simulated(2))


def test_a_wind_that_the_shots_share_adds_no_information_of_its_own(fits):
    """Where a shot's mean wind is the common one, only its positions say anything of it."""
    known, shot = fits[0][0]
    normal, _, _ = _own_equations(known, shot, DRAG_AT)
    for axis, winds in enumerate(WIND_AT):
        both = np.zeros(len(normal))
        both[[winds[0], len(PARAMETERS) + axis]] = 1.0
        assert both @ normal @ both == pytest.approx(shot.data_information[winds[0], winds[0]])
        assert normal[winds[0], len(PARAMETERS) + axis] < 0.0


@pytest.mark.long
def test_pooled_drag_scatters_about_the_true_one_as_it_says():
    """Twelve sessions: the RMS of twelve unit normals is below 1.6 but once in a thousand."""
    z = []
    sessions = simulated(SESSIONS)
    for shots, each in zip(sessions, fitted(sessions), strict=True):
        found = pool(each)["drag_coefficient"]
        # The true drag is stated as the fit has it, density, mass and size within it.
        u = np.sqrt(found.u**2 - (found.value * each[0][0].reach_share_u) ** 2)
        z.append((found.value - shots[0].drag) / u)
        assert found.shots == len(each)
        assert 0.0 <= found.q_p <= 1.0
    assert 0.4 < np.sqrt(np.mean(np.square(z))) < 1.6


def test_what_the_shots_share_is_not_lessened_by_their_number(fits):
    """The same shot four times over: its noise counts a quarter, its camera as before."""
    one = fits[0][0]
    two, many = pool([one] * 2), pool([one] * 8)
    assert many["drag_coefficient"].value == pytest.approx(
        two["drag_coefficient"].value, abs=2.0 * two["drag_coefficient"].u
    )
    assert many["drag_coefficient"].u < two["drag_coefficient"].u
    assert many["drag_coefficient"].u > two["drag_coefficient"].u / 2.0
    assert two["drag_coefficient"].q == pytest.approx(0.0, abs=1e-4)
    assert two["drag_coefficient"].between_sd == 0.0


def test_what_is_known_of_air_and_ball_bounds_the_pooled_drag(fits):
    """Drag and density, mass and size show only as their product."""
    known = [replace(each, reach_share_u=0.03) for each, _ in fits[0]]
    shots = [shot for _, shot in fits[0]]
    bare = pool([(replace(each, reach_share_u=0.0), shot) for each, shot in fits[0]])
    found = pool(list(zip(known, shots, strict=True)))["drag_coefficient"]
    exact = bare["drag_coefficient"]
    assert found.value == exact.value
    assert found.u**2 == pytest.approx(exact.u**2 + (0.03 * exact.value) ** 2)


def test_balls_of_different_drag_are_distinguished(fits):
    """A shot whose fitted drag is moved by far more than its noise raises Q and the scatter."""
    known, fit = fits[0][0]
    moved = fit.parameters.copy()
    moved[7] += 0.3
    found = pool([(known, fit), (known, replace(fit, parameters=moved))])["drag_coefficient"]
    assert found.q_p < 1e-3
    assert found.between_sd == pytest.approx(0.3 / np.sqrt(2.0), rel=0.3)


def test_one_shot_is_not_a_pool(fits):
    assert pool(fits[0][:1]) == {}


def test_bayes_factor_is_the_ratio_of_normal_densities():
    """Against scipy: the posterior of a normal mean with a normal prior, density at zero."""
    spread = np.array([[4e-4, 1e-4], [1e-4, 9e-4]])
    lift = np.array([0.03, -0.02])
    before = multivariate_normal(np.zeros(2), 0.05**2 * np.eye(2)).logpdf(np.zeros(2))
    after = multivariate_normal(lift, spread).logpdf(np.zeros(2))
    assert log_bayes_factor(lift, spread, 0.05) == pytest.approx(before - after)
    assert log_bayes_factor(lift, spread, 0.0) == 0.0


@pytest.mark.parametrize(
    ("lift", "said"), [((0.0, 0.0), ("none", "undecided")), ((0.15, 0.16), ("supported",))]
)
def test_lift_is_named_where_it_is(lift, said):
    shots = simulate(Kind(wind_sd_mps=0.0, gust_share=0.0, lift=lift), 4, 8, shots=1)
    found = [flight_model(shot.known, shot.fit()) for shot in shots]
    assert sum(model.lift in said for model in found) >= 3
    assert all(model.drag_from in ("flight", "table", "both") for model in found)


def test_drag_is_the_tables_where_little_of_the_flight_was_seen():
    shot = simulate(KINDS["calm"], 1, 4, shots=1)[0]
    assert flight_model(shot.known, shot.fit()).drag_from != "table"
    few = slice(0, 12)
    whole = {each.name: getattr(shot.track, each.name) for each in fields(Track)}
    track = Track(**{name: values[few] for name, values in whole.items() if values is not None})
    short = replace(shot, track=track, row_share=shot.row_share[few])
    assert flight_model(shot.known, short.fit()).drag_from == "table"


def test_words_name_what_decided_and_what_the_shots_say_together():
    ours = FlightModel(0.52, 0.02, "flight", 0.04, 0.01, 0.0, 0.01, "supported", 5.0)
    table = replace(ours, drag_from="table", lift="none")
    shots = [
        MeasuredShot(replace(unmeasured(), shot=number), model=model)
        for number, model in ((1, ours), (2, table), (3, ours), (4, None))
    ]
    assert model_clauses(shots) == [
        "shots 1 and 3: the drag was measured in the flight itself; the flight shows lift, as spin "
        "gives it",
        "shot 2: the drag is the ball table's, since the flight says little of it; it shows no "
        "lift",
    ]
    alike = Pooled(0.512, 0.021, 0.53, 0.06, 3, 1.8, 0.4, 0.0)
    lift = Pooled(0.041, 0.012, 0.0, 0.05, 3, 1.0, 0.6, 0.0)
    said = pooled_clauses({"drag_coefficient": alike, "lift_up": lift, "lift_side": lift})
    assert said[0].startswith("3 shots together: drag coefficient 0.512 ±0.021 at 20 m/s")
    assert "agree" in said[0]
    odd = replace(alike, q_p=0.001, between_sd=0.08)
    said = pooled_clauses({"drag_coefficient": odd, "lift_up": lift, "lift_side": lift})
    assert "differ by a standard deviation of 0.08" in said[0]
    assert pooled_clauses({}) == []


def test_cameras_of_two_sessions_err_independently(fits):
    """The same shot from the camera of one session twice, and from those of two."""
    known, fit = fits[0][0]
    moved = known.camera.perturbed(1e-6 * np.ones(14))
    other = replace(known, camera=moved.with_covariance(known.camera.covariance))
    same, apart = pool([(known, fit)] * 2), pool([(known, fit), (other, fit)])
    for name in same:
        assert apart[name].value == pytest.approx(same[name].value, abs=same[name].u)
        assert same[name].u / np.sqrt(2.0) < apart[name].u < same[name].u


def test_q_grows_with_the_square_of_what_shots_differ_by(fits):
    known, fit = fits[0][0]
    found = {}
    for by in (-0.2, 0.1, 0.2):
        moved = fit.parameters.copy()
        moved[7] += by
        found[by] = pool([(known, fit), (known, replace(fit, parameters=moved))])
    q = {by: each["drag_coefficient"].q for by, each in found.items()}
    assert q[0.2] == pytest.approx(4.0 * q[0.1], rel=0.02)
    assert q[-0.2] == pytest.approx(q[0.2], rel=0.02)
