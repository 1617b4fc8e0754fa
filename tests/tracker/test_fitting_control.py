"""A position that stands alone draws the flight to itself, and is left out."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.fitting_case import calibrated, circumstances, drawn
from tracker.fitting.control import uncontrolled
from tracker.fitting.fit import fit_given_gusts, initial_parameters
from tracker.fitting.observations import Observations

KNOWN = circumstances(calibrated())


def control(kept: np.ndarray, shift_px: float) -> tuple[np.ndarray, np.ndarray]:
    """Fit the positions with these numbers, the last one shifted; return what nothing checks."""
    case = drawn(np.random.default_rng(3), KNOWN)
    track = case.track.part(np.isin(np.arange(len(case.track.times_s)), kept))
    pixels = track.pixels.copy()
    pixels[-1] += shift_px
    observed = Observations(replace(track, pixels=pixels), case.row_share[kept])
    start = initial_parameters(KNOWN, case.truth[0], case.truth[1:12])
    fitted = fit_given_gusts(KNOWN, observed, start)
    return uncontrolled(KNOWN, observed, fitted), fitted.used


def test_one_that_is_seen_long_after_the_others_is_checked_by_none() -> None:
    """Shifted by 3 px, twenty times its uncertainty, it still counts as used."""
    alone, used = control(np.array([*range(20), 150]), 3.0)
    assert used[-1]
    assert np.flatnonzero(alone).tolist() == [20]


@pytest.mark.parametrize("kept", [range(60), [*range(20), 146, 147, 148, 149, 150]])
def test_neighbours_check_each_other(kept) -> None:
    alone, _ = control(np.array(kept), 0.0)
    assert not alone.any()


def test_of_very_few_positions_each_is_needed() -> None:
    """Five and one alone: with four it stays."""
    for count, is_out in ((8, True), (5, True), (4, False)):
        alone, used = control(np.array([*range(count), 150]), 0.0)
        assert used.all()
        assert np.flatnonzero(alone).tolist() == ([count] if is_out else [])


def test_of_eight_each_is_needed_and_of_nine_no_longer() -> None:
    """Spread over 0.33 s none is far in time from the next, and the last is checked least."""
    for count, is_out in ((8, False), (9, True)):
        alone, used = control(np.array([*range(count - 1), 36]), 0.0)
        assert used.all()
        assert alone[-1] == is_out


def test_of_few_only_one_far_in_time_is_left_out() -> None:
    """At 120 frames a second the last stands 0.33 s, and 0.28 s, after the others."""
    for last, is_out in ((45, True), (38, False)):
        alone, _ = control(np.array([*range(6), last]), 0.0)
        assert alone[-1] == is_out


def test_an_outlier_is_out_already() -> None:
    alone, used = control(np.arange(60), 30.0)
    assert not used[-1] and not alone.any()
