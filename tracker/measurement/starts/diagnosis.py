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
from tracker.fitting import Circumstances
from tracker.fitting.gravity import FOOT_M, RATES
from tracker.fitting.parameters import POSITION_AT
from tracker.flight.forces import Forces
from tracker.following.arcs import fit_arc
from tracker.following.throws import trimmed_throw
from tracker.measurement.context import ClipContext
from tracker.measurement.flight import Flight, StartPrior
from tracker.measurement.passes import Observers
from tracker.measurement.scouting import Scouted, Scouting, scout_together
from tracker.measurement.starts.field import Field, first_fit
from tracker.measurement.starts.first_sight import FirstSight
from tracker.measurement.starts.throw_rules import LEAST_USED_SHARE, no_throw, rolls
from tracker.measurement.throws import Throw, throws_of
from tracker.records import Reason, ReasonCode, Shot

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

SAME_PLACE_U, SAME_PLACE_M = 3.0, 0.5
"""A start is elsewhere when it lies farther from the release than this many standard uncertainties
and metres."""

MOST_CHI_SQUARE = 30.0
"""Chi-square of the departures from all priors below which a hypothesis explains a path: its chance
is some 5 % for the twenty priors of a fit."""

MUCH_WORSE = 9.0
"""Chi-square by which the likeliest cause must explain a path better than what was written."""

LEAST_FACTOR = 1.5
"""Least factor by which a slow file plays slower than stated: a smaller one still gives shots, with
gravity off."""

EARLIER_S, HOPS_S = 0.25, 1.5
"""How long before a rejected flight is released, and after it lands, a path is taken to be its own,
s: one that began before its fit does, or its hop. Common practice, no source."""

BACKWARD_DEG = 90.0
"""Azimuth beyond which a shot flies against the firing line, degrees."""


@dataclass(frozen=True)
class Hypothesis:
    """What may have been written down wrongly.

    Attributes
    ----------
    reason : Reason or None
        None for the session as it is written.
    unit_m : float
        Length of what is called a metre, m.
    slower : float
        Times that the file plays slower than stated.
    """

    reason: Reason | None
    unit_m: float = 1.0
    slower: float = 1.0


def causes_of_no_shot(
    context: ClipContext, field: Field, observers: Observers
) -> tuple[Reason, ...]:
    """Return the likeliest cause of a clip without a shot, with its numbers; one is enough.

    Parameters
    ----------
    context : ClipContext
        With the session's camera and release.
    field : Field
        The taped field.
    observers : Observers
    """
    clips = (context.facts, _as_slow(context).facts)
    scouted, slow = scout_together(clips, context.camera, observers.progress_only, falls_only=True)
    return causes_in(scouted, slow, context, field)


def scouting_along(context: ClipContext) -> Scouting:
    """Return what scouts a clip for its cause while another pass goes through it.

    It stops where the camera moves, since following its motion twice would take long.
    """
    clips = context.facts, _as_slow(context).facts
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
) -> tuple[Reason, ...]:
    """Return the likeliest cause that the scouted paths of a clip show.

    Parameters
    ----------
    scouted, slow : Scouted
        At the stated pace, and as one at life speed.
    context, field
        As of `causes_of_no_shot`.
    rejected : sequence of Shot
        Rejected rows, each of which states its reason: what falls along one, or after it as its
        hop does, did not start elsewhere.
    """
    as_slow = _as_slow(context)
    throws, frame_s = candidates_of(scouted, context), scouted.frame_s
    if not throws:
        throws, frame_s = slow_candidates(slow, as_slow)
    pace = context.facts.pace
    only = tuple(
        Reason(ReasonCode.ONLY_REJECTED, {"release_s": shot.release_s}) for shot in rejected[:1]
    )
    if not throws:
        return only or (Reason(ReasonCode.NOTHING_FALLS),)
    found: list[tuple[float, Reason]] = []
    for throw in throws:
        own = not any(_along(throw, shot, pace) for shot in rejected)
        cause = likeliest(context, field, throw, frame_s, own)
        if cause is not None:
            found.append(cause)
    if found:
        return (min(found, key=lambda each: each[0])[1],)
    if only:
        return only
    at_s = float(throws[0].arc.times_s[0]) * context.facts.pace
    return (Reason(ReasonCode.FALLS_OTHERWISE, {"release_s": at_s}),)


def _along(throw: Throw, shot: Shot, pace: float) -> bool:
    """Return whether a path begins while a shot flies, or hops after it."""
    since_s = float(throw.arc.times_s[0]) - shot.release_s / pace
    return -EARLIER_S < since_s < (shot.flight_time_s or 0.0) + HOPS_S


def _as_slow(context: ClipContext) -> ClipContext:
    """Return the context of a clip taken to play far slower than stated."""
    return replace(context, facts=replace(context.facts, pace=context.facts.pace * SLOWER))


def candidates_of(scouted: Scouted, context: ClipContext) -> list[Throw]:
    """Return the longest paths that fall as a thrown ball does, however slowly."""
    throws = list(throws_of(scouted, context.facts.size_px[0], trimmed_throw))
    throws += [Throw(scouted.arcs[at], None) for at in scouted.slow]
    long = [each for each in throws if len(each.arc.frames) >= LEAST_POSITIONS]
    moving = [each for each in long if not rolls(each.arc, context.camera, scouted.frame_s)]
    return sorted(moving, key=lambda each: -len(each.arc.frames))[:MOST_THROWS]


def slow_candidates(scouted: Scouted, as_slow: ClipContext) -> tuple[list[Throw], float]:
    """Return what falls as a thrown ball does in a clip taken to play far slower than stated.

    In slow motion that nobody stated a ball hardly leaves its own place between two frames. The
    clip is looked at as one at life speed, and its paths are restated in the stated times, with the
    time between the frames looked at.

    Parameters
    ----------
    scouted : Scouted
        Of the clip as one at life speed.
    as_slow : ClipContext
        With the facts of the clip as one at life speed.
    """
    found = candidates_of(scouted, as_slow)
    frame_s = SLOWER * scouted.frame_s
    rows = (
        np.column_stack([each.arc.frames, SLOWER * each.arc.times_s, each.arc.pixels])
        for each in found
    )
    return [Throw(fit_arc(each, frame_s), None) for each in rows], frame_s


def likeliest(
    context: ClipContext, field: Field, throw: Throw, frame_s: float, elsewhere: bool = True
) -> tuple[float, Reason] | None:
    """Return the cost of the likeliest cause of a path, and the cause; None where none explains it.

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
    release = context.circumstances.release_m
    at_release = _Spot(StartPrior(release, np.array([BEHIND_U_M, RELEASE_U_M, RELEASE_U_M])))
    tried: list[tuple[float, Hypothesis]] = []
    for hypothesis in hypotheses(context):
        cost = _cost(scaled_context(context, hypothesis), at_release, throw, frame_s)
        if cost is not None:
            tried.append((cost, hypothesis))
    as_written = min((cost for cost, each in tried if each.reason is None), default=np.inf)
    better = [pair for pair in tried if pair[1].reason and pair[0] < as_written - MUCH_WORSE]
    if better:
        cost, hypothesis = min(better, key=lambda pair: pair[0])
        assert hypothesis.reason is not None
        return cost, hypothesis.reason
    if not elsewhere:
        return None
    flight = _fitted(context, _Spot(field.prior), throw, frame_s)
    if flight is None or no_throw(flight, field, float(release[2]), flight.first_s) is not None:
        return None
    reason = _where(flight, context)
    return None if reason is None else (flight.prior_chi_square, reason)


def hypotheses(context: ClipContext) -> Sequence[Hypothesis]:
    """Return what may have been written down wrongly, the session as it is first."""
    fps = 1.0 / context.frame_s
    slower = [
        Hypothesis(
            Reason(ReasonCode.PLAYS_SLOWLY, {"rate_fps": rate, "assumed_fps": fps}),
            slower=rate / fps,
        )
        for rate in RATES
        if rate > LEAST_FACTOR * fps
    ]
    return [Hypothesis(None), Hypothesis(Reason(ReasonCode.TAPED_IN_FEET), FOOT_M), *slower]


def scaled_context(context: ClipContext, hypothesis: Hypothesis) -> ClipContext:
    """Return a context in the session's units of length and time as a hypothesis has them."""
    scaled = scaled_circumstances(context.circumstances, hypothesis)
    return context.with_circumstances(scaled)


def scaled_circumstances(known: Circumstances, hypothesis: Hypothesis) -> Circumstances:
    """Return what is known of a shot in other units.

    With a metre that is really L metres long and a second that is really 1 / k seconds, a length
    counts 1 / L of its own, a speed 1 / (L k) and an acceleration 1 / (L k²).
    """
    length, slower = hypothesis.unit_m, hypothesis.slower
    speed, acceleration = 1.0 / (length * slower), 1.0 / (length * slower**2)
    forces = known.forces
    curve = forces.drag_curve
    return replace(
        known,
        forces=Forces(
            forces.reach_per_m * length,
            forces.gravity_mps2 * acceleration,
            None if curve is None else (tuple(speed * each for each in curve[0]), curve[1]),
        ),
        gravity_u_mps2=known.gravity_u_mps2 * acceleration,
        wind_mps=(known.wind_mps[0] * speed, known.wind_mps[1] * speed),
        wind_u_mps=known.wind_u_mps * speed,
        gust_u_mps=known.gust_u_mps * speed,
        ball_radius_m=known.ball_radius_m / length,
        readout_s=known.readout_s * slower,
        readout_u_s=known.readout_u_s * slower,
    )


@dataclass(frozen=True)
class _Spot:
    """A place to start from, as `first_fit` asks for it."""

    prior: StartPrior


def _fitted(context: ClipContext, spot: _Spot, throw: Throw, frame_s: float) -> Flight | None:
    beginning = FirstSight(float(throw.arc.times_s[0])).beginning(frame_s)
    try:
        return first_fit(context, spot, throw, beginning, frame_s)
    except (NotDetermined, np.linalg.LinAlgError):
        return None


def _cost(context: ClipContext, spot: _Spot, throw: Throw, frame_s: float) -> float | None:
    """Return how badly a hypothesis explains a path, None when it does not."""
    flight = _fitted(context, spot, throw, frame_s)
    if flight is None or not flight.fitted.settled:
        return None
    used = flight.fitted.used
    if np.mean(used) < LEAST_USED_SHARE or flight.prior_chi_square > MOST_CHI_SQUARE:
        return None
    return flight.prior_chi_square + float(np.sum(used)) * float(np.log(flight.fitted.scale))


def _where(flight: Flight, context: ClipContext) -> Reason | None:
    """Return that a flight starts elsewhere or flies the other way, None when it does not."""
    release = context.circumstances.release_m
    place, velocity = flight.launch[:3], flight.launch[3:6]
    u_m = np.sqrt(np.diag(flight.fitted.covariance)[POSITION_AT])
    names = ("along", "across", "up")
    numbers = dict(zip(names, place.tolist(), strict=True))
    numbers |= {f"{name}_u": u for name, u in zip(names, u_m.tolist(), strict=True)}
    azimuth = float(np.degrees(np.arctan2(velocity[1], velocity[0])))
    if abs(azimuth) > BACKWARD_DEG:
        return Reason(ReasonCode.FLIES_BACKWARD, {**numbers, "azimuth_deg": azimuth})
    off = np.abs(place - release)
    elsewhere = off > np.maximum(SAME_PLACE_U * u_m, SAME_PLACE_M)
    if elsewhere[2] and not np.any(elsewhere[:2]):
        height = {"up": numbers["up"], "up_u": numbers["up_u"], "height_m": float(release[2])}
        return Reason(ReasonCode.RELEASE_HEIGHT, height)
    if np.any(elsewhere):
        return Reason(ReasonCode.RELEASE_ELSEWHERE, numbers)
    return None
