"""Why no shot was found: what the clip shows, and which entry of the session would explain it.

A path that falls as a thrown ball does is fitted again under hypotheses of what was written down
wrongly. Lengths in another unit, and a file that plays slower than life, both change gravity in the
session's units; a start elsewhere, or flights against the firing line, leave it as it is.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment import NotDetermined
from tracker.fitting.parameters import POSITION_AT
from tracker.following.arcs import fit_arc
from tracker.following.throws import LEAST_DURATION_S, trimmed_throw
from tracker.measurement.context import ClipContext
from tracker.measurement.flight import Flight, StartPrior
from tracker.measurement.passes import Observers
from tracker.measurement.scouting import Scouted, Scouting, scout_together
from tracker.measurement.starts.field import Field, first_fit
from tracker.measurement.starts.first_sight import FirstSight
from tracker.measurement.starts.hypotheses import (
    LEAST_FACTOR,
    Hypothesis,
    can_explain,
    hypotheses,
    scaled_context,
)
from tracker.measurement.starts.no_throw import no_room, unreadable
from tracker.measurement.starts.throw_rules import (
    LEAST_USED_SHARE,
    MOST_SCALE,
    SPEEDS_MPS,
    no_throw,
    rolls,
)
from tracker.measurement.throws import Throw, throws_of
from tracker.records import Reason, ReasonCode, RejectedCandidate, Shot

Array = NDArray[np.float64]

MOST_THROWS = 4
"""Paths that are tried: the longest. Chosen for time."""

SLOWER = 8.0
"""Times slower than stated that a file is taken to play where nothing falls: 240 frames a second in
a file that plays 30."""

LEAST_POSITIONS = 12
"""Positions of a path from which a cause is named."""

RELEASE_U_M, BEHIND_U_M = 0.5, 1.0
"""Standard uncertainty of the release, m, with which a path that begins after it may be one from
there: across and up, and along. Common practice, no source."""

LATE_S = 0.3
"""Standard uncertainty of how long after its release a path is first seen, true s: a launcher or
the frame's edge may hide its beginning. Common practice, no source."""

EARLY_FRAMES = 2.0
"""Frames after the first position by which a fit may still place the release: its own
uncertainty. Common practice, no source."""

SAME_PLACE_U, SAME_PLACE_M = 3.0, 0.5
"""A start is elsewhere when it lies farther from the release than this many standard uncertainties
and metres."""

MOST_CHI_SQUARE = 30.0
"""Chi-square of the departures from all priors below which a hypothesis explains a path: its chance
is some 5 % for the twenty priors of a fit."""

MUCH_WORSE = 9.0
"""Chi-square by which the likeliest cause must explain a path better than what was written."""

EARLIER_S, HOPS_S = 0.25, 1.5
"""How long before a rejected flight is released, and after it lands, a path is taken to be its own,
s: one that began before its fit does, or its hop. Common practice, no source."""

ABOVE_M = 1.0
"""Height above the release from which a path that descends is the end of a flight, m. Common
practice, no source."""

BACKWARD_DEG = 90.0
"""Azimuth beyond which a shot flies against the firing line, degrees."""

LEAST_LEVEL_MPS = 1.0
"""Level speed below which a ball hops or drops on the spot, as one that a net has caught does, and
is no shot, m/s. Common practice, no source."""

MOST_ASIDE = 2.0
"""Speed across the firing line, over that along it, up to which a ball may be a shot, whatever was
written wrongly. Common practice, no source."""

NEARLY = 14.0
"""Log-likelihood ratio of a flight from the release from which it was a ball's, seen too briefly:
half of what a shot needs. Common practice, no source."""


def causes_of_no_shot(
    context: ClipContext, field: Field, observers: Observers, rejected: Sequence[Shot] = ()
) -> tuple[Reason, ...]:
    """Return the likeliest cause of a clip without a shot, with its numbers; one is enough.

    Parameters
    ----------
    context : ClipContext
        With the session's camera and release.
    field : Field
        The taped field.
    observers : Observers
    rejected : sequence of Shot
        As of `causes_in`.
    """
    clips = (context.facts, otherwise_paced(context).facts)
    scouted, slow = scout_together(clips, context.camera, observers.progress_only, falls_only=True)
    return causes_in(scouted, slow, context, field, rejected)


def scouting_along(context: ClipContext) -> Scouting:
    """Return what scouts a clip for its cause while another pass goes through it.

    It stops where the camera moves, since following its motion twice would take long.
    """
    clips = context.facts, otherwise_paced(context).facts
    scouting = Scouting(clips, context.camera, falls_only=True)
    for loop in scouting.loops:
        loop.while_still = True
    return scouting


def causes_in(
    scouted: Scouted,
    slow: Scouted,
    context: ClipContext,
    field: Field,
    rejected: Sequence[Shot] = (),
    short: Sequence[RejectedCandidate] = (),
) -> tuple[Reason, ...]:
    """Return the likeliest cause that the scouted paths of a clip show.

    Parameters
    ----------
    scouted, slow : Scouted
        At the stated pace, and at the other of `otherwise_paced`.
    context, field
        As of `causes_of_no_shot`.
    rejected : sequence of Shot
        Rejected rows, each of which states its reason: what falls along one, or after it as its
        hop does, did not start elsewhere. What begins with one that something else explains may.
    short : sequence of RejectedCandidate
        Flights from the release with too little support; the same holds for what falls after one.
    """
    damaged = unreadable(scouted)
    if damaged is not None:
        return (damaged,)
    throws, frame_s = candidates_of(scouted, context), scouted.frame_s
    pace = context.facts.pace
    if not throws:
        paced = otherwise_paced(context)
        throws, frame_s = restated_candidates(slow, paced, paced.facts.pace / pace)
    only = tuple(
        Reason(ReasonCode.ONLY_REJECTED, {"release_s": shot.release_s}) for shot in rejected[:1]
    )
    nearly = [each for each in short if each.support >= NEARLY and _is_brief(each)]
    only = only or tuple(_seen_briefly(each, context) for each in nearly[:1])
    flights = [(shot.release_s / pace, shot.flight_time_s or 0.0) for shot in rejected]
    flights += [(each.release_s / pace, float(np.ptp(each.times_s))) for each in nearly]
    if not throws:
        nothing = no_room(scouted) or Reason(ReasonCode.NOTHING_FALLS)
        return only or (nothing,)
    found: list[tuple[float, Reason]] = []
    for throw in throws:
        own = any(_instead(throw, shot, pace) for shot in rejected)
        own = own or not any(_along(throw, *flight) for flight in flights)
        cause = likeliest(context, field, throw, frame_s, own)
        if cause is not None:
            found.append(cause)
    if found:
        return (min(found, key=lambda each: each[0])[1],)
    if only:
        return only
    at_s = float(throws[0].arc.times_s[0]) * context.facts.pace
    return (Reason(ReasonCode.FALLS_OTHERWISE, {"release_s": at_s}),)


def _along(throw: Throw, release_s: float, flight_s: float) -> bool:
    """Return whether a path begins while a ball flies, or hops after it."""
    since_s = float(throw.arc.times_s[0]) - release_s
    return -EARLIER_S < since_s < flight_s + HOPS_S


def _instead(throw: Throw, shot: Shot, pace: float) -> bool:
    """Return whether a path begins as a row is released that is no ball's all the way.

    A ball from elsewhere crosses a flight from the stated release for a while.
    """
    other = any(each.code is ReasonCode.SOMETHING_ELSE for each in shot.reasons)
    return other and abs(float(throw.arc.times_s[0]) - shot.release_s / pace) < EARLIER_S


def _is_brief(flight: RejectedCandidate) -> bool:
    """Return whether a flight lacks nothing but frames."""
    chance = all(each.code is ReasonCode.CHANCE for each in flight.reasons)
    return chance and flight.frames_seen < LEAST_POSITIONS


def _seen_briefly(flight: RejectedCandidate, context: ClipContext) -> Reason:
    numbers = {
        "release_s": flight.release_s,
        "lasts_s": flight.frames_seen * context.frame_s,
        "frames": float(flight.frames_seen),
        "least_s": LEAST_DURATION_S,
        "least": float(LEAST_POSITIONS),
    }
    return Reason(ReasonCode.FALLS_BRIEFLY, numbers)


def otherwise_paced(context: ClipContext) -> ClipContext:
    """Return the context of a clip taken to play far slower than stated.

    Where it is stated to play slower than life, it is taken to play at life speed.
    """
    stated = context.facts.pace
    pace = 1.0 if stated > LEAST_FACTOR else SLOWER * stated
    return replace(context, facts=replace(context.facts, pace=pace))


def candidates_of(scouted: Scouted, context: ClipContext) -> list[Throw]:
    """Return the longest paths that fall as a thrown ball does, however slowly."""
    throws = list(throws_of(scouted, context.facts.size_px[0], trimmed_throw))
    throws += [Throw(scouted.arcs[at], None) for at in scouted.slow]
    long = [each for each in throws if len(each.arc.frames) >= LEAST_POSITIONS]
    moving = [each for each in long if not rolls(each.arc, context.camera)]
    return sorted(moving, key=lambda each: -len(each.arc.frames))[:MOST_THROWS]


def restated_candidates(
    scouted: Scouted, paced: ClipContext, times: float
) -> tuple[list[Throw], float]:
    """Return what falls as a thrown ball does in a clip taken to play at another pace.

    In slow motion that nobody stated a ball hardly leaves its own place between two frames. The
    clip is looked at as one at the other pace, and its paths are restated in the stated times, with
    the time between the frames looked at.

    Parameters
    ----------
    scouted : Scouted
        Of the clip at the other pace.
    paced : ClipContext
        With the facts of the clip at that pace.
    times : float
        That pace over the stated one.
    """
    found = candidates_of(scouted, paced)
    frame_s = times * scouted.frame_s
    rows = (
        np.column_stack([each.arc.frames, times * each.arc.times_s, each.arc.pixels])
        for each in found
    )
    return [Throw(fit_arc(each, frame_s), None) for each in rows], frame_s


@dataclass(frozen=True)
class _Spot:
    """A place to start from, as `first_fit` asks for it."""

    prior: StartPrior


@dataclass(frozen=True)
class _Explanation:
    """A flight that explains a path under a hypothesis, and how badly it does."""

    cost: float
    hypothesis: Hypothesis
    flight: Flight


def likeliest(
    context: ClipContext, field: Field, throw: Throw, frame_s: float, elsewhere: bool = True
) -> tuple[float, Reason] | None:
    """Return the cost of the likeliest cause of a path, and the cause; None where none explains it.

    The flight may start at the release or anywhere on the field, in the session's units or in
    those of a hypothesis; all of these compete.

    Parameters
    ----------
    context : ClipContext
    field : Field
    throw : Throw
    frame_s : float
        True time between the frames of the first pass.
    elsewhere : bool
        Whether it may start elsewhere, or fly the other way.
    """
    tried = _explanations(context, field, throw, frame_s)
    written = [each for each in tried if each.hypothesis.reason is None]
    as_written = min(written, key=lambda each: each.cost, default=None)
    limit = np.inf if as_written is None else as_written.cost - MUCH_WORSE
    better = [each for each in tried if each.hypothesis.reason and each.cost < limit]
    if better:
        best = min(better, key=lambda each: each.cost)
        assert best.hypothesis.reason is not None
        return best.cost, best.hypothesis.reason
    if as_written is None or not elsewhere:
        return None
    reason = _where(as_written.flight, context)
    return None if reason is None else (as_written.cost, reason)


def _explanations(
    context: ClipContext, field: Field, throw: Throw, frame_s: float
) -> list[_Explanation]:
    """Return every flight that explains a path, from the release or from anywhere."""
    release = context.circumstances.release_m
    from_release = StartPrior(release, np.array([BEHIND_U_M, RELEASE_U_M, RELEASE_U_M]))
    # What may start anywhere can be fitted to more: the prior's volume counts against it.
    freedom = 2.0 * float(np.sum(np.log(field.prior.u_m / from_release.u_m)))
    found = []
    for prior, on_line, handicap in ((from_release, True, 0.0), (field.prior, False, freedom)):
        for hypothesis in hypotheses(context):
            if not can_explain(hypothesis, throw.arc, context, field, on_line):
                continue
            late_s = LATE_S * hypothesis.slower if on_line else 0.0
            scaled = scaled_context(context, hypothesis)
            flight = _fitted(scaled, _Spot(prior), throw, frame_s, late_s)
            if flight is None or not _explains(flight, hypothesis):
                continue
            # Seen late is possible, seen before its release is not.
            if on_line and flight.release_s > throw.arc.times_s[0] + EARLY_FRAMES * frame_s:
                continue
            as_written = hypothesis.reason is None and not on_line
            if as_written and no_throw(flight, field, float(release[2]), flight.first_s):
                continue
            scatter = float(np.sum(flight.fitted.used)) * float(np.log(flight.fitted.scale))
            cost = flight.prior_chi_square + scatter + handicap
            found.append(_Explanation(cost, hypothesis, flight))
    return found


def _fitted(
    context: ClipContext, spot: _Spot, throw: Throw, frame_s: float, late_s: float
) -> Flight | None:
    """Return the flight that fits a path, which was first seen up to some time after its start."""
    beginning = FirstSight(float(throw.arc.times_s[0])).beginning(frame_s)
    beginning = replace(beginning, u_s=float(np.hypot(beginning.u_s, late_s)))
    try:
        return first_fit(context, spot, throw, beginning, frame_s)
    except (NotDetermined, np.linalg.LinAlgError):
        return None


def _explains(flight: Flight, hypothesis: Hypothesis) -> bool:
    """Return whether a fitted flight is a ball's under a hypothesis."""
    fitted = flight.fitted
    if np.mean(fitted.used) < LEAST_USED_SHARE or fitted.scale > MOST_SCALE:
        return False
    if not fitted.settled or flight.prior_chi_square > MOST_CHI_SQUARE:
        return False
    along, across = np.abs(flight.launch[3:5]).tolist()
    if hypothesis.reason is not None and across > max(MOST_ASIDE * along, LEAST_LEVEL_MPS):
        return False
    stated = float(np.linalg.norm(flight.launch[3:6]))
    return SPEEDS_MPS[0] < stated * hypothesis.unit_m * hypothesis.slower < SPEEDS_MPS[1]


def _where(flight: Flight, context: ClipContext) -> Reason | None:
    """Return that a flight starts elsewhere, in mid-flight or the other way, or None."""
    release = context.circumstances.release_m
    place, velocity = flight.launch[:3], flight.launch[3:6]
    if np.hypot(velocity[0], velocity[1]) < LEAST_LEVEL_MPS:
        return None
    u_m = np.sqrt(np.diag(flight.fitted.covariance)[POSITION_AT])
    names = ("along", "across", "up")
    numbers = dict(zip(names, place.tolist(), strict=True))
    numbers |= {f"{name}_u": u for name, u in zip(names, u_m.tolist(), strict=True)}
    azimuth = float(np.degrees(np.arctan2(velocity[1], velocity[0])))
    if abs(azimuth) > BACKWARD_DEG:
        return Reason(ReasonCode.FLIES_BACKWARD, {**numbers, "azimuth_deg": azimuth})
    if velocity[2] < 0.0 and place[2] > release[2] + ABOVE_M:
        return Reason(ReasonCode.ONLY_END_SEEN, numbers)
    off = np.abs(place - release)
    elsewhere = off > np.maximum(SAME_PLACE_U * u_m, SAME_PLACE_M)
    # First seen late, a ball is some metres down the line; but it never falls on its way up.
    below = velocity[2] > 0.0 and place[2] + ABOVE_M < release[2]
    late = 0.0 <= place[0] - release[0] <= LATE_S * velocity[0]
    if elsewhere[2] and (not np.any(elsewhere[:2]) or (below and late and not elsewhere[1])):
        rise = velocity[2] / velocity[0] if elsewhere[0] else 0.0
        up, up_u = place[2] - rise * (place[0] - release[0]), np.hypot(u_m[2], rise * u_m[0])
        height = {"up": float(up), "up_u": float(up_u), "height_m": float(release[2])}
        return Reason(ReasonCode.RELEASE_HEIGHT, height)
    if np.any(elsewhere):
        return Reason(ReasonCode.RELEASE_ELSEWHERE, numbers)
    return None
