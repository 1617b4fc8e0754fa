"""Laws that every calibration keeps, whatever the field."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from calibration.site import Calibration, Site, solve
from tests.calibration.fields import LAYOUTS, field

CASES = {"seed": st.integers(0, 5000), "layout": st.sampled_from(LAYOUTS[:3])}
FEW = settings(max_examples=settings.default.max_examples // 2)


def _u(solved: Calibration) -> dict[str, float]:
    return {quantity.name: quantity.u for quantity in solved.quantities}


def _mirrored(site: Site) -> Site:
    """The same field seen in a mirror along the firing line."""
    width = site.size_px[0]
    markers = tuple(
        replace(
            marker,
            ground_m=marker.ground_m * np.array([1.0, -1.0, 1.0]),
            pixel=np.array([width - 1 - marker.pixel[0], marker.pixel[1]]),
        )
        for marker in site.markers
    )
    position = site.position_m
    return replace(
        site,
        markers=markers,
        position_m=None if position is None else position * np.array([1.0, -1.0, 1.0]),
    )


@FEW
@given(**CASES)
def test_a_mirrored_field_gives_the_mirrored_camera(seed, layout):
    site = field(layout, np.random.default_rng(seed)).site
    one, other = solve(site), solve(_mirrored(site))
    assert other.camera.position == pytest.approx(
        one.camera.position * np.array([1.0, -1.0, 1.0]), abs=1e-3
    )
    assert other.chi_square == pytest.approx(one.chi_square, rel=1e-5, abs=1e-6)
    for name, value in _u(one).items():
        assert _u(other)[name] == pytest.approx(value, rel=1e-3)


@FEW
@given(**CASES, factor=st.sampled_from([0.5, 2.0]))
def test_a_resized_frame_gives_the_same_camera(seed, layout, factor):
    site = field(layout, np.random.default_rng(seed)).site
    size = tuple(round(side * factor) for side in site.size_px)
    markers = tuple(
        replace(m, pixel=(m.pixel + 0.5) * factor - 0.5, pixel_u=m.pixel_u * factor)
        for m in site.markers
    )
    one, other = solve(site), solve(replace(site, size_px=size, markers=markers))
    assert other.camera.position == pytest.approx(one.camera.position, abs=1e-3)
    assert other.camera.focal_px == pytest.approx(factor * one.camera.focal_px, rel=1e-5)


@FEW
@given(**CASES)
def test_no_further_measurement_makes_anything_worse(seed, layout):
    solved = solve(field(layout, np.random.default_rng(seed)).site)
    assert all(remedy.u <= solved.weakest.u * (1 + 1e-9) for remedy in solved.weakest.remedies)


@FEW
@given(**CASES)
def test_blunter_tapes_never_make_a_better_camera(seed, layout):
    site = field(layout, np.random.default_rng(seed)).site
    blunt = replace(site, markers=tuple(replace(m, u_m=2.0 * m.u_m) for m in site.markers))
    sharp, worse = solve(site), solve(blunt)
    assume(not sharp.suspects and sharp.p_value >= 1e-3)
    before, after = _u(sharp), _u(worse)
    assert all(after[name] > 0.97 * before[name] for name in before)
