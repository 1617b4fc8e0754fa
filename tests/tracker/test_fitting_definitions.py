"""Pieces of the fit against a plain computation of what each is, and bounds on both sides."""

from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest

from calibration.adjustment import NotDetermined
from calibration.adjustment.robust import MEDIAN_RADIUS
from calibration.ground import Ground
from tests.tracker.fitting_case import Drawn, calibrated, circumstances, drawn, request
from tracker.fitting import FittedFlight, untaped
from tracker.fitting import gravity as checking
from tracker.fitting.circumstances import EXACT, _inverse
from tracker.fitting.end_rows import given_rows
from tracker.fitting.ends import GivenEnds, GivenPlace, GivenTime
from tracker.fitting.figures import figures_of
from tracker.fitting.gravity import FreeGravity, explain
from tracker.fitting.gustiness import gustiness
from tracker.fitting.model import predict
from tracker.fitting.normal_equations import eliminate, information_root
from tracker.fitting.observations import Instants
from tracker.fitting.outlook import expected_fit, expected_flight
from tracker.fitting.parameters import (
    CAMERA_AT,
    DRAG_AT,
    GRAVITY_AT,
    LIFT_AT,
    LIGHT_AT,
    PARAMETERS,
    POSITION_AT,
    READOUT_AT,
    RELEASE_AT,
    SLOPE_AT,
    VELOCITY_AT,
    WIND_AT,
)
from tracker.fitting.residuals import FlightResiduals, ground_residual
from tracker.fitting.untaped import UntapedCircumstances, first_launch
from tracker.fitting.weighting import Weighting, correlation_factor
from tracker.records import ReasonCode

KNOWN = circumstances(calibrated())
G = KNOWN.forces.gravity_mps2


@cache
def case() -> Drawn:
    return drawn(np.random.default_rng(3), KNOWN)


@cache
def fitted() -> FittedFlight:
    return case().fit()


@pytest.mark.parametrize("count", [6, 14, 15, 16, 40])
def test_local_scale_is_that_of_fifteen_neighbours_and_eight_of_the_track(count):
    """At either end the stretch slides inward; no stretch is better than the whole track."""
    rng = np.random.default_rng(count)
    radii = rng.rayleigh(1.0, count) * np.where(np.arange(count) > count / 2, 3.0, 1.0)
    white = np.column_stack([0.6 * radii, 0.8 * radii])
    observed = np.median(radii) / np.sqrt(2.0 * np.log(2.0))
    overall = np.sqrt((count * observed**2 + 5.0) / (count + 5.0))
    usual, expected = np.median(radii), []
    for at in range(count):
        first = min(max(at - 7, 0), max(count - 15, 0))
        near = [radii[min(first + k, count - 1)] for k in range(15)]
        local = (15.0 * np.median(near) + 8.0 * usual) / 23.0
        expected.append(overall * max(1.0, local / usual))
    found = Weighting.of(white)
    np.testing.assert_allclose(found.scale, expected, rtol=1e-9)
    distance = radii / np.array(expected)
    np.testing.assert_allclose(found.distance, distance)
    np.testing.assert_allclose(
        found.weights, np.where(distance > 6.0, 1e-12, np.minimum(1.0, 2.0 / distance))
    )


@pytest.mark.parametrize(("change", "agrees"), [(0.099, True), (0.101, False)])
def test_weightings_agree_to_a_tenth_of_scale_and_weight(change, agrees):
    many = np.ones(30)
    one = Weighting(2.0 * many, many, many)
    for sign in (1.0, -1.0):
        scaled, weighed = 2.0 * many.copy(), many.copy()
        scaled[4] *= 1.0 + sign * change
        weighed[7] += sign * change
        assert one.agrees_with(Weighting(scaled, many, many)) is agrees
        assert one.agrees_with(Weighting(2.0 * many, weighed, many)) is agrees


@pytest.mark.parametrize(("count", "factor"), [(11, 1.0), (12, 9.0)])
def test_correlation_is_estimated_from_twelve_positions_on_and_kept_below_four_fifths(
    count, factor
):
    assert correlation_factor(np.ones((count, 2))) == pytest.approx(factor)


def flight() -> FlightResiduals:
    return FlightResiduals(KNOWN, case().observed)


@pytest.mark.parametrize(
    ("place", "within", "beyond"),
    [
        (VELOCITY_AT.start, 199.0, 201.0),
        (VELOCITY_AT.start + 2, -199.0, -201.0),
        (DRAG_AT, 19.9, 20.1),
        (DRAG_AT, -19.9, -20.1),
        (LIFT_AT.start, -19.9, -20.1),
        (LIFT_AT.start + 1, 19.9, 20.1),
        (SLOPE_AT, 19.9, 20.1),
        (SLOPE_AT, -19.9, -20.1),
    ],
)
def test_parameters_have_bounds_beyond_which_an_iteration_has_strayed(place, within, beyond):
    at = case().truth.copy()
    at[VELOCITY_AT] = 0.0
    for value, plausible in ((within, True), (beyond, False)):
        at[place] = value
        assert flight()._plausible(at) is plausible


def test_a_release_lies_within_fifteen_seconds_before_the_first_position():
    times, at = case().track.times_s, case().truth.copy()
    moments = [(times[0] - 14.9, True), (times[0] - 15.1, False)]
    moments += [(times[-1] - 0.01, True), (times[-1] + 0.01, False)]
    for moment, plausible in moments:
        at[RELEASE_AT] = moment
        assert flight()._plausible(at) is plausible


@pytest.mark.parametrize("fall_mps", [-12.0, -0.4, 0.6])
def test_a_bounce_is_as_uncertain_as_its_time_and_the_ground(fall_mps):
    """The time counts as the way fallen in it, at 1 m/s at least; the ground is good to 2 cm."""
    at = case().truth.copy()
    state = np.array([20.0, 0.1, 0.3, 10.0, 0.0, fall_mps])
    trajectory = SimpleNamespace(
        at_with_sensitivities=lambda times: (state[None], np.ones((1, 6, 26)))
    )
    found, slope = ground_residual(KNOWN, at, trajectory, (2.1, 0.01))
    u = np.hypot(max(abs(fall_mps), 1.0) * 0.01, 0.02)
    assert found == pytest.approx([(KNOWN.ball_radius_m - 0.3) / u])
    assert slope[0, RELEASE_AT] == pytest.approx(-fall_mps / u)
    assert slope[0, POSITION_AT] == pytest.approx(1.0 / u)


def test_a_bounce_on_a_slope_is_at_the_height_of_the_ground_there():
    """It is also hit faster by what flies uphill."""
    known, at = replace(KNOWN, ground=Ground(0.03, -0.1)), case().truth.copy()
    state = np.array([20.0, 0.1, 0.7, 10.0, 2.0, -12.0])
    by_launch = np.zeros((1, 6, 26))
    by_launch[0, :3, :3] = np.eye(3)
    trajectory = SimpleNamespace(at_with_sensitivities=lambda times: (state[None], by_launch))
    found, slope = ground_residual(known, at, trajectory, (2.1, 0.01))
    climb = -12.0 - 0.03 * 10.0 + 0.1 * 2.0
    u = np.hypot(climb * 0.01, 0.02)
    assert found == pytest.approx([(KNOWN.ball_radius_m + 0.6 - 0.01 - 0.7) / u])
    assert slope[0, RELEASE_AT] == pytest.approx(-climb / u)
    assert slope[0, POSITION_AT] == pytest.approx(np.array([-0.03, 0.1, 1.0]) / u)


def test_residuals_of_everything_are_counted_and_stand_in_their_order():
    """Positions, priors, the bounce, and what a person gives; information without the priors."""
    given = GivenEnds(release_s=GivenTime(0.52, 0.004))
    observed = replace(case().observed, landed_s=(2.3, 0.01), given=given)
    both = FlightResiduals(KNOWN, observed)
    positions = 2 * len(case().track.times_s)
    factor = np.linspace(0.5, 1.5, positions // 2)
    residuals, slopes = both.weighted(case().truth, factor)
    assert len(residuals) == len(slopes) == both.count
    assert both.count == positions + both.prior.count + 2
    white = both.white(case().truth) * factor[:, None]
    np.testing.assert_allclose(residuals[:positions], white.ravel())
    assert residuals[-1] == pytest.approx((0.52 - case().truth[RELEASE_AT]) / 0.004)
    information = both.data_information(slopes, 2.5)
    expected = slopes[:positions].T @ slopes[:positions] / 2.5 + slopes[-2:].T @ slopes[-2:]
    np.testing.assert_allclose(information, expected)


def test_what_is_given_is_held_against_what_is_computed():
    """Each residual is given less computed, in its own uncertainty."""
    at = case().truth
    figures = figures_of(KNOWN, at)
    landing = np.array([figures.value("landing_along_m"), figures.value("landing_across_m")])
    camera = KNOWN.camera.perturbed(at[CAMERA_AT:])
    seen = camera.project(np.array([[*landing, KNOWN.ball_radius_m], at[POSITION_AT]]))
    given = GivenEnds(
        landing_m=GivenPlace(tuple(landing + np.array([0.1, -0.2])), 0.05),
        landing_px=GivenPlace(tuple(seen[0] + np.array([3.0, 1.0])), 2.0),
        release_px=GivenPlace(tuple(seen[1] + np.array([-1.5, 4.5])), 1.5),
        release_s=GivenTime(float(at[RELEASE_AT]) + 0.01, 0.004),
    )
    residuals, _ = given_rows(KNOWN, at, given)
    assert residuals == pytest.approx([2.0, -4.0, 1.5, 0.5, -1.0, 3.0, 2.5])


@pytest.mark.parametrize(("reach", "step_s"), [(0.2, 0.04), (0.06, 1.0 / 18.0), (0.01, 0.1)])
def test_a_lighter_ball_takes_shorter_steps(reach, step_s):
    known = replace(KNOWN, forces=replace(KNOWN.forces, reach_per_m=reach))
    instants = Instants(np.array([0.7, 1.9]), np.zeros(2), np.zeros(2))
    at = case().truth.copy()
    times = predict(known, at, instants).trajectory.times_s
    # It ends two usual steps after the last position.
    assert times[-1] == pytest.approx(1.9 - at[RELEASE_AT] + 0.08)
    assert len(times) - 1 == np.ceil(times[-1] / step_s - 1e-9)
    early = Instants(at[RELEASE_AT] + np.array([0.001, 0.01]), np.zeros(2), np.zeros(2))
    assert predict(known, at, early).trajectory.times_s[-1] == pytest.approx(0.16)


@pytest.mark.parametrize(("last_s", "flies"), [(59.9, True), (60.1, False)])
def test_a_flight_of_a_minute_is_the_longest(last_s, flies):
    at = case().truth.copy()
    instants = Instants(at[RELEASE_AT] + np.array([0.1, last_s - 0.08]), np.zeros(2), np.zeros(2))
    if flies:
        assert predict(KNOWN, at, instants).trajectory.times_s[-1] == pytest.approx(last_s)
    else:
        with pytest.raises(NotDetermined, match="60 s from the release"):
            predict(KNOWN, at, instants)


def test_each_prior_stands_at_its_parameter():
    """Information is one over the square of each uncertainty; light comes from above, 20 ± 20."""
    known = replace(KNOWN, drag_slope_u=0.3)
    information, mean = known.prior_information(), known.prior_mean()
    for place, u in (
        (POSITION_AT, known.release_u_m),
        (DRAG_AT, known.drag_u),
        (LIFT_AT, known.lift_u),
        (READOUT_AT, known.readout_u_s),
        (LIGHT_AT, 20.0),
        (GRAVITY_AT, known.gravity_u_mps2),
        (SLOPE_AT, 0.3),
    ):
        assert np.diag(information)[place] == pytest.approx(u**-2.0), place
    assert not information[RELEASE_AT].any() and not information[VELOCITY_AT].any()
    assert mean[LIGHT_AT].tolist() == [0.0, -20.0, 0.0]
    assert mean[POSITION_AT].tolist() == KNOWN.release_m.tolist()
    assert mean[DRAG_AT] == KNOWN.drag and mean[READOUT_AT] == KNOWN.readout_s
    assert mean[[WIND_AT[0][0], WIND_AT[1][0]]].tolist() == list(KNOWN.wind_mps)
    # The part of what is left but the camera is not of each alone: winds have joint priors.
    for winds in WIND_AT:
        block = information[np.ix_(winds, winds)]
        np.testing.assert_allclose(block @ known.wind_covariance(), np.eye(len(winds)), atol=1e-6)
    camera = information[CAMERA_AT:, CAMERA_AT:] @ known.camera.covariance
    varied = np.diag(known.camera.covariance) > 0.0
    np.testing.assert_allclose(camera[np.ix_(varied, varied)], np.eye(varied.sum()), atol=1e-5)
    exactly = replace(known, drag_slope_u=0.0).prior_information()
    assert exactly[SLOPE_AT, SLOPE_AT] == pytest.approx(EXACT**-2) and EXACT < 1e-6
    nothing = replace(known, lift_u=0.0).prior_information()
    assert not np.diag(nothing)[LIFT_AT].any()


def test_wind_is_the_sessions_and_the_shots_own():
    known = replace(KNOWN, wind_u_mps=0.7, gust_u_mps=0.4)
    shared = known.wind_covariance(own=False)
    assert shared[0, 0] == pytest.approx(0.49) and np.count_nonzero(shared) == 1
    own = known.wind_covariance(shared=False)
    np.testing.assert_allclose(own / 0.16, replace(known, gust_u_mps=1.0).wind_covariance(False))
    np.testing.assert_allclose(known.wind_covariance(), shared + own)
    still = replace(known, gust_u_mps=0.0).wind_covariance(shared=False)
    assert 0.0 < still[0, 0] < 1e-12


def test_inverse_of_a_covariance_takes_zeros_for_what_is_known_exactly():
    rng = np.random.default_rng(5)
    root = rng.normal(size=(4, 4)) * np.array([1e-4, 1.0, 30.0, 1e-2])[:, None]
    covariance = np.zeros((6, 6))
    places = np.array([0, 1, 3, 5])
    covariance[np.ix_(places, places)] = root @ root.T
    found = _inverse(covariance)
    np.testing.assert_allclose(
        found[np.ix_(places, places)], np.linalg.inv(root @ root.T), rtol=1e-6
    )
    exact = [2, 4]
    assert np.diag(found)[exact].tolist() == [1e16, 1e16]
    found[exact, exact] = 0.0
    assert not found[exact].any() and not found[:, exact].any()


def test_eliminated_parameters_leave_the_information_of_the_rest():
    """The inverse of the reduced matrix is the part of the whole inverse; so is the solution."""
    rng = np.random.default_rng(6)
    units = 10.0 ** rng.uniform(-4, 4, 7)
    slope = rng.normal(size=(30, 7)) * units
    normal, right = slope.T @ slope, slope.T @ rng.normal(size=30)
    kept, lost = [1, 4, 5], [0, 2, 3, 6]
    reduced, left = eliminate(normal, right, kept, lost)
    whole = np.linalg.inv(normal / np.outer(units, units)) / np.outer(units, units)
    np.testing.assert_allclose(np.linalg.inv(reduced), whole[np.ix_(kept, kept)], rtol=1e-6)
    np.testing.assert_allclose(np.linalg.solve(reduced, left), (whole @ right)[kept], rtol=1e-6)
    assert np.array_equal(reduced, reduced.T)


def test_a_prior_is_as_many_observations_as_it_knows_directions():
    rng = np.random.default_rng(7)
    units = 10.0 ** rng.uniform(-3, 3, 6)
    known = rng.normal(size=(3, 6)) * units
    known[:, 4] = 0.0
    information = known.T @ known
    root = information_root(information)
    assert root.shape == (3, 6)
    np.testing.assert_allclose(
        root.T @ root / np.outer(units, units), information / np.outer(units, units), atol=1e-9
    )


def test_gusts_are_weighed_by_the_evidence_of_the_flight():
    """Normal marginal likelihoods of wind data of known covariance, by numpy's determinant."""
    rng = np.random.default_rng(8)
    known = replace(KNOWN, gust_u_mps=0.5, wind_u_mps=0.3)
    winds = np.concatenate(WIND_AT)
    rows = 0.6 * rng.normal(size=(40, len(winds)))
    information = np.zeros((len(PARAMETERS), len(PARAMETERS)))
    information[np.ix_(winds, winds)] = rows.T @ rows
    departure, factor = np.zeros(len(PARAMETERS)), 1.7
    departure[winds] = 0.4 * rng.normal(size=len(winds))
    prior = known.prior_information()
    right = (information @ departure + prior @ departure / factor)[winds]
    seen, found = rows.T @ rows, []
    shares = (0.1, 0.2, 0.4, 0.7, 1.0, 1.5, 2.2)
    for share in shares:
        own = replace(known, gust_u_mps=share * 0.5).wind_covariance()
        both = np.block([[own, 0.0 * own], [0.0 * own, own]])
        # The right side has the covariance A + A P A of its marginal distribution.
        spread = seen + seen @ both @ seen
        found.append(
            -0.5 * right @ np.linalg.solve(spread, right) - 0.5 * np.linalg.slogdet(spread)[1]
        )
    likely = np.exp(np.array(found) - max(found))
    expected = np.sqrt(np.sum(likely * np.square(shares)) / np.sum(likely)) * 0.5
    assert gustiness(known, information, departure, factor) == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("code", [ReasonCode.GRAVITY_YARDS, ReasonCode.GRAVITY_FEET])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_unit_is_named_within_two_hundredths_and_three_uncertainties(code, sign):
    metres = {ReasonCode.GRAVITY_YARDS: 0.9144, ReasonCode.GRAVITY_FEET: 0.3048}[code]
    for u in (0.0, 0.02):
        room = 0.02 + 3.0 * u
        for share, named in ((0.98, True), (1.02, False)):
            length = metres * np.exp(sign * share * room)
            # A rate of frames at which nothing is filmed.
            reasons = explain(FreeGravity(1.0 / length, u), 41.0)
            assert (code in {each.code for each in reasons}) is named
            assert reasons[0].code is ReasonCode.GRAVITY_OFF
            assert reasons[0].numbers["share"] == pytest.approx(1.0 / length)


@pytest.mark.parametrize("rate", [24, 25, 30, 48, 50, 60, 100, 120, 240, 480, 960])
def test_a_usual_rate_is_named_within_half_of_the_uncertainty_of_gravity(rate):
    for u in (0.0, 0.01):
        for share, named in ((0.98, True), (1.02, False)):
            # Away from a neighbour: 25 beside 24, 50 beside 48.
            side = -1.0 if rate in (24, 48) else 1.0
            true = rate * np.exp(side * share * (0.02 + 1.5 * u))
            reasons = explain(FreeGravity((41.3 / true) ** 2, u), 41.3)
            numbers = [
                each.numbers
                for each in reasons
                if each.code is ReasonCode.GRAVITY_FRAME_RATE and each.numbers["rate_fps"] == rate
            ]
            assert len(numbers) == int(named)
            assert all(each["assumed_fps"] == 41.3 for each in numbers)


def test_the_assumed_rate_is_no_cause_and_figures_stand_in_for_one():
    (off, cause) = explain(FreeGravity(1.5, 0.001), 30.0 * np.sqrt(1.5) * 1.3)
    assert cause.code is ReasonCode.GRAVITY_UNEXPLAINED
    assert cause.numbers["rate_fps"] == pytest.approx(39.0)
    assert cause.numbers["ten_metres"] == pytest.approx(10.0 / 1.5)
    assert off.numbers == {"share": 1.5}
    codes = [each.code for each in explain(FreeGravity(1.01, 0.1), 30.0)]
    assert ReasonCode.GRAVITY_FRAME_RATE not in codes


def checked(monkeypatch, *, share=1.2, u=0.05, radius=1.0, settled=True, gravity_u=0.0):
    """What the check by gravity reports when its adjustment gives these numbers."""
    factors = []

    class Fake:
        def __init__(self, known, observed):
            assert known.gravity_u_mps2 == 4.0 and observed.landed_s is None
            self.observed, self.roots = observed, observed.roots
            self.count = 10

        def white(self, _):
            return np.full((len(self.roots), 2), radius / np.sqrt(2.0))

        def weighted(self, *_, **__):
            raise AssertionError

    def adjust(model, state, *_, **__):
        factors.append(model.keywords["factor"])
        at = np.zeros(len(PARAMETERS))
        at[GRAVITY_AT] = (share - 1.0) * G
        spread = np.zeros((len(PARAMETERS),) * 2)
        spread[GRAVITY_AT, GRAVITY_AT] = (u * G) ** 2
        return SimpleNamespace(state=at, covariance=spread, settled=settled)

    for name, value in (
        ("FlightResiduals", Fake),
        ("adjust", adjust),
        ("_plainly_right", lambda *_: False),
        ("_first_guess", lambda *_: np.zeros(len(PARAMETERS))),
    ):
        monkeypatch.setattr(checking, name, value)
    known = replace(KNOWN, gravity_u_mps2=gravity_u * G)
    return checking.free_gravity(known, case().observed, fitted()), factors


def test_gravity_is_off_by_more_than_four_uncertainties_and_a_twenty_fifth(monkeypatch):
    for numbers, reported in (
        ({"share": 1.0401, "u": 0.001}, True),
        ({"share": 1.0399, "u": 0.001}, False),
        ({"share": 0.9599, "u": 0.001}, True),
        ({"share": 0.9601, "u": 0.001}, False),
        ({"share": 1.2, "u": 0.0499}, True),
        ({"share": 1.2, "u": 0.0501}, False),
        # Local gravity has an uncertainty too: 3, 4, 5.
        ({"share": 1.2, "u": 0.0299, "gravity_u": 0.0399}, True),
        ({"share": 1.2, "u": 0.0301, "gravity_u": 0.0401}, False),
        ({"share": -0.5, "u": 0.01}, False),
        ({"share": 1.2, "u": 0.01, "settled": False}, False),
        ({"share": 1.2, "u": 0.01, "radius": 3.99 * MEDIAN_RADIUS}, True),
        ({"share": 1.2, "u": 0.01, "radius": 4.01 * MEDIAN_RADIUS}, False),
    ):
        found, _ = checked(monkeypatch, **numbers)
        assert (found is not None) is reported, numbers
        if found is not None:
            assert found.share == pytest.approx(numbers["share"])
            u = np.hypot(numbers["u"], numbers.get("gravity_u", 0.0)) / numbers["share"]
            assert found.u == pytest.approx(u)


@pytest.mark.parametrize(("radius", "scale"), [(2.0, 2.0 / 1.17741), (0.3, 0.5)])
def test_the_second_adjustment_is_weighted_by_the_scatter_of_the_first(monkeypatch, radius, scale):
    """The first assumes four uncertainties; no scatter below half of what is claimed counts."""
    _, factors = checked(monkeypatch, radius=radius)
    assert len(factors) == 2
    np.testing.assert_allclose(factors[0], 1.17741 / 4.0, rtol=1e-5)
    np.testing.assert_allclose(factors[1], 1.0 / scale, rtol=1e-5)


@pytest.mark.parametrize(("count", "looked_at"), [(11, False), (12, True)])
def test_gravity_is_checked_from_twelve_positions_on(monkeypatch, count, looked_at):
    used = np.zeros_like(fitted().used)
    used[:count] = True
    asked = []
    monkeypatch.setattr(checking, "_plainly_right", lambda *_: asked.append(1) or True)
    assert checking.free_gravity(KNOWN, case().observed, replace(fitted(), used=used)) is None
    assert bool(asked) is looked_at


def first_order(known, fit):
    """Gravity to first order about a fit, and its uncertainty, by one dense solution."""
    prior = known.prior_information()
    off = fit.parameters - known.prior_mean()
    pull = fit.data_information @ off + prior @ off / fit.correlation_factor
    free = prior.copy()
    free[GRAVITY_AT] = free[:, GRAVITY_AT] = 0.0
    normal = fit.data_information + free
    length = np.sqrt(np.diag(normal))
    inverse = np.linalg.inv(normal / np.outer(length, length)) / np.outer(length, length)
    return float((inverse @ pull)[GRAVITY_AT]), float(np.sqrt(inverse[GRAVITY_AT, GRAVITY_AT]))


def test_a_fit_is_plainly_right_within_a_third_of_the_limit():
    fit = fitted()
    known = fit.with_gusts(KNOWN)

    def moved(by):
        parameters = fit.parameters.copy()
        parameters[GRAVITY_AT] += by
        return replace(fit, parameters=parameters)

    at_zero, u = first_order(known, fit)
    slope = first_order(known, moved(1.0))[0] - at_zero
    limit = max(4.0 * np.hypot(u, known.gravity_u_mps2), 0.04 * G) / 3.0
    for side in (1.0, -1.0):
        for share, right in ((0.98, True), (1.02, False)):
            by = (side * share * limit - at_zero) / slope
            assert checking._plainly_right(KNOWN, moved(by)) is right
    still = moved(-at_zero / slope)
    assert checking._plainly_right(KNOWN, replace(still, scale=2.5))
    assert not checking._plainly_right(KNOWN, replace(still, scale=2.501))
    assert not checking._plainly_right(KNOWN, replace(still, settled=False))


def untaped_of(**numbers) -> UntapedCircumstances:
    shared = {each: getattr(KNOWN, each) for each in KNOWN.__dataclass_fields__}
    return UntapedCircumstances(**shared, **numbers)


def test_priors_of_an_untaped_release_stand_at_their_parameters():
    shift = np.arange(1.0, 15.0)
    known = untaped_of(
        camera_shift=shift,
        release_each_u_m=np.array([0.5, 0.0, 0.2]),
        began_s=0.8,
        began_u_s=0.04,
        aim_u_mps=1.5,
    )
    mean, information = known.prior_mean(), known.prior_information()
    assert mean[RELEASE_AT] == 0.8 and mean[CAMERA_AT:].tolist() == shift.tolist()
    expected = KNOWN.prior_information()
    expected[RELEASE_AT, RELEASE_AT] = 0.04**-2.0
    expected[POSITION_AT, POSITION_AT] = np.diag([4.0, 0.0, 25.0])
    across = VELOCITY_AT.start + 1
    expected[across, across] = 1.5**-2.0
    np.testing.assert_allclose(information, expected)
    # Nothing given, nothing held.
    bare = untaped_of().prior_information()
    assert bare[RELEASE_AT, RELEASE_AT] == bare[across, across] == 0.0


@pytest.mark.parametrize(("launch", "speed"), [((3.0, 4.0), 5.0), ((0.1, 0.2), 1.0)])
def test_a_launcher_is_aimed_to_five_degrees(monkeypatch, launch, speed):
    """Of the level speed, 1 m/s at least."""
    seen = []

    def fit(known, *_):
        seen.append(known.aim_u_mps)
        raise NotDetermined("enough")

    monkeypatch.setattr(untaped, "fit_given_gusts", fit)
    start = np.zeros(11)
    start[3:5] = launch
    known = untaped_of()
    with pytest.raises(NotDetermined, match="enough"):
        untaped.fit_untaped(known, lambda camera: (np.zeros(14), np.eye(14)), None, 0.0, start)
    assert seen == pytest.approx([speed * np.radians(5.0)])


def on_the_line(count, terms):
    """Positions of a path in the plane of the firing line, given by polynomials in time."""
    times = 0.5 + np.linspace(0.2, 1.2, count)
    since = times - 0.5
    points = np.zeros((count, 3))
    points[:, 0] = np.polynomial.polynomial.polyval(since, terms[0])
    points[:, 2] = np.polynomial.polynomial.polyval(since, terms[1])
    return replace(
        case().track.part(np.arange(len(case().track.times_s)) < count),
        times_s=times,
        pixels=KNOWN.camera.project(points),
    )


@pytest.mark.parametrize(("count", "exact"), [(11, False), (12, True), (20, True)])
def test_a_first_launch_is_the_slope_of_a_cubic_from_twelve_positions_on(count, exact):
    cubic = on_the_line(count, ([0.0, 14.0, -1.0, 1.5], [0.8, 12.0, -4.9, 0.4]))
    launch = first_launch(KNOWN, cubic, 0.5)
    near = pytest.approx([14.0, 12.0], abs=1e-6)
    assert (launch[[3, 5]].tolist() == near) is exact
    parabola = on_the_line(count, ([0.0, 14.0, -1.0], [0.8, 12.0, -4.9]))
    assert first_launch(KNOWN, parabola, 0.5)[[3, 5]].tolist() == near
    assert launch[6] == KNOWN.drag and launch[:3].tolist() == KNOWN.release_m.tolist()


@pytest.mark.parametrize(("count", "enough"), [(5, False), (6, True)])
def test_a_first_launch_needs_six_positions(count, enough):
    track = on_the_line(count, ([0.0, 14.0, -1.0], [0.8, 12.0, -4.9]))
    if enough:
        assert first_launch(KNOWN, track, 0.5)[3] == pytest.approx(14.0, abs=1e-6)
    else:
        with pytest.raises(NotDetermined, match="does not look at the firing line"):
            first_launch(KNOWN, track, 0.5)


@pytest.mark.parametrize(
    "made",
    [
        lambda: KNOWN,
        fitted,
        lambda: case().observed,
        lambda: case().observed.instants,
        lambda: figures_of(KNOWN, case().truth),
        lambda: untaped_of(),
        lambda: Weighting(np.ones(1), np.ones(1), np.ones(1)),
        lambda: FreeGravity(1.0, 0.1),
        lambda: GivenEnds(),
        lambda: GivenTime(0.5, 0.1),
        lambda: GivenPlace((0.0, 1.0), 0.1),
        lambda: request(),
    ],
)
def test_what_a_fit_takes_and_gives_cannot_be_changed(made):
    """One result is shared by rows, pictures and pools."""
    one = made()
    name = next(iter(one.__dataclass_fields__))
    with pytest.raises(AttributeError):
        setattr(one, name, None)


def test_light_is_that_of_the_parameters_and_every_position_has_a_residual():
    assert fitted().light.tolist() == fitted().parameters[LIGHT_AT].tolist()
    assert fitted().residuals_px.shape == (len(fitted().used), 2)
    expected = expected_flight(KNOWN, np.array([14.0, 0.0, 11.0]))
    instants = Instants(np.linspace(0.1, 1.5, 20), np.zeros(20), np.zeros(20))
    fit = expected_fit(KNOWN, expected, instants, np.tile(0.04 * np.eye(2), (20, 1, 1)))
    assert fit.residuals_px.shape == (20, 2) and not fit.residuals_px.any()
    assert fit.used.tolist() == [True] * 20 and fit.scale == 1.0 and fit.settled
    assert fit.with_gusts(KNOWN) is KNOWN
    assert replace(fit, gust_u_mps=0.3).with_gusts(KNOWN).gust_u_mps == 0.3
