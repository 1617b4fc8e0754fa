"""One ball thrown from anywhere to a row: its beginning found, its pictures measured."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment import NotDetermined
from tracker.fitting import Circumstances, FittedFlight, fit_flight
from tracker.fitting.parameters import LAUNCH_AT, RELEASE_AT
from tracker.flight.integration import fly
from tracker.following import Hypothesis
from tracker.measurement.context import ClipContext
from tracker.measurement.expectations import Expectations
from tracker.measurement.fitted_shot import FittedShot, TracedFlight
from tracker.measurement.flight import Flight, first_of_run
from tracker.measurement.starts.field import Field, begun_at
from tracker.measurement.starts.first_sight import Entry, FirstSight, first_sight
from tracker.measurement.starts.throw_rules import hardly_seen, no_throw
from tracker.measurement.tracing import measure_hypothesis, reported, trace
from tracker.records import Candidates, Quality, Reason, ReasonCode, Rejection

Array = NDArray[np.float64]

MOST_WALKS, SAME_FRAME = 3, 0.5
"""Rounds in which beginning and flight are brought together, and how near two first detections are
that are the same, in frames."""

SOONEST_S, LONGEST_BEFORE_S, SEARCH_STEP_S = 0.3, 1.5, 0.005
"""A ball from the release is first seen this soon after it, s, where that lies in the frame, and
where it does not; step of the search for the nearest approach, s."""

EARLY_S = 0.02
"""How long after its first detection a fitted release may lie, s."""

NEAR_M = 5.0
"""A flight that passes the release farther off, m, is not tried as one from there."""

SAME_START = 25.0
"""Chi-square by which a flight from the release may explain the positions less well than one from
anywhere, three degrees of freedom: the chance of more is 2e-5, and the light on the ball and its
spin take some of it."""

MOST_DISTANCE_SQUARED = 36.0
"""Squared whitened residual above which a position counts no more: the square of the fit's cut."""

FOLLOWED_SHARE, FOLLOWED_S, LONGEST_S, STEP_S = 1.2, 0.1, 9.0, 0.1
"""How much longer than in vacuum a flight is followed, as a factor and in s; at most, and the
integration step, s."""

_CODES = {
    Entry.INSIDE: ReasonCode.STARTS_ELSEWHERE,
    Entry.EDGE: ReasonCode.STARTS_AT_EDGE,
    Entry.AIR: ReasonCode.STARTS_IN_AIR,
    Entry.CLIP: ReasonCode.STARTS_WITH_CLIP,
}


def measure_from_field(
    flight: Flight, field: Field, context: ClipContext, candidates: list[Candidates]
) -> FittedShot:
    """Measure the ball's pictures along a flight and return its row.

    A flight that a start at the session's release explains as well is measured as one from there.

    Parameters
    ----------
    flight : Flight
        As fitted to its path of the first pass.
    field : Field
    context : ClipContext
        With what is known of every shot of the clip.
    candidates : list of Candidates
        Of the second pass, near the flight.

    Raises
    ------
    Rejection, NotDetermined
        When no shot comes of it.
    """
    found, traced, sight = _followed(flight, field, context, candidates)
    reason = no_throw(found, field, float(context.request.release_m[2]), sight.first_s)
    if reason is not None:
        raise Rejection(reason)
    home = _from_release(found, context, traced)
    if home is not None:
        hypothesis = _hypothesis(context.circumstances, home, flight)
        shot = measure_hypothesis(context, hypothesis, candidates)
        if isinstance(shot, FittedShot):
            return shot
    wide = context.with_circumstances(found.known)
    shot = reported(wide, traced, 0.0, Expectations(aimed=False))
    reason = hardly_seen(shot, traced)
    if reason is not None:
        raise Rejection(reason)
    return _with_start(shot, found, sight)


def _followed(
    flight: Flight, field: Field, context: ClipContext, candidates: list[Candidates]
) -> tuple[Flight, TracedFlight, FirstSight]:
    """Follow a flight from its first detection, which is looked for anew after each fit."""
    sight = first_sight(context, flight, flight.first_s, candidates)
    for _ in range(MOST_WALKS):
        begun = begun_at(flight, field, sight.beginning(context.frame_s))
        wide = context.with_circumstances(begun.known)
        traced = trace(wide, _hypothesis(begun.known, begun.fitted, flight), candidates)
        flight = replace(begun, fitted=traced.fitted)
        start_s = first_of_run(traced.observed.track.times_s, traced.fitted.used)
        again = first_sight(context, flight, start_s, candidates)
        if abs(again.first_s - sight.first_s) < SAME_FRAME * context.frame_s:
            break
        sight = again
    return flight, traced, sight


def _hypothesis(known: Circumstances, fitted: FittedFlight, flight: Flight) -> Hypothesis:
    """Return a fitted flight as one to be followed until it is on the ground."""
    launch, release_s = fitted.parameters[LAUNCH_AT], float(fitted.parameters[RELEASE_AT])
    last_s = float(flight.throw.arc.times_s[-1] - release_s)
    climb, gravity = max(0.0, float(launch[5])), known.forces.gravity_mps2
    top = max(float(launch[2]) + climb**2 / (2.0 * gravity), 0.0)
    vacuum_s = climb / gravity + np.sqrt(2.0 * top / gravity)
    duration = float(np.clip(FOLLOWED_SHARE * vacuum_s + FOLLOWED_S, last_s, LONGEST_S))
    trajectory = fly(launch, known.forces, duration, STEP_S)
    count = len(flight.throw.arc.frames)
    return Hypothesis(release_s, launch, trajectory, hits=count, in_view=count)


def _from_release(
    flight: Flight, context: ClipContext, traced: TracedFlight
) -> FittedFlight | None:
    """Return the flight fitted as one from the release, None where it did not start there."""
    known = context.circumstances
    first_s = float(traced.observed.track.times_s[traced.fitted.used].min())
    shows = known.camera.in_frame(known.camera.project(known.release_m))[0]
    longest = SOONEST_S if shows else LONGEST_BEFORE_S
    times = first_s - np.arange(0.0, longest, SEARCH_STEP_S)
    states = flight.states(times)
    apart = np.linalg.norm(states[:, :3] - known.release_m, axis=1)
    nearest = int(np.argmin(apart))
    if apart[nearest] > NEAR_M:
        return None
    launch = flight.launch.copy()
    launch[:3], launch[3:6] = known.release_m, states[nearest, 3:6]
    try:
        home = fit_flight(known, traced.observed, float(times[nearest]), launch)
    except (NotDetermined, np.linalg.LinAlgError):
        return None
    if not -EARLY_S <= first_s - home.parameters[RELEASE_AT] < longest:
        return None
    more = _misfit(known, home, traced) - _misfit(flight.known, traced.fitted, traced)
    return home if more < SAME_START else None


def _misfit(known: Circumstances, fitted: FittedFlight, traced: TracedFlight) -> float:
    """Return the chi-square of positions and priors of a flight."""
    white = np.einsum("nij,nj->ni", traced.observed.roots, fitted.residuals_px)
    distance = np.sum(white**2, axis=1) / traced.fitted.scale**2
    off = fitted.parameters - known.prior_mean()
    positions = float(np.sum(np.minimum(distance, MOST_DISTANCE_SQUARED)))
    priors = float(off @ known.prior_information() @ off)
    return positions / traced.fitted.correlation_factor + priors


def _with_start(shot: FittedShot, flight: Flight, sight: FirstSight) -> FittedShot:
    """Return a row whose first reason states where its flight starts."""
    place, spread = flight.fitted.parameters[1:4], np.sqrt(np.diag(flight.fitted.covariance)[1:4])
    names = ("along", "across", "up")
    numbers = dict(zip(names, place.tolist(), strict=True))
    numbers |= {f"{name}_u": u for name, u in zip(names, spread.tolist(), strict=True)}
    reasons = (Reason(_CODES[sight.entry], numbers), *shot.shot.reasons)
    return replace(shot, shot=replace(shot.shot, quality=Quality.CHECK, reasons=reasons))
