"""What a clip without a shot shows where nothing was taped, and the paths that were no throws."""

from collections.abc import Sequence

import numpy as np

from tracker.following.arcs import Arc
from tracker.measurement.context import ClipContext
from tracker.measurement.scouting import Scouted
from tracker.measurement.starts.gravity_scale import SPEEDS_MPS
from tracker.measurement.starts.hypotheses import bends
from tracker.measurement.starts.thrown import rejected_throw
from tracker.measurement.throws import Throw
from tracker.records import Reason, ReasonCode, RejectedCandidate

NEAREST_M, FARTHEST_M = 5.0, 100.0
"""From how far a ball is filmed, m: limits to how slow a slow file may be. Common practice, no
source."""

BY_DISTANCE = {
    ReasonCode.NO_FIT,
    ReasonCode.IMPLAUSIBLE,
    ReasonCode.DISTANCE_IMPLAUSIBLE,
    ReasonCode.SPEED_IMPLAUSIBLE,
}
"""What is said of a throw whose distance came out wrong."""

MOST_PATHS = 20
"""Paths that are listed of those that are no throws: the longest. A matter of looks."""


def why_no_throw(
    rejected: Sequence[RejectedCandidate],
    context: ClipContext,
    scouted: Scouted,
    position_known: bool = True,
) -> tuple[Reason, ...]:
    """Return the likeliest cause of a clip in which no throw was measured.

    Parameters
    ----------
    rejected : sequence of RejectedCandidate
        Throws that were rejected.
    context : ClipContext
        With the presumed camera.
    scouted : Scouted
    position_known : bool
        Whether the camera's position is stated. Without it a fit may not find the right distance.
    """
    slow = [arc for arc in (scouted.arcs[at] for at in scouted.slow) if bends(arc)]
    if slow:
        return (_falls_slowly(slow, context),)
    if rejected:
        longest = max(rejected, key=lambda each: each.frames_seen)
        at_s = {"release_s": longest.release_s}
        speed = longest.reasons[0].numbers.get("speed_mps", SPEEDS_MPS[0])
        if speed < SPEEDS_MPS[0]:
            numbers = {**at_s, "speed_mps": speed, "least_mps": SPEEDS_MPS[0]}
            return (Reason(ReasonCode.LET_GO, numbers),)
        open_ = not position_known and any(each.code in BY_DISTANCE for each in longest.reasons)
        advice = (Reason(ReasonCode.CAMERA_PRESUMED),) if open_ else ()
        return Reason(ReasonCode.NO_THROW_MEASURED, at_s), *longest.reasons, *advice
    if len(scouted.arcs) < 2:
        return (Reason(ReasonCode.NOTHING_FALLS),)
    return (Reason(ReasonCode.NO_PATH_FALLS, {"paths": len(scouted.arcs)}),)


def other_paths(
    throws: Sequence[Throw], context: ClipContext, scouted: Scouted
) -> list[RejectedCandidate]:
    """Return the longest paths of the first pass that are no part of a throw, each with the reason.

    Parameters
    ----------
    throws : sequence of Throw
        What was measured or rejected already.
    context : ClipContext
    scouted : Scouted
    """
    covered = {frame for throw in throws for frame in _places(throw.arc)}
    left = [arc for arc in scouted.arcs if not covered.intersection(_places(arc))]
    left.sort(key=lambda arc: -len(arc.frames))
    reason = Reason(ReasonCode.DOES_NOT_FALL)
    return [
        rejected_throw(Throw(arc, None), context, scouted.frame_s, reason)
        for arc in left[:MOST_PATHS]
    ]


def _places(arc: Arc) -> list[tuple[float, ...]]:
    return [tuple(row) for row in np.column_stack([arc.frames, arc.pixels]).tolist()]


def _falls_slowly(arcs: Sequence[Arc], context: ClipContext) -> Reason:
    """Return that something falls too slowly for life speed, and how slow the file may be."""
    fall = float(np.median([arc.acceleration_pxps2[1] for arc in arcs]))
    away = context.camera.focal_px * context.circumstances.forces.gravity_mps2 / fall
    least, most = np.sqrt(away / FARTHEST_M), np.sqrt(away / NEAREST_M)
    return Reason(ReasonCode.FALLS_SLOWLY, {"away": away, "least": least, "most": most})
