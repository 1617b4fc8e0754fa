"""Where a path through the frame meets detections, and which of its frames are shown."""

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from tracker.records import FlightPath
from tracker.video import ClipFacts

Array = NDArray[np.float64]
Between = Callable[[float, float], tuple[Array, Array]]
"""Gives times, shape (N,), and pixels, shape (N, 2), of the detections of a time span, s."""

INSTANTS = 12
"""Close-ups in a row of the picture; a matter of looks."""

NEAR_PX, ASIDE_PX = 4.0, 40.0
"""Distance from a flight within which a detection counts as beside it, px in a frame 1920 pixels
wide, twice the ball; and how far the flight is moved to see how often chance alone does so."""

TOUCH_S = 0.001
"""Time beyond the first and last sighting that belongs to the flight, s; under one frame."""


def crossed(facts: ClipFacts, path: FlightPath) -> int:
    """Return in how many frames of the clip a flight is inside the frame."""
    times = facts.times_s
    times = times[(times >= path.times_s[0]) & (times <= path.times_s[-1])]
    at = np.column_stack([np.interp(times, path.times_s, axis) for axis in path.pixels.T])
    return int(np.all((at >= -0.5) & (at < np.array(facts.size_px) - 0.5), axis=1).sum())


def met(
    facts: ClipFacts, between: Between, path: tuple[Array, Array], reach_px: float, down: float = 0
) -> Array:
    """Return the times at which a detection lies beside a path: so far off in columns and rows.

    `path` has times, shape (N,), and pixels, shape (N, 2); `down` moves it by so many rows.
    """
    times_s, pixels = path
    shown = np.all((pixels >= 0) & (pixels < np.array(facts.size_px)), axis=1)
    if not np.any(shown):
        return np.zeros(0)
    times_s, pixels = times_s[shown], pixels[shown]
    seen_s, seen = between(float(times_s[0]) - TOUCH_S, float(times_s[-1]) + TOUCH_S)
    at = np.column_stack([np.interp(seen_s, times_s, axis) for axis in pixels.T])
    near = np.abs(seen - at - (0.0, down)).max(axis=1, initial=0.0) <= reach_px
    return np.asarray(np.unique(seen_s[near]))


def aside(facts: ClipFacts, between: Between, path: FlightPath) -> float:
    """Return in how many frames the path meets a detection where it is moved up or down."""
    scale = max(1.0, max(facts.size_px) / 1920)
    counts = [
        len(met(facts, between, (path.times_s, path.pixels), NEAR_PX * scale, down * scale))
        for down in (-ASIDE_PX, ASIDE_PX)
    ]
    return sum(counts) / len(counts)


def frames_between(facts: ClipFacts, first_s: float, last_s: float) -> list[int]:
    """Return the frames of a time span, the nearest where there is none."""
    inside = (facts.times_s >= first_s - TOUCH_S) & (facts.times_s <= last_s + TOUCH_S)
    return np.flatnonzero(inside).tolist() or [frame_at(facts, first_s)]


def evenly(frames: Sequence[int], found: frozenset[int]) -> list[int]:
    """Return the frames that are shown: some evenly in time, and of either kind, found or not.

    Where frames that are evenly spaced would all be of one kind, half of the places go to the
    other.
    """
    spread = some(frames, INSTANTS)
    kinds = [[each for each in frames if (each in found) == seen] for seen in (True, False)]
    shown = {each in found for each in spread}
    if all(kinds) and len(shown) == 1:
        fewer = min(kinds, key=len)
        other = some(fewer, INSTANTS // 2)
        more = max(kinds, key=len)
        spread = sorted([*other, *some(more, INSTANTS - len(other))])
    return spread


def some(frames: Sequence[int], most: int) -> list[int]:
    """Return some of the frames, evenly."""
    at = np.unique(np.linspace(0, len(frames) - 1, min(most, len(frames))).round().astype(int))
    return [frames[each] for each in at.tolist()]


def frame_at(facts: ClipFacts, moment_s: float) -> int:
    """Return the frame nearest to a true time."""
    return int(np.argmin(np.abs(facts.times_s - moment_s)))
