"""Throws of a first pass to shots: fitted, looked at again more closely, measured."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Protocol

from calibration.adjustment import NotDetermined
from tracker.detection import SearchSettings
from tracker.measurement.context import ClipContext
from tracker.measurement.fitted_shot import FittedShot
from tracker.measurement.flight import Flight
from tracker.measurement.passes import Observers
from tracker.measurement.scouting import Scouted
from tracker.measurement.second_pass import Window, candidates_in
from tracker.measurement.starts.runs_on import runs_on
from tracker.measurement.throws import Throw
from tracker.records import Candidates, Reason, ReasonCode, RejectedCandidate, Rejection


class ThrowMeasurement(Protocol):
    """How throws become flights and flights become shots, for one kind of start."""

    @property
    def sees_size(self) -> bool:
        """Whether a ball's width in the frame is measured."""
        ...

    def first_fit(self, throw: Throw, frame_s: float) -> Flight:
        """Fit a flight to a path of the first pass, or raise `Rejection`."""
        ...

    def settings(self, flights: Sequence[Flight]) -> SearchSettings:
        """Return what to look for along flights in the second pass."""
        ...

    def window(self, flight: Flight) -> Window:
        """Return when and where a flight is looked for in the second pass."""
        ...

    def measure(
        self, flight: Flight, context: ClipContext, candidates: list[Candidates]
    ) -> FittedShot:
        """Measure a flight in the candidates of the second pass, or raise `Rejection`."""
        ...

    def is_ball(self) -> bool:
        """Return whether the last flight that was measured is a ball's by its width and fall."""
        ...


BY_WIDTH = (ReasonCode.RUNS_ON, ReasonCode.CLOCK_UNSURE)
"""What speaks against a throw unless its width is that of a ball that falls so."""

DEGENERATE = (NotDetermined, ArithmeticError, ValueError)
"""Whatever a degenerate fit runs into costs one candidate, never the session."""


def measure_throws(
    throws: Sequence[Throw],
    measurement: ThrowMeasurement,
    context: ClipContext,
    scouted: Scouted,
    observers: Observers,
) -> list[FittedShot | RejectedCandidate]:
    """Measure the throws of a first pass in a second one, which is left out without any.

    Parameters
    ----------
    throws : sequence of Throw
    measurement : ThrowMeasurement
    context : ClipContext
        Its settings are replaced by that of the measurement.
    scouted : Scouted
    observers : Observers
    """
    found: list[FittedShot | RejectedCandidate] = []
    flights: list[Flight] = []
    doubted: dict[int, Reason] = {}

    def reject(throw: Throw, frame_s: float, *reasons: Reason) -> None:
        told = (doubted[id(throw)],) if id(throw) in doubted else reasons
        found.append(rejected_throw(throw, context, frame_s, *told))

    for throw in throws:
        reason = _prejudged(throw, context, scouted)
        if reason is not None and reason.code in BY_WIDTH and measurement.sees_size:
            # A hand may lead into a throw as a bird does into its fall: its width tells.
            doubted[id(throw)] = reason
        elif reason is not None:
            reject(throw, scouted.frame_s, reason)
            continue
        try:
            flights.append(measurement.first_fit(throw, scouted.frame_s))
        except Rejection as rejection:
            reject(throw, scouted.frame_s, *rejection.reasons)
        except DEGENERATE:
            reject(throw, scouted.frame_s, Reason(ReasonCode.NO_FIT))
    if not flights:
        return found
    sure = [flight for flight in flights if id(flight.throw) not in doubted]
    context = replace(context, settings=measurement.settings(sure or flights))
    windows = [measurement.window(flight) for flight in flights]
    gathered = candidates_in(windows, context, scouted.timing, observers, scouted.renewed_s)
    for flight, candidates in zip(flights, gathered, strict=True):
        try:
            shot = measurement.measure(flight, context, candidates)
            if id(flight.throw) in doubted and not measurement.is_ball():
                raise Rejection(doubted[id(flight.throw)])
            found.append(shot)
            observers.found(shot)
        except Rejection as rejection:
            reject(flight.throw, context.frame_s, *rejection.reasons)
        except DEGENERATE:
            reject(flight.throw, context.frame_s, Reason(ReasonCode.NO_FIT))
    return found


def _prejudged(throw: Throw, context: ClipContext, scouted: Scouted) -> Reason | None:
    """Return what speaks against a throw before anything is fitted to it."""
    times = throw.arc.times_s
    if not scouted.follows_camera(float(times[0]), float(times[-1])):
        return Reason(ReasonCode.CAMERA_NOT_FOLLOWED)
    if runs_on(throw.arc, scouted.arcs, context.facts.size_px[0]):
        return Reason(ReasonCode.RUNS_ON)
    if context.clock_presumed:
        return Reason(ReasonCode.CLOCK_UNSURE)
    return None


def rejected_throw(
    throw: Throw, context: ClipContext, frame_s: float, *reasons: Reason
) -> RejectedCandidate:
    """Return a throw that is no shot, with the reasons.

    Parameters
    ----------
    throw : Throw
    context : ClipContext
    frame_s : float
        True time between the frames in which it was looked for.
    *reasons : Reason
    """
    arc = throw.arc
    return RejectedCandidate(
        clip=context.request.clip,
        release_s=float(arc.times_s[0]) * context.facts.pace,
        support=0.0,
        frames_seen=len(arc.frames),
        frames_crossed=max(len(arc.frames), round(arc.duration_s / frame_s) + 1),
        reasons=reasons,
        times_s=arc.times_s,
        pixels=arc.pixels,
    )
