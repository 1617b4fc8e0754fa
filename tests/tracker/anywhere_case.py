"""A shot that starts anywhere, as its path of the first pass and as its places of the second."""

from dataclasses import dataclass, replace

import numpy as np

from calibration.adjustment import NotDetermined
from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import (
    FRAME_S,
    Drawn,
    calibrated,
    circumstances,
    departures,
    positions,
)
from tracker.fitting import FittedFlight, Observations, figures_of, fit_flight
from tracker.flight.figures import FIGURES
from tracker.following.arcs import fit_arc
from tracker.measurement.flight import Flight
from tracker.measurement.starts.field import Field, field_of, first_fit
from tracker.measurement.starts.first_sight import Entry, FirstSight
from tracker.measurement.throws import Throw

KNOWN = circumstances(calibrated())
FIELD = field_of([(0, 0, 0), (30, 0, 0), (20, 6, 0)])
CHECKED = FIGURES[:-2]
"""All that have an uncertainty of their own in the rows."""


@dataclass(frozen=True)
class AnywhereCase:
    """A drawn shot and how it came into view."""

    case: Drawn
    sight: FirstSight
    field: Field = FIELD

    def fit(self) -> tuple[Flight, FittedFlight]:
        """Fit it as the workflow does: to the path of the first pass, then to the places."""
        track = self.case.track
        places = np.column_stack([track.frames, track.times_s, track.pixels])
        throw = Throw(fit_arc(places[::2], 2.0 * FRAME_S), None)
        began = self.sight.beginning(FRAME_S)
        flight = first_fit(clip_context(KNOWN), self.field, throw, began, 2.0 * FRAME_S)
        fitted = fit_flight(
            flight.known,
            Observations(track, self.case.row_share),
            flight.release_s,
            flight.launch,
        )
        return flight, fitted

    def scores(self) -> dict[str, tuple[float, float]]:
        """Return error over standard uncertainty, and the latter, by figure."""
        flight, fitted = self.fit()
        figures = figures_of(flight.known, fitted.parameters)
        true, u = figures_of(KNOWN, self.case.truth), figures.u(fitted.covariance)
        found = {}
        for name in CHECKED:
            off = figures.value(name) - true.value(name)
            if name == "azimuth_deg":
                off = (off + 180.0) % 360.0 - 180.0
            found[name] = (off / u[name], u[name])
        return found


def drawn_anywhere(rng: np.random.Generator, up_m: float | None = None) -> AnywhereCase:
    """Draw a shot from anywhere on the field, fired any way; part may lie out of the picture."""
    while True:
        truth = KNOWN.prior_mean() + departures(rng, KNOWN)
        truth[1:4] = rng.uniform(-3.0, 30.0), rng.normal(0.0, 3.0), up_m or rng.uniform(0.4, 2.0)
        speed, angle = rng.uniform(9.0, 20.0), np.radians(rng.uniform(20.0, 55.0))
        # Up or down the field, or aslant across it.
        way = rng.choice([0.0, np.pi]) + rng.normal(0.0, 0.4)
        level = speed * np.cos(angle)
        truth[0] = 0.5 + FRAME_S * rng.uniform(-0.9, 0.4)
        truth[4:7] = level * np.cos(way), level * np.sin(way), speed * np.sin(angle)
        try:
            case = positions(rng, KNOWN, truth)
        except (ValueError, NotDetermined):  # it flies past the camera
            continue
        landed = truth[0] + figures_of(KNOWN, truth).value("flight_time_s")
        count = len(case.track.frames)
        if count < 60 or case.track.times_s[-1] < landed - 0.1 or case.track.frames[0] > 1:
            continue
        return AnywhereCase(case, FirstSight(float(case.track.times_s[0])))


def late(drawn: AnywhereCase, first: int) -> AnywhereCase:
    """Return the same shot as if it had come into the picture with its place number `first`."""
    case, track = drawn.case, drawn.case.track
    shown = slice(first, None)
    began_s = float(track.times_s[first])
    cut = replace(
        track,
        frames=track.frames[shown],
        times_s=track.times_s[shown],
        pixels=track.pixels[shown],
        covariances=track.covariances[shown],
        lean=track.lean[shown],
    )
    return replace(
        drawn,
        case=replace(case, track=cut, row_share=case.row_share[shown]),
        sight=FirstSight(began_s, Entry.EDGE),
    )
