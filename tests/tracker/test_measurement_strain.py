"""A flight that fits only far from what was stated is doubted, and the statement is named."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from calibration.adjustment import NotDetermined
from tests.tracker.fitting_case import at_another_rate, calibrated, circumstances, drawn
from tracker.fitting.parameters import CAMERA_ACROSS_AT, DRAG_AT, MEAN_WIND_AT, POSITION_AT
from tracker.measurement import strain
from tracker.measurement.flight import Beginning, StartPrior, loosened
from tracker.measurement.strain import release_doubt, strain_doubt
from tracker.records import ReasonCode

KNOWN = circumstances(calibrated())
ALONG, ACROSS, UP = range(POSITION_AT.start, POSITION_AT.stop)


def named(*moves, known=KNOWN):
    """The reason of a fit that moves parameters by so many of their own uncertainties."""
    parameters = known.prior_mean()
    for at, off_u in moves:
        u = np.sqrt(1.0 / known.prior_information()[at, at])
        parameters[at] += off_u * u
    fitted = SimpleNamespace(parameters=parameters, with_gusts=lambda given: given)
    found = strain_doubt(known, fitted)
    assert len(found) < 2
    return found[0] if found else None


@pytest.mark.parametrize(("off_u", "doubted"), [(5.4, False), (5.5, True)])
@pytest.mark.parametrize("at", [ALONG, ACROSS, UP, DRAG_AT, CAMERA_ACROSS_AT])
def test_a_fit_is_strained_beyond_a_chi_square_of_thirty(at, off_u, doubted):
    assert (named((at, off_u)) is not None) is doubted
    assert (named((at, -off_u)) is not None) is doubted


@pytest.mark.parametrize(
    ("moves", "code"),
    [
        ([(UP, 6.0)], ReasonCode.STRAINS_HEIGHT),
        ([(UP, 4.1), (ALONG, 3.9)], ReasonCode.STRAINS_HEIGHT),
        ([(UP, 3.9), (ALONG, 4.1)], ReasonCode.STRAINS_RELEASE),
        ([(ACROSS, 6.0)], ReasonCode.STRAINS_RELEASE),
        ([(UP, 2.0), (CAMERA_ACROSS_AT, 5.5)], ReasonCode.STRAINS_HEIGHT),
        ([(DRAG_AT, 6.0)], ReasonCode.STRAINS_BALL),
        ([(DRAG_AT, 4.0), (MEAN_WIND_AT.start, 4.0)], ReasonCode.STRAINS_BALL),
        ([(DRAG_AT, 5.5), (ALONG, 2.9)], ReasonCode.STRAINS_BALL),
        ([(DRAG_AT, 5.5), (ALONG, 3.1)], ReasonCode.STRAINS_RELEASE),
    ],
)
def test_the_statement_that_is_contradicted_most_is_named(moves, code):
    assert named(*moves).code is code


def test_numbers_say_how_far_it_is_strained():
    assert named((UP, 3.0), (ALONG, -5.0)).numbers == {"off_u": pytest.approx(np.sqrt(34.0))}
    assert named((DRAG_AT, 6.0)).numbers == {
        "drag": pytest.approx(KNOWN.drag + 6.0 * KNOWN.drag_u),
        "stated": KNOWN.drag,
    }


def test_a_start_that_was_not_taped_has_bounds_of_its_own():
    known = loosened(KNOWN, StartPrior(KNOWN.release_m, np.full(3, 0.1)), Beginning(0.5, 0.01))
    assert named((DRAG_AT, 9.0), known=known) is None


def test_gusts_as_they_were_fitted_excuse_a_departure():
    parameters = KNOWN.prior_mean()
    parameters[MEAN_WIND_AT.start] += 6.0 * np.sqrt(KNOWN.wind_covariance()[0, 0])
    calm = SimpleNamespace(parameters=parameters, with_gusts=lambda given: given)
    gusty = SimpleNamespace(
        parameters=parameters, with_gusts=lambda given: replace(given, wind_u_mps=5.0)
    )
    assert strain_doubt(KNOWN, calm) and not strain_doubt(KNOWN, gusty)


def doubted(case, known):
    """The reason of a drawn flight that was fitted with what is stated."""
    fitted = replace(case, circumstances=known).fit()
    return fitted, release_doubt(known, case.observed, fitted)


@pytest.mark.parametrize("moved_m", [(2.0, 0.0, 0.0), (-2.0, 0.0, 0.0), (1.3, 0.0, -0.6)])
def test_a_flight_from_elsewhere_is_told_from_one_that_falls_otherwise(moved_m):
    """Markers that were counted from two metres behind, or a camera that was nudged."""
    case = drawn(np.random.default_rng(5), KNOWN)
    stated = replace(KNOWN, release_m=KNOWN.release_m + moved_m)
    _, found = doubted(case, stated)
    (reason,) = found
    assert reason.code is ReasonCode.STRAINS_RELEASE and reason.numbers["off_u"] > 10.0


def test_a_heavier_ball_is_told_from_a_start_elsewhere():
    light = drawn(np.random.default_rng(5), replace(KNOWN, drag=0.2))
    (reason,) = doubted(light, KNOWN)[1]
    assert reason.code is ReasonCode.STRAINS_BALL
    assert reason.numbers["drag"] == pytest.approx(0.2, abs=0.08)
    assert reason.numbers["stated"] == KNOWN.drag


def test_no_start_explains_a_wrong_frame_rate():
    case = at_another_rate(drawn(np.random.default_rng(5), KNOWN), 1.25)
    assert doubted(case, KNOWN)[1] == ()


def test_an_open_start_that_settles_nothing_is_no_explanation(monkeypatch):
    case = drawn(np.random.default_rng(5), KNOWN)
    fitted = case.fit()

    def fails(*_):
        raise NotDetermined("too little")

    monkeypatch.setattr(strain, "fit_given_gusts", lambda *_: replace(fitted, settled=False))
    assert release_doubt(KNOWN, case.observed, fitted) == ()
    monkeypatch.setattr(strain, "fit_given_gusts", lambda *_: fitted)
    assert release_doubt(KNOWN, case.observed, fitted)
    untaped = loosened(KNOWN, StartPrior(KNOWN.release_m, np.full(3, 0.1)), Beginning(0.5, 0.01))
    assert release_doubt(untaped, case.observed, fitted) == ()
    monkeypatch.setattr(strain, "fit_given_gusts", fails)
    assert release_doubt(KNOWN, case.observed, fitted) == ()
