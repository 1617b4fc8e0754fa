"""The ground on which shots may start, and the first fit of a flight that starts there.

The camera and the ground are calibrated. How far away the path is follows from its acceleration,
which is gravity seen from there, and from the bounce, which is on the ground.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.adjustment import NotDetermined
from tracker.fitting import Observations, fit_flight
from tracker.fitting.parameters import LAUNCH_AT, POSITION_AT, RELEASE_AT, VELOCITY_AT
from tracker.fitting.untaped import UntapedCircumstances
from tracker.measurement.context import ClipContext
from tracker.measurement.flight import Beginning, Flight, StartPrior, first_track, loosened
from tracker.measurement.throws import Throw, bounce_between
from tracker.records import Track

Array = NDArray[np.float64]

BEYOND_M = np.array([10.0, 5.0])
"""Standard deviation of how far beyond the taped field a shot starts, along and across, m: where a
launcher is carried to, or where the person stands who throws a ball back. Common practice, no
source."""

USUAL_HEIGHT_M, HEIGHT_SD_M = 1.5, 5.0
"""Height of a start and its standard deviation, m; it may lie in mid-air where the release is
outside the frame. Common practice, no source."""

GUESSES = (1.0, 0.75, 1.35)
"""Distances tried first, as shares of the one from which gravity would look as it does."""

NEARLY_ALL = 0.9
"""Share of positions used from which a settled fit needs no other first guess."""

LOST_COST = 36.0
"""Cost of a position that a fit does not use: the square of the fit's cut."""

LEAST_PLACES, PLACES_FOR_CUBIC = 6, 12
"""Positions needed for a first guess, and from which a cubic polynomial is fitted."""


@dataclass(frozen=True)
class Field:
    """The ground on which shots may start.

    Attributes
    ----------
    middle_m : ndarray, shape (2,)
        Middle of the taped field, along and across.
    half_m : ndarray, shape (2,)
        Half its length and its width.
    """

    middle_m: Array
    half_m: Array

    @property
    def u_m(self) -> Array:
        """Standard deviation of where a shot starts, along and across, shape (2,).

        That of a place anywhere within the taped field, and of how far beyond it.
        """
        found: Array = np.hypot(self.half_m / np.sqrt(3.0), BEYOND_M)
        return found

    @property
    def prior(self) -> StartPrior:
        """Where a flight may begin."""
        return StartPrior(
            np.array([*self.middle_m, USUAL_HEIGHT_M]), np.array([*self.u_m, HEIGHT_SD_M])
        )

    def outside_m(self, place_m: ArrayLike) -> float:
        """Return how far outside the taped field a place lies, m."""
        apart = np.abs(np.asarray(place_m, float)[:2] - self.middle_m) - self.half_m
        return float(np.linalg.norm(np.maximum(apart, 0.0)))


def field_of(places_m: Iterable[ArrayLike]) -> Field:
    """Return the field that taped points span.

    Parameters
    ----------
    places_m : iterable of array_like, shape (3,)
        Markers and the point of release, ground coordinates.
    """
    places = np.array([np.asarray(place, float)[:2] for place in places_m])
    least, most = places.min(axis=0), places.max(axis=0)
    return Field((least + most) / 2.0, (most - least) / 2.0)


class Spot(Protocol):
    """Where a flight may begin."""

    @property
    def prior(self) -> StartPrior:
        """The prior of the place."""
        ...


def first_fit(
    context: ClipContext, field: Spot, throw: Throw, beginning: Beginning, frame_s: float
) -> Flight:
    """Fit a flight to the positions of a path in the frame.

    Parameters
    ----------
    context : ClipContext
    field : Field, or another prior of the place
    throw : Throw
    beginning : Beginning
    frame_s : float
        True time between the frames of the first pass.

    Raises
    ------
    NotDetermined
        Where no flight explains the path.
    """
    arc, known = throw.arc, loosened(context.circumstances, field.prior, beginning)
    track = first_track(throw, frame_s)
    landed_s = None if throw.hop is None else bounce_between(throw, arc.at, frame_s)
    observed = Observations(track, context.row_share_of(track), landed_s)
    fall_pxps2 = max(float(arc.acceleration_pxps2[1]), 1e-9)
    away = known.camera.focal_px * known.forces.gravity_mps2 / fall_pxps2
    best: Flight | None = None
    for guess in GUESSES:
        try:
            launch = _first_launch(known, track, beginning.time_s, guess * away)
            fitted = fit_flight(known, observed, beginning.time_s, launch)
        except (NotDetermined, np.linalg.LinAlgError):
            continue
        flight = Flight(throw, known, fitted)
        if best is None or _cost(flight) < _cost(best):
            best = flight
        if fitted.settled and np.mean(fitted.used) > NEARLY_ALL:
            break
    if best is None:
        raise NotDetermined("no flight through the air explains its path")
    return best


def begun_at(flight: Flight, field: Field, beginning: Beginning) -> Flight:
    """Return a flight restated for another beginning, not yet fitted again."""
    parameters = flight.fitted.parameters.copy()
    state = flight.states(np.array([beginning.time_s]))[0]
    parameters[RELEASE_AT] = beginning.time_s
    parameters[POSITION_AT], parameters[VELOCITY_AT] = state[:3], state[3:6]
    known = loosened(flight.known, field.prior, beginning)
    return replace(flight, known=known, fitted=replace(flight.fitted, parameters=parameters))


def _cost(flight: Flight) -> float:
    lost = float(np.sum(~flight.fitted.used))
    scatter = float(np.sum(flight.fitted.residuals_px[flight.fitted.used] ** 2))
    return flight.prior_chi_square + LOST_COST * lost + scatter


def _first_launch(
    known: UntapedCircumstances, track: Track, began_s: float, away_m: float
) -> Array:
    """Return the launch of a path on an upright plane square to the view, shape (11,)."""
    camera = known.camera
    width, height = camera.size_px
    ahead = camera.rays([[width / 2.0, height / 2.0]])[0] * np.array([1.0, 1.0, 0.0])
    ahead /= max(float(np.linalg.norm(ahead)), 1e-9)
    places = camera.on_plane(track.pixels, camera.position + away_m * ahead, ahead)
    good = np.isfinite(places).all(axis=1)
    if np.sum(good) < LEAST_PLACES:
        raise NotDetermined("its path does not lie in front of the camera")
    launch = known.prior_mean()[LAUNCH_AT]
    degree = 3 if np.sum(good) >= PLACES_FOR_CUBIC else 2
    for axis in range(3):
        path = np.polynomial.Polynomial.fit(
            track.times_s[good] - began_s, places[good, axis], degree
        )
        launch[axis], launch[3 + axis] = path(0.0), path.deriv()(0.0)
    return launch
