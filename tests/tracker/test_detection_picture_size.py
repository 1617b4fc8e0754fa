"""How wide a drawn ball is seen, whatever width was expected, however it is lit."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.drawn_balls import lit_balls, moving_balls
from tracker.detection.picture_size import picture_sizes


def drawn(diameter: float, contrast: float, noise: float, exposure: float = 0.3):
    return moving_balls(
        np.random.default_rng(21),
        12,
        diameter=diameter,
        contrast=contrast,
        noise=noise,
        motion=(17.0, -4.0),
        exposure=exposure,
    )[:2]


@pytest.mark.parametrize("contrast", [60.0, -60.0])
@pytest.mark.parametrize(("diameter", "wrong"), [(4.0, 1.0), (7.0, 0.6), (7.0, 1.7)])
def test_the_width_is_found_from_a_wrong_one(diameter, wrong, contrast):
    cutouts, expected = drawn(diameter, contrast, 1.5)
    wrongly = replace(expected, diameters_px=wrong * expected.diameters_px)
    found = picture_sizes(cutouts, wrongly, 0.3)
    assert found.found.all()
    seen = wrong * diameter * np.exp(np.median(found.log_ratio))
    # The drawn edge is softer than the fitted one, by a few tenths of a pixel.
    assert seen == pytest.approx(diameter, abs=0.35)
    assert np.std(found.log_ratio) < 0.05


def test_a_balls_dark_side_belongs_to_it():
    """The foot has half the light of the middle and is as dark as what lies behind it."""
    given = {"diameter": 6.0, "ball": 0.4, "behind": 0.2, "side": 31}
    rng = np.random.default_rng(5)
    even, _, _ = lit_balls(rng, 8, fall=0.0, **given)
    lit, expected, _ = lit_balls(rng, 8, fall=0.5, **given)
    widths = [np.median(picture_sizes(each, expected, 0.0).log_ratio) for each in (even, lit)]
    assert widths[1] == pytest.approx(widths[0], abs=0.06)
    assert widths[0] == pytest.approx(0.0, abs=0.06)


def test_what_is_uncertain_says_so():
    """Four times the noise makes the width some four times as uncertain."""
    clear, noisy = (picture_sizes(*drawn(5.0, 40.0, noise), exposure=0.3) for noise in (1.5, 6.0))
    ratio = np.median(noisy.u[noisy.found]) / np.median(clear.u)
    assert 2.5 < ratio < 6.0
    assert np.std(noisy.log_ratio[noisy.found]) < 3.0 * np.median(noisy.u[noisy.found])


def test_what_no_disc_explains_makes_the_width_uncertain():
    cutouts, expected = drawn(7.0, 60.0, 1.5)
    patched = cutouts.patches.copy()
    side = patched.shape[1]
    middle = slice(side // 2 - 4, side // 2 + 5)
    patched[:, middle, middle] += np.where(np.indices((9, 9)).sum(axis=0) % 2, 25, -25).astype(
        patched.dtype
    )
    plain = picture_sizes(cutouts, expected, 0.3)
    torn = picture_sizes(replace(cutouts, patches=patched), expected, 0.3)
    assert np.median(torn.u[torn.found]) > 2.0 * np.median(plain.u)


def test_a_picture_without_a_ball_has_no_width():
    found = picture_sizes(*drawn(5.0, 0.0, 3.0), exposure=0.3)
    assert not found.found.any()
    assert np.all(found.log_ratio == 0.0) and np.all(np.isinf(found.u))
