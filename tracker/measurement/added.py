"""A shot that the search missed, measured from places of the ball that a person picked."""

from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment import NotDetermined
from calibration.camera import Camera
from calibration.errors import InputError
from tracker.fitting import Observations, fit_given_gusts, initial_parameters, refit_gusts
from tracker.fitting.ends import GivenEnds
from tracker.following import Hypothesis
from tracker.following.through import LEAST_PLACES, flight_through
from tracker.measurement.context import ClipContext
from tracker.measurement.fitted_shot import FittedShot, TracedFlight
from tracker.measurement.passes import (
    NO_OBSERVERS,
    FramePass,
    Observers,
    Timing,
    still_pixels,
)
from tracker.measurement.request import ClipRequest
from tracker.measurement.row import describe
from tracker.measurement.second_pass import Window, candidates_of_part, reach_px
from tracker.measurement.starts.release import release_context
from tracker.measurement.tracing import reported, trace
from tracker.records import (
    Candidates,
    Reason,
    ReasonCode,
    RejectedCandidate,
    Rejection,
    Track,
)
from tracker.video import ClipFacts

Array = NDArray[np.float64]

AFTER_S = 0.5
"""How long after the expected landing the ball is looked for, s: the hop shows the bounce."""

NOT_FROM_RELEASE_U = 6.0
"""Distance of a place from every flight from the release, in its standard uncertainties, from which
the places are refused. Common practice, no source."""


CANDIDATE_PLACES, CANDIDATE_U_PX = 4, 5.0
"""Places along a rejected candidate's path that stand for it, and the standard uncertainty of each
coordinate, px: a search's path is as good as its last gate, 5 px and more."""


@dataclass(frozen=True)
class Pick:
    """A place of the ball in a frame, picked by a person.

    Attributes
    ----------
    frame : int
    pixel : tuple of float
    """

    frame: int
    pixel: tuple[float, float]


@dataclass(frozen=True)
class Picks:
    """Places of one ball, in order of time.

    Attributes
    ----------
    places : tuple of Pick
    u_px : float
        Standard uncertainty of each coordinate.
    """

    places: tuple[Pick, ...]
    u_px: float

    @property
    def pixels(self) -> Array:
        """Shape (N, 2)."""
        return np.array([pick.pixel for pick in self.places], float)

    def times_s(self, facts: ClipFacts) -> Array:
        """Return the true time of each, shape (N,)."""
        return facts.times_s[[pick.frame for pick in self.places]]


def add_shot(
    facts: ClipFacts,
    camera: Camera,
    request: ClipRequest,
    picks: Picks,
    observers: Observers = NO_OBSERVERS,
) -> FittedShot:
    """Measure the shot from the release that passes through given places.

    Gravity and the release give a flight through the places; the ball is looked for along it and
    measured as any other. Where too little of it is found, the places alone are fitted, with their
    own standard uncertainty.

    Parameters
    ----------
    facts : ClipFacts
    camera : Camera
        With its covariance.
    request : ClipRequest
    picks : Picks
    observers : Observers

    Returns
    -------
    FittedShot
        Its first reason is that a person added it; the quality is what its other reasons give.

    Raises
    ------
    InputError
        Where no flight from the release passes through the places.
    """
    context = release_context(facts, camera, request)
    picks = _steadied(context, picks)
    flight = _flight(context, picks)
    try:
        candidates = _candidates(context, flight, observers)
        # A person saw it: a row of quality rejected is kept, with what speaks against it.
        return _by_hand(reported(context, trace(context, flight, candidates), np.inf))
    except (Rejection, NotDetermined, ArithmeticError, ValueError):
        return _by_hand(_from_picks(context, flight, picks))


def shot_through(
    facts: ClipFacts, camera: Camera, request: ClipRequest, picks: Picks
) -> FittedShot:
    """Return the shot fitted to given places alone, without a look at the clip.

    Parameters and errors are those of `add_shot`. The places are taken as a still camera's.
    """
    context = release_context(facts, camera, request)
    return _by_hand(_from_picks(context, _flight(context, picks), picks))


def picks_along(candidate: RejectedCandidate, facts: ClipFacts) -> Picks:
    """Return places along the path of a rejected candidate, as a person would pick them.

    Raises
    ------
    InputError
        Where hardly any of it lies inside the frame.
    """
    inside = np.all((candidate.pixels >= 0.0) & (candidate.pixels < facts.size_px), axis=1)
    times = facts.times_s
    frames = np.searchsorted(times, candidate.times_s[inside]).clip(0, len(times) - 1)
    frames = np.unique(frames)
    if len(frames) < CANDIDATE_PLACES + 2:
        raise InputError(
            "hardly any of its path lies inside the frame",
            remedy="add the shot by two places of the ball",
        )
    # Not the path's ends: the one is hidden by the launcher, the other by the grass.
    chosen = frames[np.linspace(0, len(frames) - 1, CANDIDATE_PLACES + 2).round().astype(int)[1:-1]]
    path = [np.interp(times[chosen], candidate.times_s, candidate.pixels[:, k]) for k in (0, 1)]
    places = tuple(
        Pick(int(frame), (round(float(column), 1), round(float(row), 1)))
        for frame, column, row in zip(chosen, *path, strict=True)
    )
    return Picks(places, CANDIDATE_U_PX)


def _by_hand(shot: FittedShot) -> FittedShot:
    added = Reason(ReasonCode.ADDED_BY_HAND)
    return replace(shot, shot=replace(shot.shot, reasons=(added, *shot.shot.reasons)))


def _steadied(context: ClipContext, picks: Picks) -> Picks:
    """Return the picks where the camera would have shown them, had it not moved."""
    facts = context.facts
    filmed = {pick.frame: pick.pixel for pick in picks.places}
    if len(filmed) < len(picks.places):
        return picks
    span = min(filmed), max(filmed)
    loop = FramePass(facts, context.camera, context.settings, Timing.of_file(facts), span=span)
    found = still_pixels(loop, filmed)
    places = tuple(
        Pick(pick.frame, (float(found[pick.frame][0][0]), float(found[pick.frame][0][1])))
        for pick in picks.places
    )
    wide = max(float(np.trace(covariance)) / 2.0 for _, covariance in found.values())
    return Picks(places, float(np.hypot(picks.u_px, np.sqrt(wide))))


def _flight(context: ClipContext, picks: Picks) -> Hypothesis:
    """Return the flight through the places."""
    if len(picks.places) < LEAST_PLACES:
        raise InputError("one place fixes no flight", remedy="give two places of the ball or more")
    times, pixels = picks.times_s(context.facts), picks.pixels
    if np.any(np.diff(times) <= 0.0):
        raise InputError("two places are in one frame", remedy="pick the ball in different frames")
    flight = flight_through(context.search_context(), times, pixels, picks.u_px)
    off = np.inf
    if flight is not None:
        states = flight.trajectory.at(times - flight.release_s)
        off = float(np.linalg.norm(context.camera.project(states[:, :3]) - pixels, axis=1).max())
    if flight is None or not off < NOT_FROM_RELEASE_U * picks.u_px:
        raise InputError(
            "no flight from the release passes through these places at these times",
            remedy="pick the ball anew, on its first flight before the bounce",
        )
    return flight


def _candidates(context: ClipContext, flight: Hypothesis, observers: Observers) -> list[Candidates]:
    """Return the candidates near the flight, in the frames in which it flies."""
    end_s = flight.release_s + float(flight.trajectory.times_s[-1])
    near = partial(_near, context, flight, reach_px(context.facts))
    window = Window(flight.release_s, end_s + AFTER_S, near)
    return candidates_of_part(window, context, context.camera, observers)


def _near(
    context: ClipContext, flight: Hypothesis, reach: float, candidates: Candidates
) -> NDArray[np.bool_]:
    """Return which candidates are near a flight, or near its end once it is over."""
    last_s = float(flight.trajectory.times_s[-1])
    since = np.clip(candidates.time_s - flight.release_s, 0.0, last_s)
    place = context.camera.project(flight.trajectory.at(np.array([since]))[:, :3])[0]
    with np.errstate(invalid="ignore"):
        near: NDArray[np.bool_] = np.linalg.norm(candidates.pixels - place, axis=1) < reach
    return near


def _from_picks(context: ClipContext, flight: Hypothesis, picks: Picks) -> FittedShot:
    """Return the shot fitted to the places alone."""
    count = len(picks.places)
    track = Track(
        frames=np.array([pick.frame for pick in picks.places], np.int64),
        times_s=picks.times_s(context.facts),
        pixels=picks.pixels,
        covariances=np.repeat((picks.u_px**2 * np.eye(2))[None], count, axis=0),
        lean=np.zeros(count),
    )
    observed = Observations(track, context.row_share_of(track), given=GivenEnds())
    known = context.circumstances
    start = initial_parameters(known, flight.release_s, flight.launch)
    try:
        fitted = refit_gusts(known, observed, fit_given_gusts(known, observed, start))
        in_view = _frames_in_view(context, flight)
        return describe(context, TracedFlight(observed, fitted, max(in_view, count)))
    except (Rejection, NotDetermined, ArithmeticError, ValueError) as error:
        raise InputError(
            f"the places fix no flight ({error})", remedy="pick one more place of the ball"
        ) from None


def _frames_in_view(context: ClipContext, flight: Hypothesis) -> int:
    """Return in how many frames the flight lies inside the frame."""
    since = context.facts.times_s - flight.release_s
    since = since[(since >= 0.0) & (since <= float(flight.trajectory.times_s[-1]))]
    if not len(since):
        return 0
    pixels = context.camera.project(flight.trajectory.at(since)[:, :3])
    return int(np.sum(context.camera.in_frame(pixels)))
