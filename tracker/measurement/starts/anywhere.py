"""Shots that may begin anywhere in front of a calibrated camera."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from tracker.detection import SearchSettings
from tracker.following.arcs import Arc
from tracker.following.throws import trimmed_throw
from tracker.measurement.context import ClipContext
from tracker.measurement.fitted_shot import FittedShot
from tracker.measurement.flight import Flight
from tracker.measurement.passes import Observers
from tracker.measurement.request import ClipRequest
from tracker.measurement.scouting import scout
from tracker.measurement.second_pass import Window, reach_px
from tracker.measurement.selection import selected
from tracker.measurement.starts.field import Field, field_of, first_fit
from tracker.measurement.starts.first_sight import FirstSight
from tracker.measurement.starts.from_field import measure_from_field
from tracker.measurement.starts.merging import together, without_hops, without_other_falls
from tracker.measurement.starts.protocol import Findings
from tracker.measurement.starts.release import ReleaseStart, release_context
from tracker.measurement.starts.throw_rules import no_throw, rolls
from tracker.measurement.starts.thrown import measure_throws
from tracker.measurement.throws import Throw, throws_of
from tracker.records import (
    Candidates,
    MeasuredShot,
    Quality,
    Reason,
    ReasonCode,
    Rejection,
    Shot,
)
from tracker.video import ClipFacts

Array = NDArray[np.float64]

BEFORE_S, AFTER_S = 0.4, 1.0
"""How long before and after its path in the first pass a ball is looked for, s."""

NEAR_LANDING_M = 3.0
"""How far from where it comes down, m."""

OWN_PX, OWN_SHARE = 6.0, 0.5
"""A position of the first pass this near to a measured one is the same ball's, px, and the share of
a path's positions from which the path is."""

USUAL_STEP_PERCENTILE, FAST_STEP_PERCENTILE = 40, 75
LAG_DIAMETER_PX, LAG_ROUND, MOST_LAG = 1.0, 0.4, 8
SMALL_PX, MOST_SMALL, MOST_LARGE = 8.0, 90, 60
"""How a look follows from the ball's diameter and its steps (`tracker.detection.settings_for`)."""


@dataclass(frozen=True)
class AnywhereStart:
    """Shots may begin anywhere on a field, the release among it.

    Attributes
    ----------
    camera : Camera
        With the covariance of its calibration.
    field : Field
    """

    camera: Camera
    field: Field

    def find(self, facts: ClipFacts, request: ClipRequest, observers: Observers) -> Findings:
        """Find and measure every ball that is thrown through the air.

        Shots from the release are found as ever. Then a pass joins what moves to paths and keeps
        those that fall as thrown things do from where the calibration allows them to be; where
        there are others, a last pass looks at them more closely.
        """
        usual = ReleaseStart(self.camera).find(facts, request, observers.progress_only)
        rows, rejected = selected(usual.shots, usual.rejected, request.setup)
        good = [each for each in rows if each.shot.quality is Quality.GOOD]
        context = release_context(facts, self.camera, request)
        scouted = scout(facts, self.camera, observers)
        throws = [
            throw
            for throw in throws_of(scouted, facts.size_px[0], trimmed_throw)
            if not any(_is_of(throw.arc, shot) for shot in good)
        ]
        found = Findings(self.camera, notes=usual.notes)
        found.sort(
            measure_throws(throws, _FromField(self.field, context), context, scouted, observers)
        )
        found.on_file_clock(scouted.timing, facts)
        found.doubt(*scouted.doubts)
        found.shots, others = without_other_falls(rows, found.shots)
        found.shots, hops = without_hops(together(rows, found.shots, facts.pace))
        found.rejected = [*rejected, *found.rejected, *others, *hops]
        return found

    def causes_of_no_shot(
        self,
        facts: ClipFacts,
        request: ClipRequest,
        observers: Observers,
        rejected: Sequence[Shot] = (),
    ) -> tuple[Reason, ...]:
        """Return which entry of the session would explain what falls in the clip."""
        start = ReleaseStart(self.camera, self.field)
        return start.causes_of_no_shot(facts, request, observers, rejected)


@dataclass(frozen=True)
class _FromField:
    """How throws from anywhere on a field are measured."""

    field: Field
    context: ClipContext

    def first_fit(self, throw: Throw, frame_s: float) -> Flight:
        """Fit a flight to a path of the first pass."""
        if rolls(throw.arc, self.context.camera):
            raise Rejection(Reason(ReasonCode.ON_GROUND))
        beginning = FirstSight(float(throw.arc.times_s[0])).beginning(frame_s)
        flight = first_fit(self.context, self.field, throw, beginning, frame_s)
        release_up_m = float(self.context.request.release_m[2])
        reason = no_throw(flight, self.field, release_up_m, flight.first_s)
        if reason is not None:
            raise Rejection(reason)
        return flight

    def settings(self, flights: Sequence[Flight]) -> SearchSettings:
        """Return what to look for along flights."""
        return settings_along(flights, self.context.frame_s)

    def window(self, flight: Flight) -> Window:
        """Return when and where a flight is looked for."""
        arc, camera = flight.throw.arc, flight.camera
        last = flight.states(arc.times_s[-1:])[0]
        foot = np.array([last[0], last[1], 0.0])
        landing = camera.project(np.vstack([foot, foot + np.array([0.0, 0.0, 1.0])]))
        about = NEAR_LANDING_M * float(np.linalg.norm(landing[1] - landing[0]))
        reach = reach_px(self.context.facts)
        return Window(
            float(arc.times_s[0]) - BEFORE_S,
            float(arc.times_s[-1]) + AFTER_S,
            partial(_near, flight, reach, landing[0], about),
        )

    def measure(
        self, flight: Flight, context: ClipContext, candidates: list[Candidates]
    ) -> FittedShot:
        """Measure a flight in the candidates of the second pass."""
        return measure_from_field(flight, self.field, context, candidates)

    @property
    def sees_size(self) -> bool:
        """Whether a ball's width in the frame is measured: no."""
        return False

    def is_ball(self) -> bool:
        """Return whether the last flight is a ball's by its width, which is not measured."""
        return False


def settings_along(flights: Sequence[Flight], frame_s: float) -> SearchSettings:
    """Return what to look for, and where in the frame, along flights that were found."""
    camera = flights[0].known.camera
    diameters, moved = [], []
    for flight in flights:
        states = flight.states(flight.throw.arc.times_s)
        depth = camera.in_camera(states[:, :3])[:, 2]
        diameters.append(2.0 * flight.known.ball_radius_m * camera.focal_px / np.median(depth))
        _, by_point, _ = camera.project_with_jacobians(states[:, :3])
        motion = np.einsum("nij,nj->ni", by_point, states[:, 3:6])
        moved.append(frame_s * np.linalg.norm(motion, axis=1))
    diameter = float(np.median(diameters))
    percentiles = [USUAL_STEP_PERCENTILE, FAST_STEP_PERCENTILE]
    usual, fast = np.percentile(np.concatenate(moved), percentiles)
    lag = round((diameter + LAG_DIAMETER_PX) / max(usual, 0.1) + LAG_ROUND)
    width, height = camera.size_px
    return SearchSettings(
        diameter_px=diameter,
        step_px=float(fast),
        lag=int(np.clip(lag, 1, MOST_LAG)),
        window=(0, 0, width, height),
        most=MOST_SMALL if diameter < SMALL_PX else MOST_LARGE,
    )


def _near(
    flight: Flight, reach: float, landing: Array, about: float, candidates: Candidates
) -> NDArray[np.bool_]:
    """Return which candidates are near a flight or where it comes down."""
    place = flight.path(np.array([candidates.time_s]))[0]
    with np.errstate(invalid="ignore"):
        near: NDArray[np.bool_] = np.linalg.norm(candidates.pixels - place, axis=1) < reach
        near |= np.linalg.norm(candidates.pixels - landing, axis=1) < about
    return near


def _is_of(arc: Arc, shot: MeasuredShot) -> bool:
    """Return whether most positions of a path are those of a measured shot."""
    theirs = {point.frame: point for point in shot.points if point.used}
    same = [
        np.hypot(column - theirs[frame].column_px, row - theirs[frame].row_px) < OWN_PX
        for frame, (column, row) in zip(arc.frames.tolist(), arc.pixels.tolist(), strict=True)
        if frame in theirs
    ]
    return bool(sum(same) > OWN_SHARE * len(arc.frames))


__all__ = ["AnywhereStart", "Field", "field_of", "settings_along"]
