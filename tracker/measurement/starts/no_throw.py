"""What a clip without a shot shows where nothing was taped, and the paths that were no throws."""

from collections.abc import Sequence

import numpy as np

from tracker.following.arcs import Arc, fit_arc
from tracker.following.throws import (
    LEAST_DURATION_S,
    LEAST_POSITIONS,
    NEAR_DURATION_S,
    falls_briefly,
)
from tracker.measurement.context import ClipContext
from tracker.measurement.scouting import MOST_LOST, Scouted
from tracker.measurement.starts.gravity_scale import AWAY_M, SPEEDS_MPS
from tracker.measurement.starts.not_believed import not_believed
from tracker.measurement.starts.slow_files import seen_pace, slow_arcs
from tracker.measurement.starts.thrown import rejected_throw
from tracker.measurement.throws import Throw
from tracker.records import Reason, ReasonCode, RejectedCandidate

NEAREST_M, FARTHEST_M = 5.0, 100.0
"""From how far a ball is filmed, m: limits to how slow a slow file may be. Common practice, no
source."""

SAID_RATES, LEAST_SLOWER = (60.0, 120.0, 240.0, 480.0, 960.0), 1.5
"""Rates of which the likeliest is named to who plays slow motion, frames a second, and the least
ratio of one to the file's. Common practice, no source."""

BY_DISTANCE = {
    ReasonCode.NO_FIT,
    ReasonCode.IMPLAUSIBLE,
    ReasonCode.DISTANCE_IMPLAUSIBLE,
    ReasonCode.SPEED_IMPLAUSIBLE,
}
"""What is said of a throw whose distance came out wrong."""

AT_CUT_FRAMES = 2.5
"""A path that begins or ends so near to the clip's beginning or end was cut, in frames."""

BALLS_M, DIAMETER_FACTOR = (0.03, 0.3), 1.6
"""Diameters of the balls that are thrown, m, and the factor to which size and fall give a ball's
diameter: sizes are looked for in steps of two."""

LEAST_SOUND = 2.0 / 3.0
"""Share of a clip's frames that must have come undamaged for anything else to be named: a throw may
lie in the others. Common practice, no source."""

LONG_FLIGHT_S = 2.0
"""How long a ball of a launcher flies, s: a higher lob is rare. Common practice, no source."""

MOST_PATHS = 20
"""Paths that are listed of those that are no throws: the longest. A matter of looks."""


def why_no_throw(
    rejected: Sequence[RejectedCandidate],
    context: ClipContext,
    scouted: Scouted,
    position_known: bool = True,
) -> tuple[Reason, ...]:
    """Return the likeliest cause of a clip in which no throw was measured.

    Another ball than the stated one is only presumed: where that gives no shot either, what
    follows it holds.

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
    hidden = unreadable(scouted) or no_room(scouted)
    if hidden is not None:
        return (hidden,)
    slow = slow_arcs(scouted)
    if slow:
        return (_falls_slowly(slow, context, seen_pace(scouted)),)
    another = _another_ball(rejected, context, scouted)
    otherwise = _of_this_ball(rejected, context, scouted, position_known)
    return otherwise if another is None else (another, *otherwise)


def _of_this_ball(
    rejected: Sequence[RejectedCandidate],
    context: ClipContext,
    scouted: Scouted,
    position_known: bool,
) -> tuple[Reason, ...]:
    """Return the likeliest cause where what falls is the ball that is stated."""
    if rejected:
        longest = max(rejected, key=lambda each: each.frames_seen)
        speed = longest.reasons[0].numbers.get("speed_mps", SPEEDS_MPS[0])
        if speed < SPEEDS_MPS[0]:
            numbers = {
                "release_s": longest.release_s,
                "speed_mps": speed,
                "least_mps": SPEEDS_MPS[0],
            }
            return (Reason(ReasonCode.LET_GO, numbers),)
        if _unlike_life(longest) and context.facts.pace == 1.0:
            rows = np.arange(len(longest.times_s)), longest.times_s, longest.pixels
            arc = fit_arc(np.column_stack(rows), scouted.frame_s)
            if _away_m(arc, context) > FARTHEST_M:
                return (_falls_slowly([arc], context),)
        open_ = not position_known and any(each.code in BY_DISTANCE for each in longest.reasons)
        advice = (Reason(ReasonCode.CAMERA_PRESUMED),) if open_ else ()
        return not_believed(longest, context.facts.pace), *advice
    return (_without_a_throw(context, scouted),)


def unreadable(scouted: Scouted) -> Reason | None:
    """Return that too much of a clip is damaged to say anything else of it, None where it is not.

    Parameters
    ----------
    scouted : Scouted
    """
    if scouted.sound_share >= LEAST_SOUND:
        return None
    return Reason(ReasonCode.FRAMES_UNREAD, {"percent": 100.0 * (1.0 - scouted.sound_share)})


def no_room(scouted: Scouted) -> Reason | None:
    """Return why no throw can show in a clip, whatever it shows; None where one can.

    It is shorter than any throw, or its frames come so far apart that a flight shows in too few.

    Parameters
    ----------
    scouted : Scouted
    """
    lasts_s = float(np.ptp(scouted.timing.times_s)) + scouted.frame_s
    if lasts_s < NEAR_DURATION_S:
        return Reason(ReasonCode.CLIP_TOO_SHORT, {"lasts_s": lasts_s, "least_s": NEAR_DURATION_S})
    if scouted.frame_s * LEAST_POSITIONS <= LONG_FLIGHT_S:
        return None
    numbers = {"apart_s": scouted.frame_s, "least": LEAST_POSITIONS}
    return Reason(ReasonCode.FRAMES_FAR_APART, numbers)


def _another_ball(
    rejected: Sequence[RejectedCandidate], context: ClipContext, scouted: Scouted
) -> Reason | None:
    """Return that what falls longest falls as a ball of another size than stated, or None."""
    stated_m = 2.0 * context.circumstances.ball_radius_m
    others = [each for each in scouted.others if BALLS_M[0] < stated_m * each[1] < BALLS_M[1]]
    if not others or scouted.lost_share > MOST_LOST:
        return None
    arc, times = max(others, key=lambda each: len(each[0].frames))
    if any(each.frames_seen >= len(arc.frames) for each in rejected):
        return None
    numbers = {
        "release_s": float(arc.times_s[0]) * context.facts.pace,
        "least_cm": 100.0 * stated_m * times / DIAMETER_FACTOR,
        "most_cm": 100.0 * stated_m * times * DIAMETER_FACTOR,
        "stated_cm": 100.0 * stated_m,
    }
    return Reason(ReasonCode.ANOTHER_BALL, numbers)


def _unlike_life(rejected: RejectedCandidate) -> bool:
    """Return whether a throw is too fast or too far away for a ball, as one in slow motion is."""
    numbers = rejected.reasons[0].numbers
    speed, away = numbers.get("speed_mps", 0.0), numbers.get("away_m", 0.0)
    return speed > SPEEDS_MPS[1] or away > AWAY_M[1]


def _without_a_throw(context: ClipContext, scouted: Scouted) -> Reason:
    """Return the likeliest cause where no path was taken for a throw."""
    if scouted.lost_share > MOST_LOST:
        return Reason(ReasonCode.CAMERA_UNSTEADY, {"percent": 100.0 * scouted.lost_share})
    width, frame_s = context.facts.size_px[0], scouted.frame_s
    brief = [*scouted.brief, *(arc for arc in scouted.arcs if falls_briefly(arc, width, frame_s))]
    if brief:
        return _too_brief(max(brief, key=lambda arc: len(arc.frames)), context, scouted)
    if len(scouted.arcs) < 2:
        return Reason(ReasonCode.NOTHING_FALLS)
    return Reason(ReasonCode.NO_PATH_FALLS, {"paths": len(scouted.arcs)})


def _too_brief(arc: Arc, context: ClipContext, scouted: Scouted) -> Reason:
    """Return that what falls along a path shows too briefly, and whether the clip was cut there."""
    begin_s, end_s = float(arc.times_s[0]), float(arc.times_s[-1])
    numbers = {"release_s": begin_s * context.facts.pace, "lasts_s": end_s - begin_s}
    if end_s - begin_s >= LEAST_DURATION_S and len(arc.frames) >= LEAST_POSITIONS:
        return Reason(ReasonCode.FALLS_ASLANT, numbers)
    room_s = AT_CUT_FRAMES * scouted.frame_s
    times = scouted.timing.times_s
    if begin_s < times[0] + room_s or end_s > times[-1] - room_s:
        return Reason(ReasonCode.FALLS_AT_CUT, numbers)
    numbers |= {"frames": len(arc.frames), "least_s": LEAST_DURATION_S, "least": LEAST_POSITIONS}
    return Reason(ReasonCode.FALLS_BRIEFLY, numbers)


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


def _falls_slowly(
    arcs: Sequence[Arc], context: ClipContext, seen_pace: float | None = None
) -> Reason:
    """Return that something falls too slowly for life speed, and how slow the file may be."""
    away = float(np.median([_away_m(arc, context) for arc in arcs]))
    least, most = np.sqrt(away / FARTHEST_M), np.sqrt(away / NEAREST_M)
    middle_fps = context.facts.file_fps * (seen_pace or np.sqrt(least * most))
    slower = [rate for rate in SAID_RATES if rate > LEAST_SLOWER * context.facts.file_fps]
    rate_fps = min(slower or SAID_RATES, key=lambda rate: abs(np.log(rate / middle_fps)))
    numbers = {"away": away, "least": least, "most": most, "rate_fps": rate_fps}
    return Reason(ReasonCode.FALLS_SLOWLY, numbers)


def _away_m(arc: Arc, context: ClipContext) -> float:
    """Return from how far away a ball is seen that falls along a path at life speed, m."""
    fall = float(arc.acceleration_pxps2[1])
    pull = context.circumstances.forces.gravity_mps2
    return float(context.camera.focal_px * pull / fall) if fall > 0.0 else 0.0
