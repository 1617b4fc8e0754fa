"""Luma and colour together: which is believed, and what uneven light does to each."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.drawn_balls import moving_balls
from tracker.detection import BallPositions, fit_positions
from tracker.detection.locating import BALL_LUMA, SITING_PX, SITING_U_PX, on_luma, weighted


def at(place: tuple[float, float], u: float, snr: float, found: bool = True) -> BallPositions:
    one = np.ones(1)
    return BallPositions(
        pixels=np.array([place]),
        covariances=u**2 * np.eye(2)[None],
        snr=snr * one,
        found=np.array([found]),
        misfit=one,
        lean=0.1 * one,
        contrast=snr * one,
        contrasts=np.array([[snr if found else np.nan]]),
        purity=abs(snr) * one,
    )


def test_agreeing_places_are_weighted_by_their_information() -> None:
    both = weighted(at((10.0, 20.0), 0.1, 30.0), at((10.2, 20.0), 0.2, 20.0))
    assert both.pixels[0] == pytest.approx([10.04, 20.0])
    assert both.covariances[0] == pytest.approx(np.eye(2) / (1 / 0.1**2 + 1 / 0.2**2))


@pytest.mark.parametrize(("luma_snr", "colour_snr", "kept"), [(30.0, 20.0, 0), (20.0, -30.0, 1)])
def test_of_two_that_disagree_only_the_clearer_counts(luma_snr, colour_snr, kept) -> None:
    luma, colour = at((10.0, 20.0), 0.1, luma_snr), at((13.0, 20.0), 0.1, colour_snr)
    both = weighted(luma, colour)
    clearer = (luma, colour)[kept]
    assert both.pixels[0] == pytest.approx(clearer.pixels[0], abs=1e-6)
    assert both.covariances[0] == pytest.approx(clearer.covariances[0], rel=1e-6)
    assert both.snr == clearer.snr
    assert both.purity == clearer.purity
    assert both.contrasts.tolist() == [[luma_snr, colour_snr]]


@pytest.mark.parametrize("kept", [0, 1])
def test_the_one_that_is_found_counts_alone_and_none_is_none(kept) -> None:
    pair = [at((10.0, 20.0), 0.1, 30.0, kept == 0), at((13.0, 20.0), 0.1, 20.0, kept == 1)]
    both = weighted(*pair)
    assert both.found.all()
    assert both.pixels[0] == pytest.approx(pair[kept].pixels[0], abs=1e-6)
    neither = weighted(at((1.0, 2.0), 0.1, 1.0, False), at((1.0, 2.0), 0.1, 1.0, False))
    assert not neither.found.any()


@pytest.mark.parametrize("paler", [1.0, 0.6])
def test_light_moves_a_place_in_colour_by_the_share_that_colour_is_of_luma(paler) -> None:
    # Light that makes a ball's side a tenth darker makes its colour there a tenth weaker. A ball
    # before black, drawn alike in both components, then moves alike in pixels of each, however
    # pale its colour; a pixel of colour is two wide.
    rng = np.random.default_rng(6)
    still = {"diameter": 8.0, "noise": 1.0, "motion": (40.0, 0.0), "exposure": 0.0}
    cutouts, expected, _ = moving_balls(rng, 30, contrast=BALL_LUMA, **still)
    luma, _ = fit_positions(cutouts, expected, 0.0)
    cutouts, expected, true = moving_balls(rng, 30, contrast=paler * BALL_LUMA, **still)
    half, _ = fit_positions(cutouts, expected, 0.0)
    assert luma.found.all() and half.found.all()
    colour = on_luma(half, replace(luma, found=np.zeros(30, bool)))
    assert np.median(colour.lean) == pytest.approx(2.0 * np.median(luma.lean), rel=0.2)
    assert np.median(luma.lean) > 0.01
    error = colour.pixels - (2.0 * true + SITING_PX)
    assert np.abs(np.median(error, axis=0)).max() < 0.05
    assert np.sqrt(colour.covariances[:, 0, 0]).min() > SITING_U_PX
