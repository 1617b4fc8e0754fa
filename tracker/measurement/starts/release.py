"""Shots that begin at the taped point of release, before a calibrated camera."""

from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from calibration.camera import Camera
from calibration.timebase import Cadence, TimeBase, beat_of_lags, check_cadence, without_doubles
from tracker.detection import settings_for
from tracker.fitting import circumstances_of
from tracker.following import FlightSearch, Hypothesis
from tracker.measurement.context import ClipContext, frame_interval_s
from tracker.measurement.fitted_shot import FittedShot, TracedFlight
from tracker.measurement.lags import lags_of
from tracker.measurement.passes import (
    MOVED_NOTE,
    FramePass,
    Observers,
    Timing,
    passed_together,
)
from tracker.measurement.request import ClipRequest
from tracker.measurement.scouting import Scouting
from tracker.measurement.starts.diagnosis import causes_in, causes_of_no_shot, scouting_along
from tracker.measurement.starts.field import Field
from tracker.measurement.starts.protocol import Findings
from tracker.measurement.tracing import measure_hypothesis, rejected_hypothesis
from tracker.records import (
    Candidates,
    MeasuredShot,
    Quality,
    Reason,
    ReasonCode,
    RejectedCandidate,
    Shot,
)
from tracker.video import ChangeMeter, ClipFacts, begun

FILE_TIMES_STAND = (
    "The background repeats or leaves out frames, but the balls fly evenly by the file's own "
    "times: these are used."
)

FAINT_PX = 2.5
"""Diameter below which a ball may show in few of its frames, px: those that were lost on foreign
film had 1.4 to 2.3."""

FAINT_RIVALS = 4
"""So many times as many candidates are kept in the pass for faint balls, and thresholds fall with
it: a ball of 1.4 px before trees was a candidate in one to 25 of 70 frames, and then in 33 to 42.
With nine times as many another ball was lost among them."""

MUCH_BETTER = 0.5
"""With other times as many shots must scatter by less than this share to be preferred."""


@dataclass(frozen=True)
class ReleaseStart:
    """Shots begin at the session's point of release.

    Attributes
    ----------
    camera : Camera
        With the covariance of its calibration.
    field : Field or None
        The taped field, to find the cause where there is no shot; None to leave that out.
    """

    camera: Camera
    field: Field | None = None

    def find(self, facts: ClipFacts, request: ClipRequest, observers: Observers) -> Findings:
        """Find and measure the shots that begin at the release.

        A first pass also measures how much the frames change. Where that shows the file's times to
        be wrong, which is rare, a second pass measures with the corrected ones.
        """
        context = release_context(facts, self.camera, request)
        meter = ChangeMeter(facts)
        scouting = None if self.field is None else scouting_along(context)
        found = _search(context, Timing.of_file(facts), meter, observers, scouting)
        changes = meter.changes()
        seen = base = check_cadence(changes, facts.file_times_s)
        if seen.cadence is not Cadence.MENDED:
            base = beat_of_lags(seen, lags_of(context, found.flights))
        if base.cadence is not Cadence.MENDED and not found.any_shot:
            found = _once_each(context, found, without_doubles(seen, changes), observers)
        if base.cadence is not Cadence.MENDED and not found.any_shot:
            found = _with_faint(context, found, observers)
        if base.cadence is Cadence.MENDED:
            timing = Timing.corrected(facts, base)
            corrected = _search(context, timing, None, observers.progress_only)
            if fits_better(found.shots, corrected.shots):
                found.notes.append(FILE_TIMES_STAND)
            else:
                corrected.on_file_clock(timing, facts)
                corrected.notes = [*found.notes, base.explanation]
                found = corrected
        elif base.cadence is Cadence.DOUBTFUL:
            found.notes.append(base.explanation)
            found.doubt(Reason(ReasonCode.FRAME_TIMES))
        if seen.cadence is not Cadence.MENDED and not found.any_shot:
            found.causes = self._causes(scouting, seen, context, found)
        return found

    def _causes(
        self,
        scouting: Scouting | None,
        base: TimeBase,
        context: ClipContext,
        found: Findings,
    ) -> tuple[Reason, ...]:
        """Return what was scouted along the search; nothing where that stopped on the way."""
        if self.field is None or scouting is None or scouting.stopped:
            return ()
        scouted, slow = scouting.found(base)
        rejected = [each.shot for each in found.shots]
        return causes_in(scouted, slow, context, self.field, rejected, found.rejected)

    def causes_of_no_shot(
        self,
        facts: ClipFacts,
        request: ClipRequest,
        observers: Observers,
        rejected: Sequence[Shot] = (),
    ) -> tuple[Reason, ...]:
        """Return which entry of the session would explain what falls in the clip."""
        if self.field is None:
            return ()
        context = release_context(facts, self.camera, request)
        return causes_of_no_shot(context, self.field, observers, rejected)


def release_context(facts: ClipFacts, camera: Camera, request: ClipRequest) -> ClipContext:
    """Return what is known of a clip whose shots begin at the release."""
    known = circumstances_of(camera, request, frame_interval_s(facts))
    settings = settings_for(
        camera,
        known.release_m,
        request.ball.diameter_m,
        known.drag,
        known.forces,
        frame_interval_s(facts),
    )
    return ClipContext(facts, request, known, settings)


def _search(
    context: ClipContext,
    timing: Timing,
    meter: ChangeMeter | None,
    observers: Observers,
    scouting: Scouting | None = None,
) -> Findings:
    """Pass once through the clip and return the flights found in it, measured or rejected.

    The clip is scouted in the same pass, for the cause of there being no shot, until one is found.
    """
    # Its flights are computed while the first frames are decoded.
    search = begun(partial(FlightSearch, context.search_context()))
    close_ups = observers.close_ups
    side = 0 if close_ups is None else close_ups.side(1.0 / context.frame_s)
    camera, settings = context.camera, context.settings
    loop = FramePass(context.facts, camera, settings, timing, meter=meter, side_px=side)
    found = Findings(context.camera)
    if scouting is not None:
        scouting.feed_by(loop)
    along = [] if scouting is None else scouting.loops
    with closing(passed_together([loop, *along], observers)) as passed:
        for at, candidates in passed:
            if scouting is not None:
                if at > 0:
                    scouting.push(at - 1, candidates)
                    continue
                scouting.push_fed(candidates)
            for hypothesis in search().push(candidates.in_window()):
                near = search().candidates(hypothesis)
                found.sort([_measured(context, hypothesis, near, observers, found.flights)])
            if scouting is not None and found.any_shot:
                scouting.stop()
    for hypotheses in search().finish():
        for hypothesis in hypotheses:
            near = search().candidates(hypothesis)
            found.sort([_measured(context, hypothesis, near, observers, found.flights)])
    found.rejected += [
        rejected_hypothesis(context, hypothesis, reason)
        for hypothesis, reason in search().rejected_candidates
    ]
    found.notes += loop.notes
    if loop.moves:
        found.notes.append(MOVED_NOTE)
    found.doubt(*loop.doubts())
    return found


def _once_each(
    context: ClipContext, found: Findings, base: TimeBase, observers: Observers
) -> Findings:
    """Return the shots of a clip whose pictures come twice each, in a pass that skips the repeats.

    A frame that is held against its own repeat shows nothing new, and the ball vanishes.
    """
    if base.cadence is not Cadence.MENDED:
        return found
    timing = Timing.corrected(context.facts, base)
    looked = _search(context, timing, None, observers.progress_only)
    if not looked.any_shot:
        return found
    looked.on_file_clock(timing, context.facts)
    looked.notes = [*found.notes, base.explanation]
    return looked


def _with_faint(context: ClipContext, found: Findings, observers: Observers) -> Findings:
    """Return the shots of faint balls where a clip of small ones shows no other, in a second pass.

    In a few frames of a hundred such a ball is a candidate: this search allows for that and takes
    longer.
    """
    if context.settings.diameter_px >= FAINT_PX:
        return found
    settings = replace(context.settings, most=FAINT_RIVALS * context.settings.most)
    faint = replace(context, faint=True, settings=settings)
    looked = _search(faint, Timing.of_file(context.facts), None, observers.progress_only)
    return looked if looked.any_shot else found


def _measured(
    context: ClipContext,
    hypothesis: Hypothesis,
    near: list[Candidates],
    observers: Observers,
    flights: list[TracedFlight],
) -> FittedShot | RejectedCandidate:
    """Measure one found flight, and report it where it is a shot."""
    measured = measure_hypothesis(context, hypothesis, near, flights)
    if observers.close_ups is not None and isinstance(measured, MeasuredShot):
        observers.close_ups.take(measured, near)
    observers.found(measured)
    return measured


def fits_better(shots: Sequence[MeasuredShot], others: Sequence[MeasuredShot]) -> bool:
    """Return whether shots are flights rather than the others are, measured with other times.

    An encoder may repeat a still background while the ball flies on, and nothing shows the time as
    well as a ball in flight: where more of them are believed and scatter less, or as many that
    scatter by less than half as much, the times were right.
    """
    counts, scatters = [], []
    for each in (shots, others):
        believed = [shot for shot in each if shot.shot.quality is not Quality.REJECTED]
        gaps = [
            np.hypot(point.residual_column_px, point.residual_row_px)
            for shot in believed
            for point in shot.points
            if point.used
        ]
        counts.append(len(believed))
        scatters.append(float(np.median(gaps)) if gaps else np.inf)
    share = 1.0 if counts[0] > counts[1] else MUCH_BETTER
    return counts[0] >= counts[1] and scatters[0] < share * scatters[1]
