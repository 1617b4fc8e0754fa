"""One ball thrown from anywhere to a row: its beginning found, its pictures measured, its words."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment import NotDetermined
from tracker.detection import SearchSettings
from tracker.fitting import Circumstances, FittedFlight, Observations, fit_flight
from tracker.fitting.parameters import READOUT_AT
from tracker.flight.integration import fly
from tracker.following import Hypothesis, SearchContext
from tracker.measurement.anywhere.rules import hardly_seen, no_throw
from tracker.measurement.anywhere.start import Began, Field, Flight, first_of_many, rebegun
from tracker.measurement.circumstances import ClipRequest, stage_of
from tracker.measurement.scouting import Throw
from tracker.measurement.sighting import Course, Shutter, sighted, walked
from tracker.measurement.tracing import Traced, measure_shot, told, traced
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

LATE_FRAMES, LATE_U_FRAMES, LATE_U_S = 0.5, 1.0, 0.004
"""How long before the first sight a ball in the picture was released, in frames, and how well
that is known: what was released between two frames shows in the second, or in the one after where
the launcher or a hand hides it, or in the one before where it is seen on its way out."""

BACK_S, ON_S = 0.35, 0.25
"""How long before and after the beginning of its path a ball's first sight is looked for."""

EDGE_PX = 3.0
EDGE_FRAMES = 1.6
"""What was this near to the frame's edge, or beyond it, so shortly before came in over it."""

HIGHEST_M = 3.0
"""Nobody and no launcher lets a ball go higher up. Common practice, no source."""

AGREES = 4.0
LEAST_SNR_SHARE = 0.35
"""A place is the ball's when it lies within so many standard uncertainties of its way and stands
out by no less than this share of what the ball does later on."""

MOST_WALKS = 3
OWN_PX = 3.0
"""How near to a measured place something must stand out, besides the ball's diameter."""

SOONEST_S, LONGEST_BEFORE_S = 0.3, 1.5
"""A ball that comes from the release point is first seen so soon after it left it, where that
lies in the picture, and where it does not."""

NEAR_M = 5.0
"""A flight that passes the release point so far off, as the wide fit has it, is not tried."""

SAME_START = 25.0
"""Squared distance by which a flight from the release point may explain the places less well than
one from anywhere, three degrees of freedom: the chance of more is 2e-5, and the light on the ball
and the ball's own spin take some of it."""


@dataclass(frozen=True)
class Sight:
    """How a ball came into view.

    Attributes
    ----------
    first_s : float
        True time of its first sight.
    how : str
        ``inside`` the picture, over its ``edge``, when the ``clip`` began, or up in the ``air``.
    """

    first_s: float
    how: str

    def began(self, frame_s: float) -> Began:
        """Return when its flight is taken to begin."""
        if self.how != "inside":
            return Began(self.first_s - 0.02 * frame_s, 0.0)
        u_s = float(np.hypot(LATE_U_FRAMES * frame_s, LATE_U_S))
        return Began(self.first_s - LATE_FRAMES * frame_s, u_s)


def measure_throw(
    flight: Flight,
    shutter: Shutter,
    field: Field,
    request: ClipRequest,
    candidates: list[Candidates],
    frame_s: float,
) -> MeasuredShot | RejectedCandidate:
    """Measure the ball's pictures along a flight and tell it, or why no shot comes of it.

    A flight that a start at the session's release point explains as well is measured as one that
    started there.

    Parameters
    ----------
    flight : Flight
        As fitted to its path in the picture.
    shutter : Shutter
        With what is known of every shot of the clip.
    field : Field
    request : ClipRequest
    candidates : list of Candidates
        Of the second pass, near the flight.
    frame_s : float
        True time from one frame to the next.
    """
    try:
        found, stage, trace, sight = _followed(flight, shutter, field, candidates, frame_s)
        why = no_throw(found, field, float(request.release_m[2]), sight.first_s)
        if why is not None:
            return rejected_candidate(flight.throw, request, shutter.facts.pace, frame_s, why)
        home = _from_release(found, shutter, trace)
        if home is not None:
            supposed = _supposed(shutter.circumstances, home, flight)
            stage_home = stage_of(shutter.circumstances, frame_s)
            shot = measure_shot(stage_home, shutter, request, supposed, candidates)
            if isinstance(shot, MeasuredShot):
                return shot
        wide = replace(shutter, circumstances=found.known)
        shot = told(stage, wide, request, trace, 0.0, aimed=False)
        why = hardly_seen(shot, trace)
        if why is not None:
            return rejected_candidate(flight.throw, request, shutter.facts.pace, frame_s, why)
    except Rejection as rejection:
        pace = shutter.facts.pace
        return rejected_candidate(flight.throw, request, pace, frame_s, *rejection.reasons)
    except (NotDetermined, np.linalg.LinAlgError):
        why = Reason(ReasonCode.NO_FIT)
        return rejected_candidate(flight.throw, request, shutter.facts.pace, frame_s, why)
    return _worded(shot, found, sight)


def _followed(
    flight: Flight,
    shutter: Shutter,
    field: Field,
    candidates: list[Candidates],
    frame_s: float,
) -> tuple[Flight, SearchContext, Traced, Sight]:
    """Follow a flight from its first sight, which is looked for anew from where it then begins."""
    start_s = flight.first_s
    sight = _first_sight(flight, start_s, shutter, candidates, frame_s)
    for _ in range(MOST_WALKS):
        begun = rebegun(flight, field, sight.began(frame_s))
        stage = stage_of(begun.known, frame_s)
        wide = replace(shutter, circumstances=begun.known)
        trace = traced(stage, wide, _supposed(begun.known, begun.fitted, flight), candidates)
        flight = replace(begun, fitted=trace.fitted)
        start_s = first_of_many(trace.track.times_s, trace.fitted.used)
        again = _first_sight(flight, start_s, shutter, candidates, frame_s)
        if abs(again.first_s - sight.first_s) < 0.5 * frame_s:
            break
        sight = again
    return flight, stage, trace, sight


def rejected_candidate(
    throw: Throw, request: ClipRequest, pace: float, frame_s: float, *why: Reason
) -> RejectedCandidate:
    """Return a path that is no shot, with the reason."""
    arc = throw.arc
    return RejectedCandidate(
        clip=request.clip,
        release_s=float(arc.times_s[0]) * pace,
        support=0.0,
        frames_seen=len(arc.frames),
        frames_crossed=max(len(arc.frames), round(arc.duration_s / frame_s) + 1),
        reasons=why,
        times_s=arc.times_s,
        pixels=arc.pixels,
    )


def look_along(flights: list[Flight], frame_s: float) -> SearchSettings:
    """Return what to look for, and where in the picture, along flights that were found."""
    camera = flights[0].known.camera
    diameters, moved, boxes = [], [], []
    for flight in flights:
        states = flight.states(flight.throw.arc.times_s)
        depth = camera.in_camera(states[:, :3])[:, 2]
        diameters.append(2.0 * flight.known.ball_radius_m * camera.focal_px / np.median(depth))
        pixels, by_point, _ = camera.project_with_jacobians(states[:, :3])
        moved.append(
            frame_s * np.linalg.norm(np.einsum("nij,nj->ni", by_point, states[:, 3:6]), axis=1)
        )
        boxes.append(pixels)
    diameter = float(np.median(diameters))
    usual, fast = np.percentile(np.concatenate(moved), [40, 75])
    width, height = camera.size_px
    return SearchSettings(
        diameter_px=diameter,
        step_px=float(fast),
        lag=int(np.clip(round((diameter + 1.0) / max(usual, 0.1) + 0.4), 1, 8)),
        window=(0, 0, width, height),
        most=90 if diameter < 8.0 else 60,
    )


def _first_sight(
    flight: Flight,
    start_s: float,
    shutter: Shutter,
    candidates: list[Candidates],
    frame_s: float,
) -> Sight:
    """Return when a ball was first seen, walking back from where it is known to be."""
    shown = [each for each in candidates if start_s - BACK_S <= each.time_s <= start_s + ON_S]
    times = np.array([each.time_s for each in shown])
    camera = flight.camera
    states = flight.states(times)
    pixels = camera.project(states[:, :3])
    for _ in range(2):
        # A rolling shutter comes to the lower rows later, when the ball is further on.
        rows_s = times + flight.fitted.parameters[READOUT_AT] * shutter.row_share(pixels)
        states = flight.states(rows_s)
        pixels = camera.project(states[:, :3])
    inside = _inside(pixels, camera.size_px, 1.0)
    shown = [each for each, is_in in zip(shown, inside, strict=True) if is_in]
    times, states, pixels = times[inside], states[inside], pixels[inside]
    first_s = start_s
    if len(shown) > 1:
        stage = stage_of(flight.known, frame_s, camera)
        track, _ = sighted(stage, shutter, Course(times, states, pixels), shown, None)
        expected = dict(zip([each.frame for each in shown], pixels, strict=True))
        there = np.array([expected[frame] for frame in track.frames.tolist()]).reshape(-1, 2)
        off = np.linalg.norm(track.pixels - there, axis=1)
        spread = np.sqrt(np.trace(track.covariances, axis1=1, axis2=2) / 2.0)
        way = float(np.linalg.norm(np.diff(pixels, axis=0), axis=1).mean())
        agrees = off < AGREES * np.hypot(spread, 0.6 + 0.04 * way)
        agrees &= _stands_out(track, shown, shutter.look.diameter_px)
        ahead = track.times_s >= start_s - 1e-9
        if track.snr is not None and np.any(ahead):
            agrees &= track.snr > LEAST_SNR_SHARE * np.median(track.snr[ahead])
        by_frame = dict(zip(track.frames.tolist(), agrees.tolist(), strict=True))
        order = [each.frame for each in shown]
        first_s = walked(order, times, by_frame, start_s, forward=False)
    before = flight.path(np.array([first_s - EDGE_FRAMES * frame_s]))
    if not _inside(before, camera.size_px, EDGE_PX)[0]:
        return Sight(first_s, "edge")
    if flight.states(np.array([first_s]))[0, 2] > HIGHEST_M:
        return Sight(first_s, "air")
    earliest = float(shutter.facts.times_s[0]) + (2 + shutter.look.lag) * frame_s
    return Sight(first_s, "clip" if first_s <= earliest else "inside")


def _stands_out(track: Track, shown: list[Candidates], diameter_px: float) -> NDArray[np.bool_]:
    """Tell of each place whether something stands out there in its own frame.

    In the frame before a ball appears its picture is fitted to what the next one shows.
    """
    by_frame = {each.frame: each.pixels for each in shown}
    reach = OWN_PX + diameter_px
    return np.array(
        [
            np.linalg.norm(by_frame[frame] - place, axis=1).min(initial=np.inf) < reach
            for frame, place in zip(track.frames.tolist(), track.pixels, strict=True)
        ],
        bool,
    )


def _inside(pixels: Array, size_px: tuple[int, int], margin: float) -> NDArray[np.bool_]:
    with np.errstate(invalid="ignore"):
        inside: NDArray[np.bool_] = np.all(
            (pixels > margin) & (pixels < np.array(size_px) - 1.0 - margin), axis=1
        )
    return inside


def _supposed(known: Circumstances, fitted: FittedFlight, flight: Flight) -> Hypothesis:
    """Return a fitted flight as one to be followed until it is on the ground."""
    launch = fitted.parameters[1:12]
    last_s = float(flight.throw.arc.times_s[-1] - fitted.parameters[0])
    climb, gravity = max(0.0, float(launch[5])), known.forces.gravity_mps2
    top = max(float(launch[2]) + climb**2 / (2.0 * gravity), 0.0)
    duration = 1.2 * (climb / gravity + np.sqrt(2.0 * top / gravity)) + 0.1
    trajectory = fly(launch, known.forces, float(np.clip(duration, last_s, 9.0)), 0.1)
    count = len(flight.throw.arc.frames)
    return Hypothesis(float(fitted.parameters[0]), launch, trajectory, hits=count, in_view=count)


def _from_release(flight: Flight, shutter: Shutter, trace: Traced) -> FittedFlight | None:
    """Return the flight fitted as one from the release point, None where it did not start there."""
    known = shutter.circumstances
    first_s = float(trace.track.times_s[trace.fitted.used].min())
    shows = _inside(known.camera.project(known.release_m), known.camera.size_px, EDGE_PX)[0]
    longest = SOONEST_S if shows else LONGEST_BEFORE_S
    times = first_s - np.arange(0.0, longest, 0.005)
    states = flight.states(times)
    apart = np.linalg.norm(states[:, :3] - known.release_m, axis=1)
    nearest = int(np.argmin(apart))
    if apart[nearest] > NEAR_M:
        return None
    launch = flight.launch.copy()
    launch[:3], launch[3:6] = known.release_m, states[nearest, 3:6]
    landed_s = None
    if trace.bounce is not None and trace.bounce.agrees:
        landed_s = (trace.bounce.time_s, trace.bounce.u_s)
    try:
        observed = Observations(trace.track, trace.row_share, landed_s)
        home = fit_flight(known, observed, float(times[nearest]), launch)
    except (NotDetermined, np.linalg.LinAlgError):
        return None
    if not -0.02 <= first_s - home.parameters[0] < longest:
        return None
    more = _misfit(known, home, trace) - _misfit(flight.known, trace.fitted, trace)
    return home if more < SAME_START else None


def _misfit(known: Circumstances, fitted: FittedFlight, trace: Traced) -> float:
    """Return the squared distance of places and of all that was known from a flight."""
    white = np.linalg.solve(
        np.linalg.cholesky(trace.track.covariances), fitted.residuals_px[..., None]
    )
    distance = np.sum(white[..., 0] ** 2, axis=1) / trace.fitted.scale**2
    off = fitted.parameters - known.prior_mean()
    places = float(np.sum(np.minimum(distance, 36.0))) / trace.fitted.correlation_factor
    return places + float(off @ known.prior_information() @ off)


_STARTS = {
    "inside": ReasonCode.STARTS_ELSEWHERE,
    "edge": ReasonCode.STARTS_AT_EDGE,
    "air": ReasonCode.STARTS_IN_AIR,
    "clip": ReasonCode.STARTS_WITH_CLIP,
}


def _worded(shot: MeasuredShot, flight: Flight, sight: Sight) -> MeasuredShot:
    """Return a row whose first reason states where its flight starts."""
    place, spread = flight.fitted.parameters[1:4], np.sqrt(np.diag(flight.fitted.covariance)[1:4])
    names = ("along", "across", "up")
    numbers = dict(zip(names, place.tolist(), strict=True))
    numbers |= {f"{name}_u": u for name, u in zip(names, spread.tolist(), strict=True)}
    reasons = (Reason(_STARTS[sight.how], numbers), *shot.shot.reasons)
    return replace(shot, shot=replace(shot.shot, quality=Quality.CHECK, reasons=reasons))
