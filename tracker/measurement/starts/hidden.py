"""How long a ball flew before it was first seen: where its background hides it, nobody can say.

A ball that crosses a background of its own brightness is not detected there, so not having been
seen says nothing. The fitted flight is walked back from the first position, and in every frame it
is asked whether a ball would have been seen at that place.
"""

import numpy as np
from numpy.typing import NDArray

from tracker.measurement.context import ClipContext
from tracker.measurement.flight import Flight
from tracker.measurement.sighting import SAME_S, course_along, crossing_of
from tracker.measurement.starts.ends import Ends, led_s
from tracker.measurement.starts.untaped_start import Hidden
from tracker.measurement.visibility import chances
from tracker.records import Candidates, Track

Array = NDArray[np.float64]

HIDDEN_S = 0.25
"""Longest time for which a ball may have flown unseen, s: what flew longer has come down by half
the height of a release. Common practice, no source."""


def hidden_before(
    flight: Flight,
    context: ClipContext,
    candidates: list[Candidates],
    track: Track,
    ends: Ends,
) -> Hidden:
    """Return how long before its first position a ball flew.

    A hand may have led it for a while then (`led_s`): as likely as a launcher, which hides it.

    Parameters
    ----------
    flight : Flight
        Fitted to the path.
    context : ClipContext
    candidates : list of Candidates
        Of the second pass, near the flight.
    track : Track
        The ball's positions.
    ends : Ends
        With the frames in which something else, or the ball, is on its way.
    """
    led = 0.5 * led_s(flight, context.frame_s)
    first_s = float(track.times_s[0])
    about = [
        each
        for each in candidates
        if first_s - HIDDEN_S <= each.time_s <= track.times_s[-1] + SAME_S
    ]
    shown, course = course_along(context, flight, about)
    wide = context.with_circumstances(flight.known)
    crossing = crossing_of(wide, flight.camera, shown, course, None)
    chance = chances(track, np.ones(len(track.frames), bool), crossing)
    if chance is None:
        return Hidden(-led, led)
    before = np.array([each.time_s < first_s - SAME_S for each in shown], bool)
    # What lies on its way with another contrast may be the ball, before another background.
    chance[np.isin([each.frame for each in shown], ends.unlike)] = 0.0
    ago_s = first_s - np.array([each.time_s for each in shown])[before]
    mean_s, u_s = unseen_s(ago_s[::-1], chance[before][::-1])
    return Hidden(mean_s - led, float(np.hypot(u_s, led)))


def unseen_s(ago_s: Array, chance: Array) -> tuple[float, float]:
    """Return how long a ball flew unseen before its first position: mean and uncertainty, s.

    Any beginning is as likely as another before; one that lies so many frames back is as much less
    likely as the ball would have been seen in those.

    Parameters
    ----------
    ago_s : ndarray, shape (N,)
        How long before that position each earlier frame is, rising, s.
    chance : ndarray, shape (N,)
        Probability that the ball would have been detected there.
    """
    weight = np.append(1.0, np.cumprod(1.0 - chance))
    ago = np.append(0.0, ago_s)
    mean = float(np.sum(weight * ago) / np.sum(weight))
    variance = float(np.sum(weight * (ago - mean) ** 2) / np.sum(weight))
    return mean, float(np.sqrt(variance))
