"""Where nothing was taped, gravity alone gives the scale, and says how well."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.camera import Camera
from calibration.site.presumed import Presumption
from tests.tracker.unmarked_case import UnmarkedCase, drawn_case
from tracker.fitting import figures_of
from tracker.fitting.budget import budget_of
from tracker.fitting.model import predict
from tracker.fitting.observations import Instants, Observations
from tracker.fitting.parameters import CAMERA_AT, PARAMETERS
from tracker.fitting.untaped import UntapedFit, fit_untaped, prior_chi_square
from tracker.measurement.starts.scale_reasons import gain, scale_reasons
from tracker.records import ReasonCode, sentence

CASES = 10
FIGURES = ("exit_speed_mps", "launch_angle_deg", "carry_m", "apex_m", "flight_time_s")


@pytest.fixture(scope="module")
def cases() -> list[tuple[UnmarkedCase, UntapedFit]]:
    drawn = [drawn_case(np.random.default_rng(100 + seed)) for seed in range(CASES)]
    return [(case, case.fit()) for case in drawn]


def departures(cases: list[tuple[UnmarkedCase, UntapedFit]], name: str) -> np.ndarray:
    found = []
    for case, fit in cases:
        figures = figures_of(fit.circumstances, fit.fitted.parameters)
        off = figures.value(name) - case.truth[name]
        found.append(off / figures.u(fit.fitted.covariance)[name])
    return np.array(found)


@pytest.mark.parametrize("name", FIGURES)
def test_truth_lies_within_the_stated_uncertainty(
    cases: list[tuple[UnmarkedCase, UntapedFit]], name: str
) -> None:
    # Ten honest figures lie within 1.96 u seven times at least but in 1 case of 1000, and their
    # mean square exceeds 2.96 in 1 of 1000 (binomial and chi-square; both computed).
    z = departures(cases, name)
    assert np.sum(np.abs(z) < 1.96) >= 7
    assert np.mean(z**2) < 2.96


def test_the_uncertainty_is_of_use(cases: list[tuple[UnmarkedCase, UntapedFit]]) -> None:
    for case, fit in cases:
        figures = figures_of(fit.circumstances, fit.fitted.parameters)
        u = figures.u(fit.fitted.covariance)
        assert 0.005 < u["exit_speed_mps"] / case.truth["exit_speed_mps"] < 0.2
        assert 3.0 < u["azimuth_deg"] < 6.0


def test_the_profile_of_the_distance_rises_as_the_covariance_says() -> None:
    # With the distance held one standard uncertainty off and everything else fitted anew, minus
    # twice the logarithm of the density rises by one where the normal law is right (S. S. Wilks,
    # Ann. Math. Stat. 9, 60, 1938).
    case = drawn_case(np.random.default_rng(8), landing=False)
    presumption = Presumption(case.site, case.sighted.side)
    fit = case.fit()
    at = CAMERA_AT + PARAMETERS[CAMERA_AT:].index("across")
    away = fit.circumstances.camera.perturbed(fit.fitted.parameters[CAMERA_AT:]).position[1]
    u = np.sqrt(fit.fitted.covariance[at, at])

    def cost(found: UntapedFit) -> float:
        parameters = found.fitted.parameters
        camera = found.circumstances.camera
        shift, covariance = presumption.around(camera)
        there = replace(
            found.circumstances, camera=camera.with_covariance(covariance), camera_shift=shift
        )
        instants = Instants(case.track.times_s, case.row_share, case.track.lean)
        off = case.track.pixels - predict(there, parameters, instants)[0]
        seen = np.einsum("ni,nij,nj->", off, np.linalg.inv(case.track.covariances), off)
        gap = parameters - there.prior_mean()
        return float(seen + gap @ there.prior_information() @ gap)

    def held(distance: float) -> UntapedFit:
        def rows(camera: Camera) -> tuple[np.ndarray, np.ndarray]:
            gap, slope = presumption.rows(camera)
            pin = np.eye(slope.shape[1])[4] / (1e-3 * u)
            off = (distance - camera.position[1]) / (1e-3 * u)
            return np.append(gap, off), np.vstack([slope, pin])

        return fit_untaped(
            fit.circumstances,
            rows,
            Observations(case.track, case.row_share),
            float(fit.fitted.parameters[0]),
            fit.fitted.parameters[1:12],
        )

    lowest = cost(fit)
    rises = [cost(held(float(away + step * u))) - lowest for step in (-1.0, 1.0)]
    assert rises == pytest.approx([1.0, 1.0], abs=0.4)


def test_one_taped_distance_gains_what_was_predicted() -> None:
    # The forecast is made from the fit without the marker, and held against a fit with one.
    kept = {}
    for name, along in (("without", ()), ("with", (20.0,))):
        rng = np.random.default_rng(31)
        kept[name] = drawn_case(rng, marker_along_m=(20.0,))
        if not along:
            kept[name] = replace(kept[name], site=replace(kept[name].site, markers=()))
    predicted = gain(kept["without"].fit())
    assert predicted is not None
    distance, before, after = predicted
    fit = kept["with"].fit()
    u = figures_of(fit.circumstances, fit.fitted.parameters).u(fit.fitted.covariance)
    assert distance == 20.0
    assert after < 0.8 * before
    assert u["exit_speed_mps"] == pytest.approx(after, rel=0.3)


def test_a_stated_height_narrows_and_the_budget_adds_up(
    cases: list[tuple[UnmarkedCase, UntapedFit]],
) -> None:
    stated = drawn_case(np.random.default_rng(5), height_stated=True, landing=False)
    each = stated.known.release_each_u_m.copy()
    each[2] = 0.5
    loose = replace(stated, known=replace(stated.known, release_each_u_m=each))
    narrow, wide = (
        figures_of(fit.circumstances, fit.fitted.parameters).u(fit.fitted.covariance)
        for fit in (stated.fit(), loose.fit())
    )
    assert narrow["carry_m"] < 0.9 * wide["carry_m"]
    _, fit = cases[1]
    figures = figures_of(fit.circumstances, fit.fitted.parameters)
    budget = budget_of(fit.circumstances, fit.fitted, figures)
    for name in FIGURES:
        together = sum(u**2 for u in budget.parts[name].values())
        assert together == pytest.approx(figures.u(fit.fitted.covariance)[name] ** 2, rel=1e-3)


def test_the_sentence_says_what_the_scale_is_and_what_would_help(
    cases: list[tuple[UnmarkedCase, UntapedFit]],
) -> None:
    case, fit = cases[2]
    reasons = scale_reasons(fit, case.site)
    assert [each.code for each in reasons] == [
        ReasonCode.GRAVITY_IS_SCALE,
        ReasonCode.TAPE_ONE_DISTANCE,
    ]
    words = sentence(reasons)
    better = gain(fit)
    assert better is not None
    assert f"from {better[1]:.2g} to {better[2]:.2g} m/s" in words
    assert prior_chi_square(fit) < 45.0
