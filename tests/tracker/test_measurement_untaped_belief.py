"""A flight without markers is believed by its positions, and only down to the ground."""

from types import SimpleNamespace

import numpy as np
import pytest

from tests.tracker.test_measurement_visibility import NO_CUTOUTS, backdrop
from tests.tracker.unmarked_case import drawn_case
from tracker.fitting import Observations, figures_of
from tracker.fitting.observations import SeenSizes
from tracker.following.arcs import fit_arc
from tracker.measurement.flight import Flight
from tracker.measurement.starts.ends import Ends
from tracker.measurement.starts.gravity_scale import (
    BEYOND_S,
    BEYOND_U,
    _believe,
    _believe_size,
)
from tracker.measurement.throws import Throw
from tracker.measurement.visibility import Crossing
from tracker.records import Candidates, Rejection

CASE = drawn_case(np.random.default_rng(4))
FIT = CASE.fit()
TRACK = CASE.track
ROWS = np.column_stack([TRACK.frames, TRACK.times_s, TRACK.pixels])
THROW = Throw(fit_arc(ROWS, 1.0 / 60.0), None)
FLIGHT = Flight(THROW, FIT.circumstances, FIT.fitted)
LANDED_S = FLIGHT.release_s + figures_of(FIT.circumstances, FIT.fitted.parameters).value(
    "flight_time_s"
)
MARGIN_S = max(
    BEYOND_S,
    BEYOND_U
    * figures_of(FIT.circumstances, FIT.fitted.parameters).u(FIT.fitted.covariance)[
        "flight_time_s"
    ],
)


def crossing(others: int = 0) -> Crossing:
    """The frames of the flight, with some other candidates around the ball in each."""
    around = np.random.default_rng(1).uniform(-20.0, 20.0, (others, 2))
    frames = [
        Candidates(
            int(frame), time_s, np.vstack([place, place + around]), np.ones(others + 1),
            NO_CUTOUTS, None, None, (backdrop(),),
        )
        for frame, time_s, place in zip(TRACK.frames, TRACK.times_s, TRACK.pixels, strict=True)
    ]  # fmt: skip
    return Crossing(frames, TRACK.pixels, np.ones((len(frames), 2)))


def reason(last_s: float, throw: Throw = THROW, others: int = 0) -> str:
    flight = Flight(throw, FLIGHT.known, FLIGHT.fitted)
    ends = Ends(float(TRACK.times_s[0]), last_s, lost=False, exposure=None)
    try:
        _believe(flight, TRACK, crossing(others), ends)
    except Rejection as rejection:
        return rejection.reasons[0].code.value
    return ""


def test_a_flight_that_is_seen_until_it_lands_is_believed() -> None:
    assert reason(float(TRACK.times_s[-1])) == ""
    assert reason(LANDED_S + 0.9 * MARGIN_S) == ""


def test_what_goes_on_below_the_ground_is_none() -> None:
    assert reason(LANDED_S + 1.1 * MARGIN_S) == "beyond_landing"


def test_after_a_bounce_the_path_is_another() -> None:
    hop = SimpleNamespace(times_s=TRACK.times_s[-1:])
    bounced = Throw(THROW.arc, hop)  # type: ignore[arg-type]
    assert reason(LANDED_S + 1.1 * MARGIN_S, bounced) == ""


@pytest.mark.parametrize(("others", "expected"), [(0, ""), (3000, "positions_by_chance")])
def test_a_path_through_a_crowd_of_candidates_is_chance(others: int, expected: str) -> None:
    assert reason(float(TRACK.times_s[-1]), others=others) == expected


def size_reason(times: float | None) -> str:
    """What is said of a ball so many times as wide as it falls; None is of no width."""
    sizes = None
    if times is not None:
        since_s = np.linspace(TRACK.times_s[0], TRACK.times_s[-1], 5)
        depth = FLIGHT.camera.in_camera(FLIGHT.states(since_s)[:, :3])[:, 2]
        wide = 2.0 * FLIGHT.known.ball_radius_m * FLIGHT.camera.focal_px / depth
        sizes = SeenSizes(since_s, np.log(times * wide), 0.1**2 * np.eye(5) + 0.08**2)
    try:
        _believe_size(FLIGHT, Observations(TRACK, CASE.row_share, sizes=sizes))
    except Rejection as rejection:
        return rejection.reasons[0].code.value
    return ""


@pytest.mark.parametrize(
    ("times", "expected"),
    [(None, ""), (1.0, ""), (1.3, ""), (2.0, "size_disagrees"), (0.5, "size_disagrees")],
)
def test_what_is_far_wider_or_smaller_than_the_ball_is_none(
    times: float | None, expected: str
) -> None:
    """Five widths known to 10 % each, and 8 % for all: 1.3 times lies within what chance does."""
    assert size_reason(times) == expected
