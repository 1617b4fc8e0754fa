"""How a throw before a presumed camera is fitted, looked at again and measured."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from tracker.detection import USUAL_PERCENTILE, SearchSettings, lag_for, settings_for
from tracker.fitting.parameters import CAMERA_ACROSS_AT
from tracker.measurement.context import ClipContext
from tracker.measurement.fitted_shot import FittedShot
from tracker.measurement.flight import Flight
from tracker.measurement.second_pass import Window, reach_px
from tracker.measurement.starts.gravity_scale import first_fit, measure_untaped
from tracker.measurement.starts.seen_size import size_shows_ball
from tracker.measurement.starts.untaped_start import UntapedStart
from tracker.measurement.throws import Throw
from tracker.records import Candidates

BEFORE_S, AFTER_S = 0.3, 1.2
"""How long before and after its path in the first pass a ball is looked for, s."""


@dataclass
class UntapedMeasurement:
    """How throws before a presumed camera are measured.

    Attributes
    ----------
    start : UntapedStart
    context : ClipContext
    own_lag : bool
        Whether the frames that are compared lie as far apart as these throws need, which may be
        slower than usual shots.
    measured : list of Flight
        Afterwards: those that made a row.
    """

    start: UntapedStart
    context: ClipContext
    own_lag: bool = False
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
        lag = settings.lag
        if self.own_lag:
            lag = max(lag_for(settings.diameter_px, usual_step_px(each)) for each in flights)
        return replace(settings, window=(0, 0, width, height), lag=lag)

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

    @property
    def sees_size(self) -> bool:
        """Whether a ball's width in the frame is measured: where nothing was taped."""
        return self.start.bare

    def is_ball(self) -> bool:
        """Return whether the last flight that was measured is a ball's; forget one that is not."""
        shown = size_shows_ball(self.measured[-1])
        if not shown:
            self.measured.pop()
        return shown


def usual_step_px(flight: Flight) -> float:
    """Return how far a ball usually moves from one frame to the next, px."""
    arc = flight.throw.arc
    steps = np.linalg.norm(np.diff(arc.pixels, axis=0), axis=1) / np.diff(arc.frames)
    return float(np.percentile(steps, USUAL_PERCENTILE))


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
