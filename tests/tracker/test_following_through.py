"""The flight through places that a person picked."""

import numpy as np
import pytest

from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import Drawn, calibrated, circumstances, drawn
from tracker.following.through import flight_through

KNOWN = circumstances(calibrated())
CONTEXT = clip_context(KNOWN).search_context()


def through(case: Drawn, shares: tuple[float, ...]) -> tuple[np.ndarray, np.ndarray]:
    rows = [int(share * (len(case.track.times_s) - 1)) for share in shares]
    return case.track.times_s[rows], case.track.pixels[rows]


@pytest.mark.parametrize("seed", range(4))
def test_two_places_give_the_flight_through_them(seed: int) -> None:
    case = drawn(np.random.default_rng(seed), KNOWN)
    times, pixels = through(case, (0.15, 0.5))
    flight = flight_through(CONTEXT, times, pixels, 1.0)
    assert flight is not None
    places = flight.trajectory.at(times - flight.release_s)[:, :3]
    np.testing.assert_allclose(KNOWN.camera.project(places), pixels, atol=0.5)
    assert flight.release_s == pytest.approx(case.truth[0], abs=0.06)
    np.testing.assert_allclose(flight.launch[[3, 5]], case.truth[[4, 6]], rtol=0.12)
    np.testing.assert_allclose(flight.launch[:3], KNOWN.release_m)


def test_more_places_bring_it_nearer_to_the_truth() -> None:
    off = {2: [], 5: []}
    for seed in range(6):
        case = drawn(np.random.default_rng(seed), KNOWN)
        for shares in ((0.2, 0.45), (0.1, 0.3, 0.5, 0.7, 0.9)):
            flight = flight_through(CONTEXT, *through(case, shares), 1.0)
            assert flight is not None
            off[len(shares)].append(np.linalg.norm(flight.launch[[3, 5]] - case.truth[[4, 6]]))
    assert np.mean(off[5]) < 0.5 * np.mean(off[2])


def test_places_behind_the_camera_give_none() -> None:
    up = np.array([[960.0, -40000.0], [970.0, -41000.0]])
    assert flight_through(CONTEXT, np.array([0.5, 0.7]), up, 1.0) is None
