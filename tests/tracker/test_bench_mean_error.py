"""The split of a fit's error into shares of priors and positions adds up, about the whole truth."""

import numpy as np
import pytest

from tests.bench.mean_error import SHARES, sightings, split_session, true_parameters
from tests.tracker.fitting_case import circumstances
from tracker.fitting.model import predict
from tracker.fitting.observations import Instants
from tracker.fitting.parameters import PARAMETERS
from tracker.synthetic.draw import draw_session
from tracker.synthetic.recipes import RECIPES


def test_the_shares_of_an_error_add_up():
    error, shares = next(split_session(RECIPES["wide"], 501))
    assert sum(shares.values()) == pytest.approx(error, abs=0.1)
    assert np.abs(list(shares.values())).max() > 0.3


def test_every_parameter_with_a_prior_is_in_one_share():
    # The time of release and the velocity have none.
    named = sorted(np.concatenate(list(SHARES.values())).tolist())
    assert named == [place for place in range(len(PARAMETERS)) if place not in (0, 4, 5, 6)]


def test_the_true_parameters_show_the_ball_where_it_is_drawn():
    take = draw_session(RECIPES["wide"], 3).clips[0].take
    shot = take.shots[0]
    known = circumstances(take.camera.perturbed(np.full(14, 1e-3)))
    times, share, true = sightings(take, shot)
    truth = true_parameters(known, shot, take)
    seen = predict(known, truth, Instants(times, share, np.zeros(len(times)))).pixels
    # A fit's lift turns about the firing line's axes, the drawn one about those of the shot.
    assert seen == pytest.approx(true, abs=0.05)
