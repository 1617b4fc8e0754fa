"""The rounds of a fit with its camera: when they end, and what becomes of steps that overshoot."""

from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from calibration.adjustment import NotDetermined
from tests.tracker.fitting_case import calibrated, circumstances, drawn
from tracker.fitting import untaped
from tracker.fitting.parameters import CAMERA_AT, CAMERA_SIZE, PARAMETERS
from tracker.fitting.untaped import UntapedCircumstances, UntapedFit, first_launch, fit_untaped

KNOWN = circumstances(calibrated())


class Sliding:
    """A camera that only knows how far it stands from the best one."""

    def __init__(self, off: float) -> None:
        self.off = off

    def perturbed(self, move: np.ndarray) -> "Sliding":
        return Sliding(self.off + float(move[0]))

    def with_covariance(self, covariance: np.ndarray) -> "Sliding":
        return self


def rounds(monkeypatch: pytest.MonkeyPatch, gain: float) -> list[float]:
    """Fit with steps of minus `gain` times the offset; return the offset of every round."""
    offsets: list[float] = []

    def step(off: float) -> float:
        offsets.append(off)
        return -gain * off

    fit_with(monkeypatch, step)
    return offsets


def fit_with(monkeypatch: pytest.MonkeyPatch, step: Callable[[float], float]) -> UntapedFit:
    """Fit with a step for each offset, in standard uncertainties."""

    def fitted(circumstances, *_, **__):  # type: ignore[no-untyped-def]
        parameters = np.zeros(len(PARAMETERS))
        parameters[CAMERA_AT] = step(circumstances.camera.off)
        return replace(FITTED, parameters=parameters, covariance=np.eye(len(PARAMETERS)))

    for name in ("fit_flight", "fit_given_gusts"):
        monkeypatch.setattr(untaped, name, fitted)
    monkeypatch.setattr(untaped, "refit_gusts", lambda circumstances, observed, again: again)
    shared = {each: getattr(KNOWN, each) for each in KNOWN.__dataclass_fields__}
    known = UntapedCircumstances(**{**shared, "camera": Sliding(1.0)})
    return fit_untaped(
        known,
        lambda camera: (np.zeros(CAMERA_SIZE), np.eye(CAMERA_SIZE)),
        SimpleNamespace(),  # type: ignore[arg-type]
        0.0,
        np.array([0.0, 0.0, 0.8, 15.0, 0.0, 12.0, 0.5, 0.0, 0.0, 0.0, 0.0]),
    )


FITTED = untaped.FittedFlight(
    **dict.fromkeys(untaped.FittedFlight.__dataclass_fields__)  # type: ignore[arg-type]
)


def test_a_step_that_leads_there_is_taken_whole_and_ends_the_rounds(monkeypatch) -> None:
    assert rounds(monkeypatch, 1.0) == pytest.approx([1.0, 0.0])


def test_rounds_that_alternate_about_the_best_camera_are_halved(monkeypatch) -> None:
    assert rounds(monkeypatch, 2.0) == pytest.approx([1.0, -1.0, 0.0])
    # As often as needed: at a quarter of its step this one leads there.
    assert rounds(monkeypatch, 4.0) == pytest.approx([1.0, -3.0, 3.0, 0.0])


def test_rounds_between_two_weightings_end_with_the_one_that_moves_least(monkeypatch) -> None:
    """On either side of the best camera another weighting holds, with a step beyond it."""
    fit = fit_with(monkeypatch, lambda off: 0.7 if off < 0.2 else -0.6)
    assert fit.fitted.settled is False
    assert fit.fitted.parameters[CAMERA_AT] == -0.6
    with pytest.raises(NotDetermined, match="did not settle"):
        fit_with(monkeypatch, lambda off: 2.6 if off < 0.2 else -2.6)


def test_steps_of_a_tenth_of_their_uncertainty_go_on(monkeypatch) -> None:
    """A step of 0.1 u is too large to end, one of 0.07 u small enough."""
    offsets = rounds(monkeypatch, 0.1)
    assert 0.1 * offsets[-1] < 0.08 <= 0.1 * offsets[-2]


def test_rounds_that_grow_end_in_a_refusal(monkeypatch) -> None:
    with pytest.raises(NotDetermined, match="did not settle"):
        rounds(monkeypatch, 20.0)


def test_a_first_launch_is_near_the_true_one() -> None:
    case = drawn(np.random.default_rng(1), KNOWN)
    launch = first_launch(KNOWN, case.track, case.truth[0])
    assert launch[[3, 5]] == pytest.approx(case.truth[[4, 6]], rel=0.08)
