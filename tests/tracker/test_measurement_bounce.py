"""The moment of a bounce, from a flight and the hop after it."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.ground import LEVEL, Ground
from tests.tracker.bounce_case import CONTEXT, BounceCase, bounce_case
from tracker.fitting.parameters import RELEASE_AT
from tracker.following.hop import TOUCH_U_S, Hop
from tracker.measurement.bounce import FARTHEST_U, Bounce, fall_mps, height_off


@pytest.fixture(scope="module")
def cases() -> list[BounceCase]:
    return [bounce_case(np.random.default_rng(seed)) for seed in range(8)]


def test_the_moment_is_found_within_its_uncertainty(cases: list[BounceCase]) -> None:
    """The contact with the ground is granted its whole duration, of which the meeting of the arcs
    sees a part: errors are no larger than stated, and smaller by no more than ten times."""
    z = []
    for case in cases:
        found = case.measured()
        assert found is not None and found.frames >= 25
        z.append((found.hop.time_s - case.hop[0]) / found.u_s)
    assert np.max(np.abs(z)) < 3.5
    assert 0.1 < np.sqrt(np.mean(np.square(z))) < 1.2


def test_the_landing_with_a_hop_is_as_uncertain_as_it_says(cases: list[BounceCase]) -> None:
    scores, gains = [], []
    for case in cases:
        found = case.measured()
        error, u = case.landed(found)
        scores.append([error[name] / u[name] for name in ("flight_time_s", "carry_m")])
        gains.append(u["flight_time_s"] / case.landed(None)[1]["flight_time_s"])
    rms = np.sqrt(np.mean(np.square(scores), axis=0))
    assert np.all(rms < 1.5) and np.all(rms > 0.3)
    assert np.median(gains) <= 1.0


def test_a_bounce_is_held_against_the_ground_below_it(cases: list[BounceCase]) -> None:
    """Ground that lies where the ball is agrees; ground half a metre above it does not."""
    case = cases[0]
    flight_s = case.landing.landed_s - case.landing.began_s
    along = float(case.landing.trajectory.at(flight_s)[0, 0])
    lower = replace(case.landing, ground=Ground(-0.5 / along))
    off_u = height_off(CONTEXT, case.fitted, lower, case.landing.landed_s, 0.003)
    assert off_u > 3.0
    flat = height_off(CONTEXT, case.fitted, case.landing, case.landing.landed_s, 0.003)
    assert flat == pytest.approx(0.0, abs=1e-4)
    fall, fallen = (
        fall_mps(ground, case.landing.trajectory, flight_s) for ground in (LEVEL, Ground(0.1))
    )
    assert fallen - fall == pytest.approx(0.1 * case.landing.trajectory.at(flight_s)[0, 3])


def test_touching_the_ground_takes_time(cases: list[BounceCase]) -> None:
    """However many exact positions there are, the moment is no better known than the contact."""
    case = cases[0]
    exact = replace(case.track, covariances=1e-6 * case.track.covariances)
    found = case.measured(track=exact)
    assert found is not None
    assert found.u_s >= TOUCH_U_S


def test_positions_that_disagree_widen_the_moment(cases: list[BounceCase]) -> None:
    """Scatter four times what the positions state: the uncertainty grows with it."""
    rng = np.random.default_rng(4)
    case = cases[1]
    rough = case.track.pixels + rng.normal(0.0, 1.2, case.track.pixels.shape)
    calm, torn = case.measured(), case.measured(track=replace(case.track, pixels=rough))
    assert calm is not None and torn is not None
    own = np.sqrt(calm.u_s**2 - TOUCH_U_S**2)
    assert np.sqrt(torn.u_s**2 - TOUCH_U_S**2) > 1.4 * own


@pytest.mark.parametrize("shift_s", [-0.002, 0.002])
def test_the_predicted_landing_does_not_come_back_as_an_observation(shift_s: float) -> None:
    """However sure the flight is of its landing, the hop's own moment does not move with it."""
    case = bounce_case(np.random.default_rng(7), noise_px=0.8, frames=12)
    narrow = replace(case.landing, landed_u_s=0.0004)
    moved = replace(narrow, landed_s=narrow.landed_s + shift_s)
    found, again = case.measured(landing=narrow), case.measured(landing=moved)
    assert found is not None and again is not None
    assert abs(again.hop.time_s - found.hop.time_s) < 0.2 * abs(shift_s)
    assert again.u_s == pytest.approx(found.u_s, rel=0.2)


def test_a_hop_has_priors_on_what_the_ground_does_to_it() -> None:
    """Four positions fix no four parameters; without priors they would be anything."""
    case = bounce_case(np.random.default_rng(8), noise_px=1.5, frames=5)
    found = case.measured()
    if found is None:
        pytest.fail("the hop was lost")
    assert 0.1 < found.hop.restitution < 1.1 and 0.0 < found.hop.speed_kept < 1.2
    assert abs(found.hop.sideways_mps) < 2.0


def test_height_at_the_moment_is_in_standard_uncertainties(cases: list[BounceCase]) -> None:
    case = cases[2]
    lands_s = case.landing.landed_s
    on_ground = height_off(CONTEXT, case.fitted, case.landing, lands_s, 0.01)
    assert abs(on_ground) < 0.05
    early = height_off(CONTEXT, case.fitted, case.landing, lands_s - 0.1, 0.01)
    late = height_off(CONTEXT, case.fitted, case.landing, lands_s + 0.1, 0.01)
    vague = height_off(CONTEXT, case.fitted, case.landing, lands_s - 0.1, 0.05)
    assert early > FARTHEST_U and late < -FARTHEST_U
    assert 0.0 < vague < early
    assert early == pytest.approx(0.1 / 0.01, rel=0.35)
    assert case.fitted.parameters[RELEASE_AT] < lands_s


@pytest.mark.parametrize(
    ("off_u", "agrees"), [(0.0, True), (2.9, True), (-3.1, False), (9.0, False)]
)
def test_a_bounce_agrees_within_three_standard_uncertainties(off_u: float, agrees: bool) -> None:
    assert Bounce(1.0, 0.01, Hop(1.0, 0.6, 0.6, 0.0), 9, off_u).agrees is agrees
