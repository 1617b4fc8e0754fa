"""The gusts that a flight itself makes likely."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.fitting_case import Drawn, calibrated, circumstances, positions
from tracker.fitting import figures_of
from tracker.fitting.budget import budget_of
from tracker.fitting.gustiness import SHARES
from tracker.fitting.parameters import WIND_AT
from tracker.records import Track

USUAL_MPS = 0.8


def shot(seed: int, share: float) -> Drawn:
    """A shot in air that is as gusty as that share of the usual."""
    rng = np.random.default_rng(seed)
    known = replace(circumstances(calibrated()), gust_u_mps=USUAL_MPS)
    truth = known.prior_mean()
    truth[0] = 0.5
    truth[4:7] = 19.0 * np.array([np.cos(0.7), 0.0, np.sin(0.7)])
    spread = replace(known, gust_u_mps=share * USUAL_MPS).wind_covariance(shared=False)
    for winds in WIND_AT:
        truth[winds] += rng.multivariate_normal(np.zeros(len(winds)), spread, method="svd")
    return positions(rng, known, truth)


def found(share: float, count: int = 8) -> list[float]:
    fits = [shot(seed, share).fit() for seed in range(count)]
    return [fit.gust_u_mps / USUAL_MPS for fit in fits]  # type: ignore[operator]


@pytest.mark.long
def test_still_air_and_squalls_are_distinguished() -> None:
    calm, squally = found(0.0), found(2.0)
    assert max(calm) < 0.6
    assert np.mean(squally) > 1.0
    assert np.mean(calm) < 0.4 * np.mean(squally)
    assert all(SHARES[0] <= share <= SHARES[-1] for share in calm + squally)


def test_still_air_narrows_what_is_reported() -> None:
    calm, squally = (shot(1, share) for share in (0.0, 2.0))
    wind_share = []
    for case in (calm, squally):
        fit = case.fit()
        assert fit.with_gusts(case.circumstances).gust_u_mps == fit.gust_u_mps
        figures = figures_of(case.circumstances, fit.parameters)
        budget = budget_of(case.circumstances, fit, figures)
        whole = figures.u(fit.covariance)["carry_m"]
        assert np.linalg.norm(list(budget.parts["carry_m"].values())) == pytest.approx(whole)
        wind_share.append(budget.parts["carry_m"]["wind"])
    assert wind_share[0] < 0.6 * wind_share[1]


def test_nothing_seen_of_the_gusts_leaves_what_was_known() -> None:
    """A twelfth of a second shows nothing: every share is as likely as before."""
    case = shot(2, 2.0)
    first = case.track.times_s < case.track.times_s[0] + 1.0 / 12.0
    few = Track(
        case.track.frames[first],
        case.track.times_s[first],
        case.track.pixels[first],
        case.track.covariances[first],
        case.track.lean[first],
    )
    fit = replace(case, track=few, row_share=case.row_share[first]).fit()
    everything = USUAL_MPS * np.sqrt(np.mean(SHARES**2))
    assert fit.gust_u_mps == pytest.approx(everything, rel=0.1)


def test_shares_rise_from_still_air_to_squalls_without_a_gap() -> None:
    """Neighbours differ by a factor of two at most: the evidence of a flight is wider than that."""
    assert np.all((SHARES[1:] / SHARES[:-1] > 1.0) & (SHARES[1:] / SHARES[:-1] <= 2.0))
    assert SHARES[0] <= 0.1 and SHARES[-1] >= 2.0 and 1.0 in SHARES
