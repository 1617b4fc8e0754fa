"""Shots before a camera of which too little is known to calibrate it: gravity is the scale."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.site import Site
from calibration.site.presumed import USUAL_AWAY_M, Presumption, Sighted
from tracker.detection import SearchSettings, settings_for
from tracker.fitting import circumstances_of
from tracker.fitting.parameters import CAMERA_ACROSS_AT
from tracker.measurement.context import ClipContext, ClipRequest
from tracker.measurement.fitted_shot import FittedShot
from tracker.measurement.flight import Flight
from tracker.measurement.passes import Observers
from tracker.measurement.scouting import Scouted, scout, scouting_settings
from tracker.measurement.second_pass import Window, reach_px
from tracker.measurement.starts.gravity_scale import UntapedStart, first_fit, measure_untaped
from tracker.measurement.starts.no_throw import other_paths, why_no_throw
from tracker.measurement.starts.protocol import Findings
from tracker.measurement.starts.thrown import measure_throws
from tracker.measurement.throws import Throw, throws_of
from tracker.records import Candidates, Reason
from tracker.video import ClipFacts

Array = NDArray[np.float64]

BEFORE_S, AFTER_S = 0.3, 1.2
"""How long before and after its path in the first pass a ball is looked for, s."""


@dataclass(frozen=True)
class PresumedCameraStart:
    """Shots begin at a release, seen by a camera that is only presumed.

    Attributes
    ----------
    site : Site
        Whatever is known of the camera; too little to calibrate it.
    height_known : bool
        Whether the height of the release was measured.
    """

    site: Site
    height_known: bool

    def find(self, facts: ClipFacts, request: ClipRequest, observers: Observers) -> Findings:
        """Find and measure the shots of a clip without a calibrated camera.

        A first pass joins what moves to paths and keeps those that fall as thrown things do; where
        there is any, a second pass looks at them again as closely as the scale allows that gravity
        gives.

        Raises
        ------
        InputErrors
            For values of the site that cannot be.
        """
        camera = self._camera(request)
        known = circumstances_of(camera, request)
        fall_per_diameter = known.forces.gravity_mps2 / (2.0 * known.ball_radius_m)
        scouted = scout(facts, camera, observers, fall_per_diameter)
        context = ClipContext(facts, request, known, scouting_settings(facts))
        measurement = _Untaped(UntapedStart(self.site, self.height_known), context)
        found = Findings(camera, notes=list(scouted.notes))
        throws = throws_of(scouted, facts.size_px[0])
        found.sort(measure_throws(throws, measurement, context, scouted, observers))
        if not found.shots:
            found.causes = why_no_throw(found.rejected, context, scouted)
        found.rejected += other_paths(throws, context, scouted)
        found.on_file_clock(scouted.timing, facts)
        found.doubt(*scouted.doubts)
        found.notes += _notes(context, scouted, bool(found.shots))
        if measurement.measured:
            found.camera = min(measurement.measured, key=distance_u).camera
        return found

    def causes_of_no_shot(
        self, facts: ClipFacts, request: ClipRequest, observers: Observers
    ) -> tuple[Reason, ...]:
        """Return nothing: what was found says it already, and nothing else was written."""
        return ()

    def _camera(self, request: ClipRequest) -> Camera:
        """Return the camera that is presumed before a frame is looked at."""
        position = self.site.position_m
        side = -1 if position is None or position[1] < 0.0 else 1
        width, height = self.site.size_px
        middle = np.array([width / 2.0, height / 2.0])
        sighted = Sighted(side, USUAL_AWAY_M, np.asarray(request.release_m, float), middle)
        return Presumption(self.site, side).start(sighted)


@dataclass
class _Untaped:
    """How throws before a presumed camera are measured."""

    start: UntapedStart
    context: ClipContext
    measured: list[Flight] = field(default_factory=list)

    def first_fit(self, throw: Throw, frame_s: float) -> Flight:
        """Fit a flight and its camera to a path of the first pass."""
        return first_fit(self.start, self.context, throw)

    def settings(self, flights: Sequence[Flight]) -> SearchSettings:
        """Return what to look for, as the flight has it that knows its camera best."""
        best = min(flights, key=distance_u)
        settings = settings_for(
            best.camera,
            best.known.release_m,
            2.0 * best.known.ball_radius_m,
            best.known.drag,
            best.known.forces,
            self.context.frame_s,
        )
        width, height = best.camera.size_px
        return replace(settings, window=(0, 0, width, height))

    def window(self, flight: Flight) -> Window:
        """Return when and where a flight is looked for."""
        times = flight.throw.arc.times_s
        return Window(
            float(times[0]) - BEFORE_S,
            float(times[-1]) + AFTER_S,
            partial(_near, flight, reach_px(self.context.facts)),
        )

    def measure(
        self, flight: Flight, context: ClipContext, candidates: list[Candidates]
    ) -> FittedShot:
        """Measure a flight in the candidates of the second pass."""
        shot, flight = measure_untaped(self.start, flight, context, candidates)
        self.measured.append(flight)
        return shot


def distance_u(flight: Flight) -> float:
    """Return the relative standard uncertainty of the camera's distance."""
    variance = flight.fitted.covariance[CAMERA_ACROSS_AT, CAMERA_ACROSS_AT]
    return float(np.sqrt(variance) / abs(flight.camera.position[1]))


def _near(flight: Flight, reach: float, candidates: Candidates) -> NDArray[np.bool_]:
    """Return which candidates are near a flight."""
    place = flight.path(np.array([candidates.time_s]))[0]
    with np.errstate(invalid="ignore"):
        near: NDArray[np.bool_] = np.linalg.norm(candidates.pixels - place, axis=1) < reach
    return near


def _notes(context: ClipContext, scouted: Scouted, any_shots: bool) -> list[str]:
    """Return what a person should know of the clip as a whole."""
    found = [scouted.doubt] if scouted.doubt else []
    if any_shots and context.facts.capture_fps is None:
        found.append(
            "Without any length, gravity cannot distinguish a file that plays slower than life "
            "from one filmed from farther away: this one is assumed to play at life speed. If it "
            "is slow motion, write the true rate as capture_fps under [camera] of a session.toml."
        )
    return found
