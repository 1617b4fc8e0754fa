"""A lens of which nothing is stated may bend straight lines, as far as the markers let it."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from calibration.camera import looking_at
from calibration.markers import Marker
from calibration.site import Site, solution, solve
from calibration.site.bends import LENSES, _log_evidence

CAMERA = looking_at((14.0, -27.0, 1.5), (14.0, 0.0, 3.0), 1050.0, (1280, 720))
GROUND = np.array(
    [[x, 0.0, 0.0] for x in (0.0, 10.0, 20.0, 30.0)] + [[10.0, 4.0, 0.0], [19.0, -3.5, 0.0]]
)
AT_K1 = 9


def _seen(k1, seed):
    """Return a site as a person picks it through a lens, to a pixel."""
    camera = replace(CAMERA, distortion=np.array([k1, 0.0, 0.0, 0.0, 0.0]))
    pixels = camera.project(GROUND) + np.random.default_rng(seed).normal(size=(len(GROUND), 2))
    markers = tuple(
        Marker(f"m{i}", g, 0.02, p, 1.0)
        for i, (g, p) in enumerate(zip(GROUND, pixels, strict=True))
    )
    known = {"position_m": CAMERA.position, "level_u_deg": 1.0, "field_of_view_deg": 62.7}
    return Site(CAMERA.size_px, markers, **known)


def _both(site, monkeypatch):
    """Return the calibrations with a phone's lens alone and with all kinds."""
    weighed = solve(site)
    with monkeypatch.context() as patch:
        patch.setattr(solution, "bending", lambda *same: same)
        return solve(site), weighed


def test_a_bend_below_the_alarm_is_taken_from_the_markers(monkeypatch):
    z = []
    for seed in range(3):
        both = _both(_seen(-0.07, seed), monkeypatch)
        straight, weighed = both
        assert straight.p_value > solution.ALARM
        assert weighed.chi_square < straight.chi_square - 1.0
        u = [np.sqrt(one.camera.covariance[AT_K1, AT_K1]) for one in both]
        z.append([(one.camera.distortion[0] + 0.07) / u for one, u in zip(both, u, strict=True)])
    before, after = np.sqrt(np.mean(np.square(z), axis=0))
    assert before > 2.0
    assert after < 1.0


def test_a_straight_lens_costs_little(monkeypatch):
    straight, weighed = _both(_seen(0.0, 1), monkeypatch)
    for one, other in zip(straight.quantities, weighed.quantities, strict=True):
        assert one.u * 0.99 < other.u < one.u * 1.08
    assert not any("bends straight lines" in note for note in weighed.notes)
    before, after = (np.sqrt(one.camera.covariance[AT_K1, AT_K1]) for one in (straight, weighed))
    assert before < after < 1.2 * before


def test_a_bend_that_is_evident_is_told():
    assert "the lens bends straight lines" in solve(_seen(-0.08, 2)).notes[0]


def test_a_wrong_pixel_is_still_named():
    site = _seen(0.0, 3)
    wrong = replace(site.markers[2], pixel=site.markers[2].pixel + 15.0)
    solved = solve(replace(site, markers=(*site.markers[:2], wrong, *site.markers[3:])))
    assert solved.left_out == "m2"


def test_the_evidence_is_the_density_of_what_was_observed():
    seen = np.array([0.4, 1.9, 1.1])
    found, exact = [], []
    for bend in (0.5, 2.0):
        precision = len(seen) + bend**-2
        middle = seen.sum() / precision
        cost = np.sum((seen - middle) ** 2) + (middle / bend) ** 2
        fit = SimpleNamespace(covariance=np.array([[1.0 / precision]]), chi_square=cost)
        found.append(_log_evidence(fit, (bend,)))
        exact.append(stats.multivariate_normal(np.zeros(3), np.eye(3) + bend**2).logpdf(seen))
    assert found[1] - found[0] == pytest.approx(exact[1] - exact[0], rel=1e-9)


def test_the_kinds_share_all_cameras():
    assert sum(share for share, _ in LENSES) == pytest.approx(1.0)
    assert [bends[0] for _, bends in LENSES] == sorted(bends[0] for _, bends in LENSES)
