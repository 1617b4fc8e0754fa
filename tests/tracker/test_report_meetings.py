"""Where a path meets detections, and which of its frames are shown."""

from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from numpy.typing import NDArray

from tracker.records import FlightPath
from tracker.report.meetings import INSTANTS, aside, crossed, evenly, met
from tracker.video import ClipFacts

TIMES_S = np.arange(100) / 50.0
FACTS = cast(ClipFacts, SimpleNamespace(times_s=TIMES_S, size_px=(1920, 1080)))
PIXELS = np.column_stack([20.0 * np.arange(100), np.full(100, 500.0)])
"""A path that leaves the frame at its right edge after frame 95."""


def path_of() -> FlightPath:
    end = PIXELS[-1]
    return FlightPath(TIMES_S, np.zeros((100, 3)), PIXELS, PIXELS[0], PIXELS[50], end)


def detected(offsets: NDArray[np.float64]) -> object:
    """Detections in every frame, so far off the path."""

    def between(first_s: float, last_s: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        during = (first_s <= TIMES_S) & (last_s >= TIMES_S)
        return TIMES_S[during], (PIXELS + offsets)[during]

    return between


def test_the_frames_of_a_flight_are_those_in_which_it_is_in_the_frame() -> None:
    assert crossed(FACTS, path_of()) == 96


@pytest.mark.parametrize(("off", "count"), [((3.9, -3.9), 96), ((4.1, 0.0), 0), ((0.0, 4.1), 0)])
def test_a_path_meets_what_lies_beside_it(off: tuple[float, float], count: int) -> None:
    between = detected(np.array(off))
    assert len(met(FACTS, between, (TIMES_S, PIXELS), 4.0)) == count  # type: ignore[arg-type]


def test_a_path_out_of_the_frame_meets_nothing() -> None:
    gone = (TIMES_S, PIXELS + np.array([0.0, 5000.0]))
    assert len(met(FACTS, detected(np.zeros(2)), gone, 9e9)) == 0  # type: ignore[arg-type]


def test_chance_is_counted_above_and_below_the_path() -> None:
    """Half of the frames where detections lie 40 px below it, none where they lie on it."""
    assert aside(FACTS, detected(np.array([0.0, 40.0])), path_of()) == 48.0  # type: ignore[arg-type]
    assert aside(FACTS, detected(np.zeros(2)), path_of()) == 0.0  # type: ignore[arg-type]


@pytest.mark.parametrize("found", [{40, 41, 42}, set(range(100)) - {7, 8}, {3}])
def test_frames_of_both_kinds_are_shown_where_both_are(found: set[int]) -> None:
    shown = evenly(range(100), frozenset(found))
    kinds = {frame in found for frame in shown}
    assert kinds == {True, False}
    assert len(shown) == INSTANTS and shown == sorted(set(shown))


def test_frames_of_one_kind_are_shown_evenly() -> None:
    shown = evenly(range(100), frozenset())
    assert len(shown) == INSTANTS and (shown[0], shown[-1]) == (0, 99)
    assert np.ptp(np.diff(shown)) <= 1
