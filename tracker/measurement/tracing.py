"""A found flight followed through the frames, its pictures measured, the flight fitted to them."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment import NotDetermined
from tracker.fitting import (
    FittedFlight,
    Observations,
    fit_given_gusts,
    initial_parameters,
    refit_gusts,
)
from tracker.fitting.circumstances import USUAL_LIGHT
from tracker.fitting.control import uncontrolled
from tracker.fitting.gravity import gravity_doubt
from tracker.following import Followed, Hypothesis, follow
from tracker.measurement.bounce import find_bounce
from tracker.measurement.context import ClipContext
from tracker.measurement.expectations import USUAL_EXPECTATIONS, Expectations
from tracker.measurement.fitted_shot import FittedShot, TracedFlight
from tracker.measurement.row import describe
from tracker.measurement.selection import SURE_SUPPORT
from tracker.measurement.sighting import Course, course_of, crossing_of, sighted
from tracker.measurement.strain import release_doubt, strain_doubt
from tracker.measurement.visibility import until_stopped, visibility_of
from tracker.records import (
    Candidates,
    Quality,
    Reason,
    ReasonCode,
    RejectedCandidate,
    Rejection,
    Track,
)

Array = NDArray[np.float64]

LEAST_SEEN, LEAST_SHARE, LEAST_FAINT_SHARE = 5, 0.2, 0.08
"""Frames, and share of the frames crossed, in which the ball of a shot must have been measured; the
share of a faint ball."""

MOST_FAINT_SCATTER = 2.5
"""Residuals over their uncertainty above which a faint ball's few positions are not all its own: on
foreign film seven true shots had 1.0 to 2.2, and one with foreign positions 2.7, its carry 9 m off.
"""

FIRST_FRAMES = 45
"""Least number of a long flight's frames that are measured for the first fit: it only says where
to measure."""

LEAST_FOLLOWED, LEAST_MEASURED = 3, 4
"""Fewest frames in which a flight must be followed, and its picture be measured, for a fit."""

FOLLOW_U_PX, FOLLOW_U_STEP = 1.0, 0.15
"""Standard uncertainty of a candidate in following, px, and a share of the way between frames."""

PATH_POINTS = 61
"""Points of a rejected candidate's path for pictures."""


def measure_hypothesis(
    context: ClipContext,
    hypothesis: Hypothesis,
    candidates: list[Candidates],
    flights: list[TracedFlight] | None = None,
) -> FittedShot | RejectedCandidate:
    """Follow, measure and fit one found flight; return its row, or why it has none.

    What was fitted is added to the flights, whatever is made of it.
    """
    try:
        traced = trace(context, hypothesis, candidates)
        if flights is not None:
            flights.append(traced)
        return reported(context, traced, hypothesis.support)
    except Rejection as rejection:
        return rejected_hypothesis(context, hypothesis, *rejection.reasons)
    except (NotDetermined, ArithmeticError, ValueError):
        # Whatever a degenerate fit runs into costs this candidate, never the session.
        return rejected_hypothesis(context, hypothesis, Reason(ReasonCode.NO_FIT))


def rejected_hypothesis(
    context: ClipContext, hypothesis: Hypothesis, *reasons: Reason
) -> RejectedCandidate:
    """Return a flight that was found and is no shot, with its path through the frame."""
    times = np.linspace(0.0, float(hypothesis.trajectory.times_s[-1]), PATH_POINTS)
    points = hypothesis.trajectory.at(times)[:, :3]
    pixels = context.camera.project(points)
    pixels[context.circumstances.ground.above(points) < 0.0] = np.nan
    return RejectedCandidate(
        clip=context.request.clip,
        release_s=float(hypothesis.release_s) * context.facts.pace,
        support=float(hypothesis.support),
        frames_seen=int(hypothesis.hits),
        frames_crossed=int(hypothesis.in_view),
        reasons=reasons,
        times_s=times + float(hypothesis.release_s),
        pixels=pixels,
    )


def trace(
    context: ClipContext, hypothesis: Hypothesis, candidates: list[Candidates]
) -> TracedFlight:
    """Follow a found flight, measure the ball's pictures along it and fit it to them.

    Raises
    ------
    Rejection, NotDetermined
        When the pictures are no flight's.
    """
    followed = follow(
        context.search_context(),
        hypothesis,
        candidates,
        pixel_u=FOLLOW_U_PX + FOLLOW_U_STEP * context.settings.step_px,
    )
    if len(followed.frames) < LEAST_FOLLOWED:
        raise Rejection(Reason(ReasonCode.OUT_OF_FRAME))
    by_frame = {each.frame: each for each in candidates}
    known = context.circumstances
    state = initial_parameters(known, hypothesis.release_s, hypothesis.launch)
    light = USUAL_LIGHT
    course, frames, track, exposure = _first_sighted(context, followed, by_frame)
    for number in range(2):
        if number > 0:
            track, exposure = sighted(context, known.camera, course, frames, exposure, light)
        if len(track.frames) < LEAST_MEASURED:
            numbers = {"count": len(track.frames), "crossed": len(frames)}
            raise Rejection(Reason(ReasonCode.PICTURES_FEW, numbers))
        observed = Observations(track, context.row_share_of(track))
        fitted = fit_given_gusts(known, observed, state, near=number > 0)
        state, light = fitted.parameters, fitted.light
        frames, course = course_of(context, fitted, candidates)
    alone = uncontrolled(known, observed, fitted)
    if np.any(alone):
        observed = observed.part(~alone)
        track, fitted = observed.track, fit_given_gusts(known, observed, state, near=True)
        frames, course = course_of(context, fitted, candidates)
    few = _seen_in_few(context, fitted, len(frames))
    if few is not None and not _worth_a_row(fitted, len(frames), hypothesis.support):
        raise Rejection(few)
    last_s = float(track.times_s[fitted.used].max())
    bounce = find_bounce(context, fitted, last_s, candidates, exposure)
    if bounce is not None and bounce.agrees:
        observed = replace(observed, landed_s=(bounce.time_s, bounce.u_s))
        fitted = fit_given_gusts(known, observed, state, near=True)
    # Last, since how gusty the air was changes little but the uncertainties.
    fitted = refit_gusts(known, observed, fitted)
    if context.faint and fitted.scale > MOST_FAINT_SCATTER:
        raise Rejection(Reason(ReasonCode.SCATTER_TOO_LARGE))
    crossing = crossing_of(context, known.camera, frames, course, exposure)
    visibility = visibility_of(track, fitted.used, crossing, faint=context.faint)
    stopped = None
    if visibility is not None and not context.faint and few is None:
        stopped = until_stopped(track, fitted.used, crossing, visibility)
    if stopped is not None and bounce is None:
        return TracedFlight(observed, fitted, stopped.crossed, None, stopped, True)
    return TracedFlight(observed, fitted, len(frames), bounce, visibility)


def _first_sighted(
    context: ClipContext, followed: Followed, by_frame: dict[int, Candidates]
) -> tuple[Course, list[Candidates], Track, float | None]:
    """Return where the ball is sought first, in which frames, and its track and exposure there.

    A ball that stands out in few frames may do so in none of those chosen: all are asked then.
    """
    camera = context.circumstances.camera
    for step in sorted({max(1, len(followed.frames) // FIRST_FRAMES), 1}, reverse=True):
        part = slice(None, None, step)
        course = Course(followed.times_s[part], followed.states[part], followed.pixels[part])
        frames = [by_frame[int(frame)] for frame in followed.frames[part]]
        track, exposure = sighted(context, camera, course, frames, None, USUAL_LIGHT)
        if len(track.frames) >= LEAST_MEASURED:
            break
    return course, frames, track, exposure


def _seen_in_few(context: ClipContext, fitted: FittedFlight, crossed: int) -> Reason | None:
    """Return that too few positions along the flight are the ball's, or None."""
    count = int(np.sum(fitted.used))
    least_share = LEAST_FAINT_SHARE if context.faint else LEAST_SHARE
    if count >= max(LEAST_SEEN, least_share * crossed):
        return None
    return Reason(ReasonCode.POSITIONS_DISAGREE, {"count": count, "crossed": crossed})


def _worth_a_row(fitted: FittedFlight, crossed: int, support: float) -> bool:
    """Return whether a flight whose ball was measured in few frames is shown as a rejected row.

    Its candidates support it so much that a person should look at it: nothing is counted by itself.
    """
    least = max(LEAST_SEEN, LEAST_FAINT_SHARE * crossed)
    return support >= SURE_SUPPORT and bool(np.sum(fitted.used) >= least)


def reported(
    context: ClipContext,
    traced: TracedFlight,
    support: float,
    expectations: Expectations = USUAL_EXPECTATIONS,
) -> FittedShot:
    """Return a traced flight as its row.

    Parameters
    ----------
    context : ClipContext
    traced : TracedFlight
    support : float
        Log-likelihood ratio with which it was found.
    expectations : Expectations

    Raises
    ------
    Rejection
        When it is no ball's.
    """
    wrong = gravity_doubt(
        context.circumstances, traced.observed, traced.fitted, 1.0 / context.frame_s
    )
    if expectations.aimed and any(each.code is ReasonCode.GRAVITY_UNEXPLAINED for each in wrong):
        wrong = release_doubt(context.circumstances, traced.observed, traced.fitted) or wrong
    if not wrong and expectations.aimed:
        wrong = strain_doubt(context.circumstances, traced.fitted)
    few = _seen_in_few(context, traced.fitted, traced.in_view)
    before = wrong if few is None else (few, *wrong)
    measured = describe(context, traced, expectations, before)
    if measured.shot.quality is Quality.REJECTED and support < SURE_SUPPORT:
        raise Rejection(*measured.shot.reasons)
    return measured
