"""A second pass through a clip, for a closer look near the flights that a first one found."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from tracker.detection import SearchSettings
from tracker.measurement.context import ClipContext, frame_interval_s
from tracker.measurement.passes import FramePass, Observers, Timing
from tracker.measurement.renewals import Renewals
from tracker.records import Candidates
from tracker.video import ClipFacts

Near = Callable[[Candidates], NDArray[np.bool_]]

LEARNING_FRAMES = 12
"""Frames before a flight, beside twice the lag, in which the finder learns the usual contrast."""

NEAR_PX, USUAL_WIDTH_PX = 60.0, 1920.0
"""How far from the expected path candidates are kept, px in a frame of this width."""


@dataclass(frozen=True)
class Window:
    """When and where a flight is looked for.

    Attributes
    ----------
    begin_s, end_s : float
        True times in the clip.
    near : callable
        Gives which of a frame's candidates are kept.
    """

    begin_s: float
    end_s: float
    near: Near


def candidates_in(
    windows: Sequence[Window],
    context: ClipContext,
    timing: Timing,
    observers: Observers,
    renewed_s: Sequence[float] = (),
) -> list[list[Candidates]]:
    """Pass through a clip and return, for each window, the candidates in it.

    Parameters
    ----------
    windows : sequence of Window
    context : ClipContext
        With any camera of about the true focal length, for the correction of its motion.
    timing : Timing
    observers : Observers
    renewed_s : sequence of float
        True times of the frames from which on another is held against the later ones.
    """
    renewals = Renewals(times_s=list(renewed_s))
    loop = FramePass(context.facts, context.camera, context.settings, timing, renewals=renewals)
    return _gathered(windows, loop, observers)


def candidates_of_part(
    window: Window, context: ClipContext, camera: Camera, observers: Observers
) -> list[Candidates]:
    """Read only the part of a clip that holds a window, and return the candidates in it.

    Parameters
    ----------
    window : Window
    context : ClipContext
    camera : Camera
        As of `candidates_in`.
    observers : Observers
    """
    facts, timing = context.facts, Timing.of_file(context.facts)
    begin_s = window.begin_s - _lead_s(facts, context.settings)
    first, after = np.searchsorted(timing.times_s, [begin_s, window.end_s])
    span = (int(first), min(int(after), facts.frame_count - 1))
    loop = FramePass(facts, camera, context.settings, timing, span=span)
    return _gathered([window], loop, observers)[0]


def _gathered(
    windows: Sequence[Window], loop: FramePass, observers: Observers
) -> list[list[Candidates]]:
    lead_s = _lead_s(loop.facts, loop.settings)

    def wanted(time_s: float) -> bool:
        return any(each.begin_s - lead_s <= time_s <= each.end_s for each in windows)

    loop.wanted = wanted
    gathered: list[list[Candidates]] = [[] for _ in windows]
    for candidates in loop.candidates(observers.progress_only):
        for window, kept in zip(windows, gathered, strict=True):
            if window.begin_s - lead_s <= candidates.time_s <= window.end_s:
                kept.append(part(candidates, window.near(candidates)))
    return gathered


def _lead_s(facts: ClipFacts, settings: SearchSettings) -> float:
    """Return how long before a window the finder begins to learn."""
    return (2 * settings.lag + LEARNING_FRAMES) * frame_interval_s(facts)


def reach_px(facts: ClipFacts) -> float:
    """Return how far from an expected path candidates are kept."""
    return NEAR_PX * max(1.0, facts.size_px[0] / USUAL_WIDTH_PX)


def part(candidates: Candidates, kept: NDArray[np.bool_]) -> Candidates:
    """Return the chosen candidates of a frame."""
    return candidates.part(np.flatnonzero(kept))
