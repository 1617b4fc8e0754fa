"""When and how a ball that may start anywhere came into view."""

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from tracker.measurement.context import ClipContext
from tracker.measurement.flight import Beginning, Flight
from tracker.measurement.sighting import agreeing, course_along, seen_until, sighted
from tracker.records import Candidates, Track

Array = NDArray[np.float64]

LATE_FRAMES, LATE_U_FRAMES, LATE_U_S = 0.5, 1.0, 0.004
"""How long before its first detection a ball in the frame was released, in frames, and its standard
uncertainty in frames and s: what was released between two frames shows in the second, or in the one
after where the launcher or a hand hides it, or in the one before, on its way out."""

EARLIER_SHARE = 0.02
"""How long before its first detection a flight begins that was not released in the frame, in
frames."""

BACK_S, ON_S = 0.35, 0.25
"""How long before and after the beginning of its path a first detection is looked for, s."""

EDGE_FRAMES = 1.6
"""What was outside the frame so shortly before came in over its edge, in frames."""

HIGHEST_M = 3.0
"""Nobody and no launcher releases a ball higher up, m. Common practice, no source."""

LEAST_SNR_SHARE = 0.35
"""A position is the ball's when its signal-to-noise ratio is no less than this share of what it is
later on. From drawn clips."""

OWN_PX = 3.0
"""How near to a measured position a candidate must lie, px, beside the ball's diameter."""


class Entry(Enum):
    """How a ball came into view."""

    INSIDE = "inside"
    EDGE = "edge"
    AIR = "air"
    CLIP = "clip"


@dataclass(frozen=True)
class FirstSight:
    """A ball's first detection.

    Attributes
    ----------
    first_s : float
        True time.
    entry : Entry
        Released inside the frame, come in over its edge, flying when the clip began, or first seen
        up in the air.
    """

    first_s: float
    entry: Entry = Entry.INSIDE

    def beginning(self, frame_s: float) -> Beginning:
        """Return when its flight is taken to begin."""
        if self.entry is not Entry.INSIDE:
            return Beginning(self.first_s - EARLIER_SHARE * frame_s, 0.0)
        u_s = float(np.hypot(LATE_U_FRAMES * frame_s, LATE_U_S))
        return Beginning(self.first_s - LATE_FRAMES * frame_s, u_s)


def first_sight(
    context: ClipContext, flight: Flight, start_s: float, candidates: list[Candidates]
) -> FirstSight:
    """Return a ball's first detection, backwards from a time at which it is known to be seen."""
    frame_s = context.frame_s
    near = [each for each in candidates if start_s - BACK_S <= each.time_s <= start_s + ON_S]
    first_s = start_s
    if near:
        shown, course = course_along(context, flight, near)
        if len(shown) > 1:
            wide = context.with_circumstances(flight.known)
            track, _ = sighted(wide, flight.camera, course, shown, None)
            agrees = agreeing(track, shown, course)
            agrees &= _stands_out(track, shown, context.settings.diameter_px)
            later = track.times_s >= start_s - 1e-9
            if track.snr is not None and np.any(later):
                agrees &= track.snr > LEAST_SNR_SHARE * np.median(track.snr[later])
            first_s = seen_until(shown, track, agrees, start_s, forward=False)
    before = flight.path(np.array([first_s - EDGE_FRAMES * frame_s]))
    if not flight.camera.in_frame(before)[0]:
        return FirstSight(first_s, Entry.EDGE)
    if flight.states(np.array([first_s]))[0, 2] > HIGHEST_M:
        return FirstSight(first_s, Entry.AIR)
    earliest = float(context.facts.times_s[0]) + (2 + context.settings.lag) * frame_s
    return FirstSight(first_s, Entry.CLIP if first_s <= earliest else Entry.INSIDE)


def _stands_out(track: Track, shown: list[Candidates], diameter_px: float) -> NDArray[np.bool_]:
    """Return which positions have a candidate in their own frame.

    In the frame before a ball appears its picture is fitted to what the next one shows.
    """
    by_frame = {each.frame: each.pixels for each in shown}
    reach = OWN_PX + diameter_px
    return np.array(
        [
            np.linalg.norm(by_frame[frame] - place, axis=1).min(initial=np.inf) < reach
            for frame, place in zip(track.frames.tolist(), track.pixels, strict=True)
        ],
        bool,
    )
