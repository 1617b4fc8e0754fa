"""When a ball bounced, from its path before and after; and what a pass draws anew."""

import numpy as np
import pytest

from tracker.detection import SearchSettings
from tracker.following.arcs import fit_arc
from tracker.measurement.passes import _drawn
from tracker.measurement.throws import Throw, bounce_between

FRAME_S = 1.0 / 60.0
BOUNCED_S = 0.81


def falling(times_s):
    """A path that comes down at `BOUNCED_S` with 200 px/s, pixels."""
    since = np.asarray(times_s) - BOUNCED_S
    return np.column_stack([500.0 + 250.0 * since, 400.0 + 200.0 * since + 150.0 * since**2])


def hopping(times_s):
    """How it goes on: 0.6 of its level speed, and up with 0.6 of its fall."""
    since = np.asarray(times_s) - BOUNCED_S
    return np.column_stack([500.0 + 150.0 * since, 400.0 - 120.0 * since + 150.0 * since**2])


def throw() -> Throw:
    """Positions of sixty frames a second before the bounce, and of some frames after it."""
    before, after = np.arange(0, 46), np.arange(50, 75)

    def rows(frames, path):
        return np.column_stack([frames, frames * FRAME_S, path(frames * FRAME_S)])

    return Throw(fit_arc(rows(before, falling), FRAME_S), fit_arc(rows(after, hopping), FRAME_S))


def test_a_bounce_is_where_both_paths_meet() -> None:
    bounced_s, u_s = bounce_between(throw(), falling, FRAME_S)
    assert bounced_s == pytest.approx(BOUNCED_S, abs=FRAME_S / 8.0)
    # A third of a frame, and what half a pixel or so means at 192 px/s.
    assert 0.3 * FRAME_S < u_s < 0.45 * FRAME_S


def test_paths_that_pass_each_other_widen_the_moment() -> None:
    """Five pixels apart at the closest: a path that a wrong fit leads past the bounce."""
    aside = np.array([4.0, 3.0])
    _, near = bounce_between(throw(), falling, FRAME_S)
    _, wide = bounce_between(throw(), lambda times: falling(times) + aside, FRAME_S)
    assert wide > near + 0.005


def test_where_a_path_crosses_long_before_its_end_it_did_not_bounce() -> None:
    """The hop, traced back, meets the path of the flight anywhere; only about its end counts."""

    def crossing(times_s):
        early = np.asarray(times_s)[:, None] < 0.4
        return np.where(early, hopping(times_s), falling(times_s) + 0.2)

    bounced_s, _ = bounce_between(throw(), crossing, FRAME_S)
    assert bounced_s == pytest.approx(BOUNCED_S, abs=FRAME_S / 2.0)


def test_a_pass_draws_the_window_and_a_margin_for_cutouts() -> None:
    settings = SearchSettings(6.0, 10.0, 1, (100, 50, 300, 200))
    margin = 2 * settings.patch_half
    assert margin > 6
    assert _drawn(settings) == (100 - margin, 50 - margin, 300 + margin, 200 + margin)
