"""What does not agree or does not suffice must not look precise."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.camera import looking_at
from calibration.errors import InputError, Undetermined
from calibration.markers import Marker
from calibration.site import ALARM, Site, solution, solve
from calibration.site.blunders import MOST_TO_LEAVE_OUT
from calibration.site.stand import MOST_MARKERS

CAMERA = looking_at((20.0, -34.0, 1.6), (20.0, 0.0, 3.0), 1500.0, (1920, 1080))
LINE = np.array([[x, 0.0, 0.0] for x in (0.0, 10.0, 20.0, 30.0, 40.0)])
RECTANGLE = np.array([[x, y, 0.0] for x in (0.0, 13.0, 27.0, 40.0) for y in (0.0, 8.0)])
UNEVEN = np.random.default_rng(12).normal(size=(len(RECTANGLE), 2))


def _site(ground, shifts=0.0, **known):
    pixels = CAMERA.project(ground) + shifts
    return Site(
        CAMERA.size_px,
        tuple(
            Marker(f"{i}", g, 0.02, p) for i, (g, p) in enumerate(zip(ground, pixels, strict=True))
        ),
        position_m=CAMERA.position,
        **known,
    )


def test_observations_that_disagree_enlarge_the_covariance_by_their_scatter():
    calm, uneven = solve(_site(RECTANGLE)), solve(_site(RECTANGLE, 6.0 * UNEVEN))
    assert calm.p_value > 0.99
    assert uneven.p_value < ALARM
    ratio = uneven.chi_square / uneven.dof
    assert ratio > 5.0
    # Pixels moved by some 6 px change the slopes a little, the covariance by hardly more.
    larger = np.diag(uneven.camera.covariance) / np.diag(calm.camera.covariance)
    assert larger[:6] == pytest.approx(ratio, rel=0.15)
    parts = sum(uneven.camera_parts.values())
    assert np.diag(parts) == pytest.approx(np.diag(uneven.camera.covariance), rel=1e-6)
    assert any("enlarged" in note for note in uneven.notes)


def test_observations_that_agree_keep_their_stated_uncertainty():
    calm, real = solve(_site(RECTANGLE)), solve(_site(RECTANGLE, UNEVEN))
    assert real.p_value > ALARM
    assert real.chi_square / real.dof != pytest.approx(1.0, abs=0.05)
    larger = np.diag(real.camera.covariance) / np.diag(calm.camera.covariance)
    assert larger[:6] == pytest.approx(1.0, abs=0.1)
    assert not any("enlarged" in note for note in real.notes)


AWAY_M = float(np.mean(np.linalg.norm(LINE - CAMERA.position, axis=1)))


@pytest.mark.parametrize(
    ("share", "opened"),
    [(0.24, "its direction stays open"), (0.5, "its position stays open"), (0.9, "position")],
)
def test_a_position_taped_too_roughly_determines_nothing(share, opened):
    # Markers on one line leave the camera free to turn around it: what its taped position does
    # not fix, nothing fixes. 0.2 rad and 0.3 of the distance are the bounds.
    with pytest.raises(Undetermined, match=opened):
        solve(_site(LINE, position_u_m=share * AWAY_M))


def test_a_position_taped_roughly_is_used_and_its_uncertainty_reported():
    found = solve(_site(LINE, position_u_m=0.1 * AWAY_M))
    spread = np.sqrt(np.diag(found.camera.covariance)[3:6].max())
    assert 0.05 * AWAY_M < spread < 0.11 * AWAY_M


def test_two_places_that_fit_equally_well_are_called_undetermined():
    """A line and one pole, nothing of the camera: 11 m above the ground, or as far below."""
    pixels = [(1639.4, 583.7), (1319.5, 588.0), (998.7, 592.4), (670.8, 597.7), (339.4, 600.0)]
    ground = [(along, 0.0, 0.0) for along in (0.0, 10.0, 20.0, 30.0, 40.0)]
    picked = [*zip(ground, pixels, strict=True), ((20.0, 0.0, 2.0), (996.5, 528.8))]
    markers = [
        Marker(f"{number}", np.array(place), 0.02, np.array(pixel), 1.0)
        for number, (place, pixel) in enumerate(picked)
    ]
    with pytest.raises(Undetermined, match="two different places"):
        solve(Site((1920, 1080), tuple(markers)))


def test_a_camera_that_nothing_explains_is_not_called_undetermined():
    site = _site(LINE)
    order = (2, 0, 4, 1, 3)
    pixels = [site.markers[at].pixel for at in order]
    swapped = [replace(m, pixel=p) for m, p in zip(site.markers, pixels, strict=True)]
    with pytest.raises(InputError) as caught:
        solve(replace(site, markers=tuple(swapped)))
    assert not isinstance(caught.value, Undetermined)


def _scattered(count, px, seed=1):
    """Return a site of markers all over a field, each picked `px` off the true pixel."""
    rng = np.random.default_rng(seed)
    ground = np.column_stack(
        [rng.uniform(2.0, 38.0, count), rng.uniform(-6.0, 8.0, count), np.zeros(count)]
    )
    return _site(ground, px * rng.normal(size=(count, 2)))


def test_one_wrong_marker_among_many_is_named():
    site = _scattered(24, 0.5)
    wrong = replace(site.markers[17], ground_m=site.markers[17].ground_m + 10.0 * np.eye(3)[0])
    found = solve(replace(site, markers=(*site.markers[:17], wrong, *site.markers[18:])))
    assert [suspect.name for suspect in found.suspects] == ["17"]


@pytest.mark.parametrize("px", [5.0, 20.0])
def test_the_search_for_a_wrong_marker_is_bounded(px, monkeypatch):
    # Leaving out each of many markers in turn took minutes: the time grew with the fourth power.
    refits = []
    plain = solution._refit
    monkeypatch.setattr(solution, "_refit", lambda site: refits.append(site) or plain(site))
    try:
        verdict = " ".join(solve(_scattered(16, px)).notes)
    except InputError as error:
        verdict = str(error)
    assert "do not agree" in verdict or "no place of the camera" in verdict
    # Each doubtful marker is left out, turned and written in three other ways; beside them the
    # statements on the camera and on all markers.
    assert 0 < len(refits) <= 5 * MOST_TO_LEAVE_OUT + 9


def test_more_markers_than_are_used_are_refused():
    with pytest.raises(InputError, match=f"81 markers have a pixel, and {MOST_MARKERS} at most"):
        solve(_scattered(81, 0.0))
