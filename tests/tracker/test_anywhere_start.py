"""Flights that start anywhere: what is fitted holds the truth, and what is no flight is refused."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.anywhere_case import FIELD, KNOWN, drawn_anywhere, late
from tracker.fitting.model import flight_of
from tracker.following.arcs import fit_arc
from tracker.following.throws import is_throw, trimmed_throw
from tracker.measurement.starts.throw_rules import no_throw, rolls
from tracker.records import ReasonCode


@pytest.fixture(scope="module", params=[10, pytest.param(30, marks=pytest.mark.long)])
def scores(request):
    rng = np.random.default_rng(205)
    return [drawn_anywhere(rng).scores() for _ in range(request.param)]


def test_the_truth_lies_where_the_uncertainty_says(scores):
    """Of eight figures a shot some 95 % lie in their intervals; drawn ones agree by shot."""
    z = np.array([[z for z, _ in each.values()] for each in scores])
    assert np.mean(np.abs(z) < 1.96) > 0.88
    assert np.all(np.abs(z) < 4.5)
    assert np.all(np.sqrt(np.mean(z**2, axis=0)) < 1.5)
    assert np.all(np.sqrt(np.mean(z**2, axis=0)) > 0.3)


def test_gravity_shows_how_far_off_a_flight_is(scores):
    """A start may lie metres nearer or farther; what is reported is known far better than that."""
    u = {name: np.median([each[name][1] for each in scores]) for name in scores[0]}
    assert u["landing_along_m"] < 0.3 and u["landing_across_m"] < 1.0
    assert u["exit_speed_mps"] < 0.5


def test_what_comes_into_the_picture_is_distinguished_from_there():
    """The speed is that at the first sight, and the carry counts from there."""
    drawn = late(drawn_anywhere(np.random.default_rng(8)), 25)
    flight, fitted = drawn.fit()
    began = drawn.case.track.times_s[0]
    assert fitted.parameters[0] == pytest.approx(began, abs=0.001)
    true = flight_of(KNOWN, drawn.case.truth, 1.0, 0.02).at([began - drawn.case.truth[0]])[0]
    spread = np.sqrt(np.diag(fitted.covariance)[1:7])
    assert np.all(np.abs(fitted.parameters[1:7] - true) < 3.5 * spread)
    assert no_throw(replace(flight, fitted=fitted), FIELD, 0.8, flight.first_s) is None


def test_what_rolls_is_distinguished_from_what_flies():
    camera = KNOWN.camera
    times = np.arange(0.0, 1.5, 1.0 / 60.0)
    # Towards the camera, past it, and braked: in the picture it bends down as a throw does.
    ground = np.column_stack(
        [20.0 - 4.0 * times, -18.0 - 4.0 * times + 0.5 * times**2, 0.0 * times + 0.03]
    )
    pixels = camera.project(ground) + np.random.default_rng(2).normal(0.0, 0.5, (len(times), 2))
    rolled = fit_arc(np.column_stack([np.arange(len(times)), times, pixels]), 1.0 / 60.0)
    assert rolls(rolled, camera)
    flight, _ = drawn_anywhere(np.random.default_rng(3)).fit()
    assert not rolls(flight.throw.arc, camera)


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({1: 70.0}, ReasonCode.OFF_FIELD),
        ({2: 40.0}, ReasonCode.OFF_FIELD),
        ({3: -3.0}, ReasonCode.BELOW_GROUND),
        ({4: 0.3, 5: 0.1, 6: 0.5}, ReasonCode.SPEED_IMPLAUSIBLE),
    ],
)
def test_what_gravity_puts_elsewhere_is_no_throw(change, code):
    flight, fitted = drawn_anywhere(np.random.default_rng(4)).fit()
    parameters = fitted.parameters.copy()
    for at, value in change.items():
        parameters[at] = value
    moved = replace(flight, fitted=replace(fitted, parameters=parameters))
    reason = no_throw(moved, FIELD, 0.8, flight.first_s)
    assert reason is not None and reason.code is code


def test_what_comes_up_off_the_ground_is_a_hop():
    flight, fitted = drawn_anywhere(np.random.default_rng(4), up_m=0.1).fit()
    reason = no_throw(replace(flight, fitted=fitted), FIELD, 0.8, flight.first_s)
    assert reason is not None and reason.code is ReasonCode.RISES_FROM_GROUND
    flight, fitted = drawn_anywhere(np.random.default_rng(4), up_m=0.6).fit()
    assert no_throw(replace(flight, fitted=fitted), FIELD, 0.8, flight.first_s) is None


def test_a_few_wrong_places_at_an_end_do_not_hide_a_throw():
    frames = np.arange(40)
    times = frames / 30.0
    pixels = np.column_stack([100.0 + 500.0 * times, 500.0 - 420.0 * times + 300.0 * times**2])
    pixels += np.random.default_rng(1).normal(0.0, 0.4, pixels.shape)
    # The ball came down three places before the path ends, and goes up again.
    pixels[37:, 1] = pixels[36, 1] - 9.0 * np.arange(1, 4)
    whole = fit_arc(np.column_stack([frames, times, pixels]), 1.0 / 30.0)
    assert not is_throw(whole, 1000, 1.0 / 30.0)
    part = trimmed_throw(whole, 1000, 1.0 / 30.0)
    assert part is not None and part.frames[0] == 0 and 35 <= part.frames[-1] < 39
    straight = fit_arc(
        np.column_stack([frames, times, 100.0 + 500.0 * times, 300.0 + 5.0 * times]), 1.0 / 30.0
    )
    assert trimmed_throw(straight, 1000, 1.0 / 30.0) is None
