"""One shot from a found flight to its row: followed, measured, fitted."""

from dataclasses import dataclass, replace

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
from tracker.fitting.gravity import gravity_doubt
from tracker.following import Hypothesis, SearchContext, follow
from tracker.measurement.bounce import Bounce, find_bounce
from tracker.measurement.circumstances import ClipRequest
from tracker.measurement.rejection import SURE_SUPPORT
from tracker.measurement.row import Sought, describe
from tracker.measurement.sighting import Course, Shutter, course_of, sighted
from tracker.records import (
    Candidates,
    MeasuredShot,
    Quality,
    Reason,
    ReasonCode,
    RejectedCandidate,
    Rejection,
    Track,
)

Array = NDArray[np.float64]

LEAST_SEEN = 5
LEAST_SHARE = 0.2
"""A shot must have been seen in this many frames and in this share of those that it crossed."""

FIRST_FRAMES = 45
"""At least so many of a long flight's frames are looked at for the first fit."""


def measure_shot(
    stage: SearchContext,
    shutter: Shutter,
    request: ClipRequest,
    hypothesis: Hypothesis,
    candidates: list[Candidates],
) -> MeasuredShot | RejectedCandidate:
    """Follow, measure and fit one found flight, or tell why no flight comes of it after all."""
    try:
        trace = traced(stage, shutter, hypothesis, candidates)
        return told(stage, shutter, request, trace, hypothesis.support)
    except Rejection as rejection:
        return rejected_candidate(stage, shutter, request, hypothesis, *rejection.reasons)
    except NotDetermined:
        return rejected_candidate(stage, shutter, request, hypothesis, Reason(ReasonCode.NO_FIT))


def rejected_candidate(
    stage: SearchContext,
    shutter: Shutter,
    request: ClipRequest,
    hypothesis: Hypothesis,
    *why: Reason,
) -> RejectedCandidate:
    """Return a flight that was found and is no shot, with its way through the frame."""
    times = np.linspace(0.0, float(hypothesis.trajectory.times_s[-1]), 61)
    points = hypothesis.trajectory.at(times)[:, :3]
    pixels = stage.camera.project(points)
    pixels[points[:, 2] < 0.0] = np.nan
    return RejectedCandidate(
        clip=request.clip,
        release_s=float(hypothesis.release_s) * shutter.facts.pace,
        support=float(hypothesis.support),
        frames_seen=int(hypothesis.hits),
        frames_crossed=int(hypothesis.in_view),
        reasons=why,
        times_s=times + float(hypothesis.release_s),
        pixels=pixels,
    )


@dataclass(frozen=True)
class Traced:
    """A flight with the ball's pictures measured along it, fitted to them.

    Attributes
    ----------
    track : Track
    row_share : ndarray, shape (N,)
        How far down the readout each position lies, -0.5 to 0.5.
    fitted : FittedFlight
    in_view : int
        Frames in which the flight lies inside the picture.
    bounce : Bounce or None
        The first bounce, when the hop after it was seen.
    """

    track: Track
    row_share: Array
    fitted: FittedFlight
    in_view: int
    bounce: Bounce | None


def traced(
    stage: SearchContext, shutter: Shutter, hypothesis: Hypothesis, candidates: list[Candidates]
) -> Traced:
    """Follow a found flight, measure the ball's pictures along it and fit it to them.

    Raises
    ------
    Rejection, NotDetermined
        When no flight comes of it.
    """
    followed = follow(stage, hypothesis, candidates, pixel_u=1.0 + 0.15 * shutter.look.step_px)
    if len(followed.frames) < 3:
        raise Rejection(Reason(ReasonCode.OUT_OF_FRAME))
    by_frame = {each.frame: each for each in candidates}
    # The first fit only says where to look closely: so many frames do for that.
    few = slice(None, None, max(1, len(followed.frames) // FIRST_FRAMES))
    course = Course(followed.times_s[few], followed.states[few], followed.pixels[few])
    frames_in_view = [by_frame[int(frame)] for frame in followed.frames[few]]
    known = shutter.circumstances
    state = initial_parameters(known, hypothesis.release_s, hypothesis.launch)
    exposure: float | None = None
    light = USUAL_LIGHT
    for number in range(2):
        track, exposure = sighted(stage, shutter, course, frames_in_view, exposure, light)
        if len(track.frames) < 4:
            numbers = {"count": len(track.frames), "crossed": len(frames_in_view)}
            raise Rejection(Reason(ReasonCode.PICTURES_FEW, numbers))
        observed = Observations(track, shutter.row_share(track.pixels))
        fitted = fit_given_gusts(known, observed, state, near=number > 0)
        state, light = fitted.parameters, fitted.light
        frames_in_view, course = course_of(shutter, fitted, candidates)
    count = int(np.sum(fitted.used))
    if count < max(LEAST_SEEN, LEAST_SHARE * len(frames_in_view)):
        numbers = {"count": count, "crossed": len(frames_in_view)}
        raise Rejection(Reason(ReasonCode.POSITIONS_DISAGREE, numbers))
    last_s = float(track.times_s[fitted.used].max())
    bounce = find_bounce(stage, shutter, fitted, last_s, candidates, exposure)
    if bounce is not None and bounce.agrees:
        observed = replace(observed, landed_s=(bounce.time_s, bounce.u_s))
        fitted = fit_given_gusts(known, observed, state, near=True)
    # Last, since how gusty the air was changes little but the uncertainties.
    fitted = refit_gusts(known, observed, fitted)
    return Traced(track, observed.row_share, fitted, len(frames_in_view), bounce)


def told(
    stage: SearchContext,
    shutter: Shutter,
    request: ClipRequest,
    trace: Traced,
    support: float,
    aimed: bool = True,
) -> MeasuredShot:
    """Return a traced flight as its row.

    Parameters
    ----------
    stage, shutter, request
    trace : Traced
    support : float
        Log-likelihood ratio with which it was found.
    aimed : bool
        Whether it was fired down the firing line, if it is a shot.

    Raises
    ------
    Rejection
        When it is no ball's.
    """
    circumstances = shutter.circumstances
    wrong = gravity_doubt(
        circumstances,
        Observations(trace.track, trace.row_share),
        trace.fitted,
        1.0 / stage.frame_s,
    )
    sought = Sought(
        clip=request.clip,
        setup=request.setup,
        pace=shutter.facts.pace,
        frame_s=stage.frame_s,
        in_view=trace.in_view,
        row_share=trace.row_share,
        bounce=trace.bounce,
        doubts=wrong,
        aimed=aimed,
    )
    measured = describe(circumstances, sought, trace.track, trace.fitted)
    doubtful = measured.shot.quality is Quality.REJECTED
    if doubtful and support < SURE_SUPPORT:
        raise Rejection(*measured.shot.reasons)
    return measured
