"""What a person states of a flight's ends, as observations of its fit."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.adjustment import NotDetermined
from calibration.ground import LEVEL, Ground
from tests.tracker.fitting_case import Drawn, calibrated, circumstances, drawn
from tracker.fitting import (
    Circumstances,
    figures_of,
    fit_flight,
    fit_given_gusts,
    initial_parameters,
)
from tracker.fitting.end_rows import disagreement, given_rows
from tracker.fitting.ends import GivenEnds, GivenPlace, GivenTime
from tracker.fitting.parameters import CAMERA_AT, PARAMETERS, POSITION_AT

KNOWN = circumstances(calibrated())
EVERYTHING = GivenEnds(
    landing_m=GivenPlace((24.0, 0.3), 0.05),
    landing_px=GivenPlace((1500.0, 700.0), 2.0),
    release_px=GivenPlace((400.0, 650.0), 1.5),
    release_s=GivenTime(0.51, 0.004),
)


@pytest.fixture(scope="module")
def case() -> Drawn:
    return drawn(np.random.default_rng(5), KNOWN)


@pytest.mark.parametrize("ground", [LEVEL, Ground(0.03, -0.05)])
def test_the_slopes_are_those_of_the_residuals(case: Drawn, ground: Ground) -> None:
    known, at = replace(KNOWN, ground=ground), case.truth.copy()
    # The camera differs from its prior: a turn does not add up.
    at[CAMERA_AT : CAMERA_AT + 3] += [0.01, -0.02, 0.015]
    residuals, slopes = given_rows(known, at, EVERYTHING)
    assert len(residuals) == EVERYTHING.count == 7
    spread = np.sqrt(np.diag(np.linalg.pinv(KNOWN.prior_information())))
    for parameter in range(len(PARAMETERS)):
        step = 1e-3 * max(spread[parameter], 1e-3)
        ahead, behind = at.copy(), at.copy()
        ahead[parameter] += step
        behind[parameter] -= step
        ahead_rows, _ = given_rows(known, ahead, EVERYTHING)
        behind_rows, _ = given_rows(known, behind, EVERYTHING)
        numeric = -(ahead_rows - behind_rows) / (2.0 * step)
        np.testing.assert_allclose(slopes[:, parameter], numeric, rtol=2e-3, atol=0.02)


def test_nothing_given_has_no_rows() -> None:
    residuals, slopes = given_rows(KNOWN, KNOWN.prior_mean(), GivenEnds())
    assert len(residuals) == 0 and slopes.shape == (0, len(PARAMETERS))
    assert GivenEnds().count == 0


def landing(known: Circumstances, parameters: np.ndarray) -> np.ndarray:
    figures = figures_of(known, parameters)
    return np.array([figures.value("landing_along_m"), figures.value("landing_across_m")])


@pytest.fixture(scope="module")
def half(case: Drawn) -> Drawn:
    """The first half of the flight, so that its landing is extrapolated."""
    count = len(case.track.times_s) // 2
    part = case.observed.part(np.arange(len(case.track.times_s)) < count)
    return replace(case, track=part.track, row_share=part.row_share)


def test_a_given_landing_narrows_the_carry_and_draws_the_fit(half: Drawn) -> None:
    start = initial_parameters(KNOWN, half.truth[0], half.truth[1:12])
    without = fit_given_gusts(KNOWN, half.observed, start)
    truly = landing(KNOWN, half.truth)
    u = 0.05
    given = GivenEnds(landing_m=GivenPlace((float(truly[0]), float(truly[1])), u))
    observed = replace(half.observed, given=given)
    fitted = fit_given_gusts(KNOWN, observed, start)
    carries = [figures_of(KNOWN, each.parameters) for each in (without, fitted)]
    before, after = (
        figure.u(each.covariance)["landing_along_m"]
        for figure, each in zip(carries, (without, fitted), strict=True)
    )
    # The update of a covariance by two more observations (Kalman's, of both coordinates at once).
    spread, (along, across) = (
        without.covariance,
        (carries[0].slope(name) for name in ("landing_along_m", "landing_across_m")),
    )
    both = np.vstack([along, across])
    gain = spread @ both.T @ np.linalg.inv(both @ spread @ both.T + u**2 * np.eye(2))
    expected = np.sqrt(along @ (spread - gain @ both @ spread) @ along)
    assert after == pytest.approx(expected, rel=0.1)
    assert after < 0.8 * before
    assert np.linalg.norm(landing(KNOWN, fitted.parameters) - truly) < np.linalg.norm(
        landing(KNOWN, without.parameters) - truly
    )


def test_the_distance_between_film_and_hand_counts_both_uncertainties(half: Drawn) -> None:
    fitted = half.fit()
    at = landing(KNOWN, fitted.parameters)
    figures = figures_of(KNOWN, fitted.parameters)
    u_fit = figures.u(fitted.covariance)["landing_along_m"]
    u = 0.05

    def off(by_m: float) -> float:
        place = GivenPlace((float(at[0] + by_m), float(at[1])), u)
        given = GivenEnds(landing_m=place)
        return disagreement(KNOWN, fitted.parameters, fitted.covariance, given)

    assert off(0.0) == pytest.approx(0.0, abs=1e-6)
    assert off(2.0) == pytest.approx(2.0 * off(1.0), rel=1e-6)
    # Two coordinates: the along one alone would be off by 1 / hypot(u, u_fit), at least.
    assert off(1.0) >= 0.99 / np.hypot(u, u_fit) / np.sqrt(2.0)
    assert off(1.0) < 1.0 / u / np.sqrt(2.0)
    nothing = disagreement(KNOWN, fitted.parameters, fitted.covariance, GivenEnds())
    assert nothing == 0.0


def test_a_given_release_holds_time_and_place(half: Drawn) -> None:
    truth = half.truth
    seen = KNOWN.camera.perturbed(truth[CAMERA_AT:]).project(truth[POSITION_AT])[0]
    given = GivenEnds(
        release_px=GivenPlace((float(seen[0]), float(seen[1])), 0.3),
        release_s=GivenTime(float(truth[0]), 1e-4),
    )
    fitted = fit_flight(KNOWN, replace(half.observed, given=given), truth[0], truth[1:12])
    assert fitted.parameters[0] == pytest.approx(truth[0], abs=4e-4)
    assert np.sqrt(fitted.covariance[0, 0]) < 1.05e-4
    assert np.sqrt(fitted.covariance[0, 0]) < np.sqrt(half.fit().covariance[0, 0])


def test_two_picked_positions_fix_a_flight_that_two_found_ones_do_not(case: Drawn) -> None:
    rows = np.zeros(len(case.track.times_s), bool)
    rows[[len(rows) // 5, len(rows) // 2]] = True
    two = case.observed.part(rows)
    start = initial_parameters(KNOWN, case.truth[0], case.truth[1:12])
    with pytest.raises(NotDetermined):
        fit_given_gusts(KNOWN, two, start)
    fitted = fit_given_gusts(KNOWN, replace(two, given=GivenEnds()), start)
    figures = figures_of(KNOWN, fitted.parameters)
    u = figures.u(fitted.covariance)
    truly = figures_of(KNOWN, case.truth)
    for name in ("exit_speed_mps", "carry_m", "apex_m"):
        assert abs(figures.value(name) - truly.value(name)) < 3.5 * u[name]
        assert u[name] > 0.0
