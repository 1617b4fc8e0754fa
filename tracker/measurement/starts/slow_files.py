"""Bare clips that play slower than life without saying so: a ball's width and fall tell the clock.

Gravity alone does not tell a slow file from one that was filmed from far away. A ball of known
size does: twice as slow, it falls a quarter as fast in its own diameters a second.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tracker.following.arcs import Arc
from tracker.measurement.fitted_shot import FittedShot
from tracker.measurement.scouting import Scouted
from tracker.measurement.starts.hypotheses import bends
from tracker.measurement.starts.protocol import Findings
from tracker.records import Reason, ReasonCode, RejectedCandidate
from tracker.video import ClipFacts

SLOW_RATES = (120.0, 240.0)
"""Rates at which phones take slow motion, frames a second. Common practice, no source."""

LEAST_PACE = 3.0
"""Least ratio of such a rate to that of the file: at twice life's rate, a ball that plays slowly is
as wide as one of the larger balls that there are, four times as large."""

LEAST_TIMES = 6.0
"""How many times as large as stated a ball seems at least that plays so slowly: nine, by its width
and its fall, which are known to a factor of 1.6."""


def slow_arcs(scouted: Scouted) -> list[Arc]:
    """Return what falls far too slowly for life, as in slow motion."""
    return [arc for arc in (scouted.arcs[at] for at in scouted.slow) if bends(arc)]


def seen_pace(scouted: Scouted) -> float | None:
    """Return how many times slower than life what is seen near plays; None where nothing is."""
    times = [each for _, each in scouted.others if each > LEAST_TIMES]
    return float(np.sqrt(np.median(times))) if times else None


def other_clocks(facts: ClipFacts, scouted: Scouted) -> list[ClipFacts]:
    """Return a clip at the rates at which it may have been taken; none where nothing hints at it.

    Parameters
    ----------
    facts : ClipFacts
        With the rate that is stated, if any is.
    scouted : Scouted
        A first pass at life speed.
    """
    hints = slow_arcs(scouted) or seen_pace(scouted)
    if facts.capture_fps is not None or not hints:
        return []
    rates = [rate for rate in SLOW_RATES if rate >= LEAST_PACE * facts.file_fps]
    return [replace(facts, capture_fps=rate, pace=rate / facts.file_fps) for rate in rates]


def on_clock_of(facts: ClipFacts, found: Findings, presumed: ClipFacts) -> Findings:
    """Return what was found at a presumed clock as everything else counts a clip's time.

    Parameters
    ----------
    facts : ClipFacts
        The clip at life speed.
    found : Findings
    presumed : ClipFacts
        The clip as it was taken to play.
    """
    times = presumed.pace / facts.pace
    numbers = {"rate_fps": presumed.pace * facts.file_fps, "times": times}
    found.shots = [_stretched(each, times) for each in found.shots]
    found.rejected = [_stretched_candidate(each, times) for each in found.rejected]
    found.doubt(Reason(ReasonCode.CLOCK_PRESUMED, numbers))
    return found


def _stretched(found: FittedShot, times: float) -> FittedShot:
    path = found.path
    if path is not None:
        path = replace(path, times_s=times * path.times_s)
    points = tuple(replace(each, time_s=times * each.time_s) for each in found.points)
    # What it was made from counts other seconds: it cannot be made again from the clip.
    return replace(found, path=path, points=points, basis=None)


def _stretched_candidate(found: RejectedCandidate, times: float) -> RejectedCandidate:
    return replace(found, times_s=times * found.times_s)


def only_one(tried: Sequence[tuple[ClipFacts, Findings]]) -> tuple[ClipFacts, Findings] | None:
    """Return the one clock at which a ball flies, None where there is none or several."""
    flown = [each for each in tried if each[1].any_shot]
    return flown[0] if len(flown) == 1 else None
