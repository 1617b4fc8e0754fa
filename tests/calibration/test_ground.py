"""The ground that markers' taped heights show."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.ground import LEVEL, Ground, ground_of

FLAT = [(0, 0), (10, 0), (20, 0), (30, 0), (20, 6), (10, -5)]


def on(ground: Ground, *places: tuple[float, float]) -> list[tuple[float, float, float]]:
    return [(*place, float(ground.height_m(place))) for place in places]


@given(
    st.floats(-0.06, 0.06).filter(lambda rise: abs(rise) > 2e-3),
    st.floats(-0.04, 0.04),
    st.integers(0, 2**32 - 1),
)
def test_markers_on_a_plane_show_it(along: float, across: float, seed: int) -> None:
    places = np.array(on(Ground(along, across), *FLAT))
    places[:, 2] += np.random.default_rng(seed).normal(0.0, 1e-3, len(places))
    found = ground_of(places, np.full(len(places), 0.02))
    assert found.rise_along == pytest.approx(along, abs=1e-3, rel=0.02)
    assert found.rise_across == pytest.approx(across, abs=2e-3, rel=0.2)


def test_the_top_of_a_pole_is_not_on_the_ground() -> None:
    sloping = [*on(Ground(0.02), *FLAT), (20.0, 0.0, 2.4)]
    assert ground_of(sloping, [0.02] * 7).rise_along == pytest.approx(0.02, rel=0.02)
    level = [*on(LEVEL, *FLAT), (20.0, 0.0, 2.0), (0.0, 0.0, 2.0)]
    assert ground_of(level, [0.02] * 8) == LEVEL


@pytest.mark.parametrize(
    "places",
    [
        [],
        [(0, 0, 0), (20, 0, 0), (40, 0, 0)],
        # One height alone: a thing on level ground as likely as a rise.
        [(0, 0, 0), (20, 0, 0.4)],
        # What lies near the origin shows none.
        [(0, 0, 0), (2, 0, 0.04), (0, 2.9, 0.05), (20, 0, 0.4)],
        # Like things that stand on the ground.
        [(0, 0, 0), (20, 0, 0.3), (21, 5, 0.3)],
        # As many on level ground as on any rise.
        [(0, 0, 0), (10, 0, 0), (20, 5, 0), (20, 0, 1.0), (30, 0, 1.5)],
    ],
)
def test_ground_is_level_where_the_markers_do_not_show_a_rise(places: list) -> None:
    assert ground_of(places, [0.02] * len(places)) == LEVEL


@pytest.mark.parametrize(("off_u", "counts"), [(2.5, True), (3.5, False)])
def test_a_marker_three_standard_deviations_off_the_plane_is_not_on_it(off_u, counts) -> None:
    """Turf is rough by 3 cm: that of a marker that is taped exactly."""
    places = on(Ground(0.02), (10, 0), (20, 0), (30, 0), (30, 6), (25, -5))
    places.append((20.0, 0.0, 0.4 + 0.03 * off_u))
    found = ground_of(places, [1e-6] * 6)
    assert (found.rise_along > 0.02 * 1.01) is counts
    assert found.rise_along == pytest.approx(0.02, rel=0.05 if counts else 0.005)


def test_two_markers_at_different_heights_show_a_rise() -> None:
    found = ground_of([(0, 0, 0), (10, 0, 0.2), (20, 0, 0.4)], [0.02] * 3)
    assert found.rise_along == pytest.approx(0.02, rel=0.02)
    assert found.rise_across == 0.0


def test_height_above_the_ground_is_that_straight_below() -> None:
    ground = Ground(0.02, -0.01)
    state = np.array([10.0, 5.0, 1.0, 3.0, 2.0, -4.0])
    assert float(ground.height_m(state)) == pytest.approx(0.15)
    assert float(ground.above(state)) == pytest.approx(0.85)
    # Of a velocity: how fast ball and ground come apart.
    assert float(ground.above(state[3:])) == pytest.approx(-4.0 - 0.06 + 0.02)
    assert LEVEL.above(np.zeros((3, 4, 6))).shape == (3, 4)
    assert ground.above(np.zeros((3, 4, 6))).shape == (3, 4)
