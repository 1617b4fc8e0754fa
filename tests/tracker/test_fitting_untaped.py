"""A fit with a camera that is hardly known: one optimum, from wherever it begins."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from calibration.adjustment import NotDetermined
from calibration.camera import Camera
from calibration.site.presumed import Presumption, Sighted
from tests.tracker.fitting_case import calibrated, circumstances, drawn
from tests.tracker.line_case import LineCase, line_case
from tracker.fitting import figures_of, untaped
from tracker.fitting.parameters import CAMERA_AT, PARAMETERS
from tracker.fitting.priors import CameraPrior, NormalPrior
from tracker.fitting.untaped import LooseMarkers, UntapedFit, first_launch, fit_untaped

KNOWN = circumstances(calibrated())


@pytest.fixture(scope="module")
def case() -> LineCase:
    """61 m away through a lens of 30 degrees, three markers on the firing line."""
    return line_case(np.random.default_rng(4), away_m=61.0, view_deg=30.0)


@pytest.fixture(scope="module")
def fits(case: LineCase) -> list[UntapedFit]:
    return [case.fit_from(away) for away in (20.0, 60.0, 120.0)]


def test_the_optimum_is_the_same_from_any_first_distance(fits: list[UntapedFit]) -> None:
    """Distance and focal length compensate each other along a valley that is walked down."""
    near, *others = fits
    camera = near.circumstances.camera
    for other in others:
        assert other.fitted.settled
        ratio = other.circumstances.camera.position[1] / camera.position[1]
        assert ratio == pytest.approx(1.0, abs=0.01)
        assert other.fitted.parameters == pytest.approx(near.fitted.parameters, abs=0.03)


def test_a_line_of_markers_gives_the_speed_whatever_the_distance(
    case: LineCase, fits: list[UntapedFit]
) -> None:
    """The markers give the scale along the line, level and gravity that across it."""
    for fit in fits:
        figures = figures_of(fit.circumstances, fit.fitted.parameters)
        u = figures.u(fit.fitted.covariance)
        for name in ("exit_speed_mps", "launch_angle_deg", "carry_m"):
            assert abs(figures.value(name) - case.truth[name]) < 3.0 * u[name]
        assert u["exit_speed_mps"] < 0.02 * case.truth["exit_speed_mps"]


def test_markers_that_the_fall_contradicts_count_as_known_to_a_metre(case: LineCase) -> None:
    first, wrong, last = case.site.markers
    wrong = replace(wrong, ground_m=wrong.ground_m + np.array([1.0, 0.0, 0.0]))
    mistaken = replace(case, site=replace(case.site, markers=(first, wrong, last)))
    z = {}
    for doubting in (False, True):
        fit = mistaken.fit_from(60.0, doubting)
        assert fit.circumstances.markers_doubted is doubting
        figures = figures_of(fit.circumstances, fit.fitted.parameters)
        u = figures.u(fit.fitted.covariance)
        z[doubting] = [
            abs(figures.value(name) - true) / u[name] for name, true in case.truth.items()
        ]
    assert max(z[False]) > 3.5 and max(z[True]) < 2.5


def test_markers_that_agree_with_the_fall_stand_where_they_were_taped(
    case: LineCase, fits: list[UntapedFit]
) -> None:
    fit = case.fit_from(60.0, doubting=True)
    assert not fit.circumstances.markers_doubted
    assert fit.fitted.parameters == pytest.approx(fits[1].fitted.parameters)


def test_a_fit_is_handed_on_about_its_own_camera(case: LineCase, fits: list[UntapedFit]) -> None:
    known, fitted = fits[0].circumstances, fits[0].fitted
    assert not np.any(fitted.parameters[CAMERA_AT:])
    shift, covariance = case.presumption.around(known.camera)
    np.testing.assert_allclose(known.camera_shift, shift)
    np.testing.assert_allclose(known.camera.covariance, covariance, rtol=1e-9)
    information = known.prior_information()[CAMERA_AT:, CAMERA_AT:]
    np.testing.assert_allclose(information @ covariance, np.eye(14), atol=1e-6)


def test_a_camera_that_cannot_be_is_refused(case: LineCase) -> None:
    def nowhere(camera: Camera) -> tuple[np.ndarray, np.ndarray]:
        return np.full(3, np.nan), np.zeros((3, 14))

    with pytest.raises(NotDetermined, match="no camera could stand there"):
        fit_untaped(case.known, nowhere, case.observed, 0.3, np.ones(11))


def test_rows_of_a_camera_stand_beside_the_normal_prior_of_the_rest(case: LineCase) -> None:
    """Slopes are those of differences, far from the camera about which the moves count too."""
    information = case.known.prior_information()
    information[CAMERA_AT:] = information[:, CAMERA_AT:] = 0.0
    mean = case.known.prior_mean()
    camera = case.presumption.start(replace(case.sighted, away_m=45.0))
    prior = CameraPrior(NormalPrior.of(mean, information), camera, case.presumption.rows)
    at = mean.copy()
    at[CAMERA_AT : CAMERA_AT + 7] = 0.03, -0.05, 0.02, 1.0, 8.0, 0.3, 0.2
    residuals, slopes = prior.rows(at)
    assert len(residuals) == len(slopes) == prior.count
    for place in (0, 4, *range(CAMERA_AT, CAMERA_AT + 9)):
        step = np.zeros(len(PARAMETERS))
        step[place] = 1e-6
        change = (prior.rows(at + step)[0] - prior.rows(at - step)[0]) / 2e-6
        # Where the markers' own places are eliminated a second order is left out.
        np.testing.assert_allclose(-change, slopes[:, place], atol=2e-3 * np.abs(slopes).max())
    np.testing.assert_allclose(prior.information(at), slopes.T @ slopes)
    other = prior.information(at)[:CAMERA_AT, :CAMERA_AT]
    np.testing.assert_allclose(other, information[:CAMERA_AT, :CAMERA_AT], rtol=1e-6, atol=1e-9)


def test_a_first_launch_is_near_the_true_one() -> None:
    case = drawn(np.random.default_rng(1), KNOWN)
    launch = first_launch(KNOWN, case.track, case.truth[0])
    assert launch[[3, 5]] == pytest.approx(case.truth[[4, 6]], rel=0.08)


def test_rows_without_markers_and_with_one_camera_agree(case: LineCase) -> None:
    """The cost that the rows have is that of the normal law about any camera, to second order."""
    presumption = Presumption(case.site, 1)
    camera = presumption.start(Sighted(1, 60.0, case.known.release_m, case.track.pixels[0]))
    shift, covariance = presumption.around(camera)
    gap, slope = presumption.rows(camera)
    np.testing.assert_allclose(slope.T @ slope @ shift, slope.T @ gap, rtol=1e-5, atol=1e-3)
    np.testing.assert_allclose(slope.T @ slope @ covariance, np.eye(14), atol=1e-5)


@pytest.mark.parametrize(
    ("count", "most"), [(1, 5.991), (3, 5.991), (4, 7.815), (5, 11.070), (6, 14.067), (9, 22.362)]
)
def test_markers_are_doubted_by_what_so_many_right_ones_would_gain(monkeypatch, case, count, most):
    """Upper 5 % points of chi-square: table 8 of Pearson and Hartley's Biometrika Tables, 1966."""
    fitted = SimpleNamespace(settled=True)
    strained = UntapedFit(case.known, fitted)
    loosened = replace(strained, circumstances=replace(strained.circumstances, began_s=9.0))
    asked = []
    monkeypatch.setattr(
        untaped, "_fitted", lambda known, rows, *_: loosened if rows == "loose" else strained
    )
    for gain, doubted in ((most - 0.01, False), (most + 0.01, True)):
        strains = {id(strained): 3.0 + gain, id(loosened): 3.0}
        monkeypatch.setattr(untaped, "_strain", lambda fit, of=strains: of[id(fit)])
        loose = LooseMarkers("loose", count)
        found = fit_untaped(strained.circumstances, "taped", None, 0.5, None, loose)
        asked.append(found.circumstances.markers_doubted)
        assert (found.circumstances.began_s == 9.0) is doubted
    assert asked == [False, True]
