"""A path in the picture to a flight through the air, where only its start is not known.

The camera and the ground are calibrated. How far off the path is, its acceleration tells, which
is gravity seen from there, and the bounce, which is on the ground.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.adjustment import NotDetermined
from calibration.camera import Camera
from tracker.fitting import Circumstances, FittedFlight, fit_flight
from tracker.fitting.model import flight_of
from tracker.fitting.observations import Observations
from tracker.fitting.parameters import CAMERA_AT
from tracker.fitting.untaped import UntapedCircumstances, UntapedFit, prior_chi_square
from tracker.measurement.scouting import Throw, bounce_of
from tracker.measurement.sighting import Shutter
from tracker.records import Track

Array = NDArray[np.float64]

BEYOND_M = np.array([10.0, 5.0])
"""How far beyond what was taped a shot may start, along and across: where a launcher is carried
to, or where the person stands who throws a ball back. One standard deviation, besides that of a
place anywhere within what was taped. Common practice, no source."""

USUAL_HEIGHT_M, HEIGHT_SD_M = 1.5, 5.0
"""Height of a start, which may lie in mid-air where the release is out of the picture."""

EXTRA_PX, STREAK_SHARE = 1.0, 0.05
"""Standard uncertainty of a place of the first pass: a pixel, and a part of its way."""

GUESSES = (1.0, 0.75, 1.35)
"""Distances tried first, as shares of the one from which gravity would look as it does."""

EXACT_S = 1e-4


@dataclass(frozen=True)
class Field:
    """The ground on which shots may start.

    Attributes
    ----------
    middle_m : ndarray, shape (2,)
        Middle of what was taped, along and across.
    half_m : ndarray, shape (2,)
        Half its length and its width.
    """

    middle_m: Array
    half_m: Array

    @property
    def u_m(self) -> Array:
        """Standard deviation of where a shot starts, along and across, shape (2,)."""
        return np.hypot(self.half_m / np.sqrt(3.0), BEYOND_M)

    def off(self, place_m: ArrayLike) -> float:
        """Return by how far a place lies off what was taped, m."""
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


@dataclass(frozen=True)
class Began:
    """When a flight is taken to have begun.

    Attributes
    ----------
    time_s, u_s : float
        True time in the clip, and its standard uncertainty.
    """

    time_s: float
    u_s: float


@dataclass(frozen=True)
class Flight:
    """A thrown ball's path with the flight fitted to it so far."""

    throw: Throw
    known: UntapedCircumstances
    fitted: FittedFlight

    @property
    def camera(self) -> Camera:
        """The camera as the fit has it."""
        return self.known.camera.perturbed(self.fitted.parameters[CAMERA_AT:])

    @property
    def release_s(self) -> float:
        """True time in the clip of the flight's beginning."""
        return float(self.fitted.parameters[0])

    @property
    def launch(self) -> Array:
        """As fitted, shape (11,)."""
        return self.fitted.parameters[1:12]

    @property
    def first_s(self) -> float:
        """True time of the first place of its path that the fit to that path used."""
        times = self.throw.arc.times_s
        used = (
            self.fitted.used if len(self.fitted.used) == len(times) else np.ones(len(times), bool)
        )
        return first_of_many(times, used)

    def states(self, times_s: Array) -> Array:
        """Return place and velocity at true times, shape (N, 6), on beyond either end."""
        return states_at(self.known, self.fitted, times_s)

    def path(self, times_s: Array) -> Array:
        """Return the pixels at true times, shape (N, 2)."""
        return self.camera.project(self.states(times_s)[:, :3])

    def prior_chi_square(self) -> float:
        """Return the squared distance from all that was presumed, in units of its spread."""
        return prior_chi_square(UntapedFit(self.known, self.fitted))


def first_of_many(times_s: Array, used: NDArray[np.bool_]) -> float:
    """Return the time of the first place that is used, and two of the three after it too."""
    ahead = np.convolve(used, np.ones(4), "full")[3:]
    begins = np.flatnonzero(used & (ahead >= 3))
    return float(times_s[begins[0]] if len(begins) else times_s[0])


def states_at(known: Circumstances, fitted: FittedFlight, times_s: Array) -> Array:
    """Return place and velocity of a fitted flight at true times, shape (N, 6).

    Before its beginning it is carried back with the acceleration that it has there.
    """
    since = np.asarray(times_s, float) - fitted.parameters[0]
    longest = float(max(since.max(initial=0.0), 0.1)) + 0.1
    flight = flight_of(known, fitted.parameters, longest, 0.04)
    states = flight.at(np.maximum(since, 0.0))
    early, push = np.minimum(since, 0.0)[:, None], flight.rates[0, 3:6]
    states[:, :3] += early * states[:, 3:6] + 0.5 * early**2 * push
    states[:, 3:6] += early * push
    return states


def loosened(known: Circumstances, field: Field, began: Began) -> UntapedCircumstances:
    """Return what is known of a shot that may start anywhere on a field.

    Parameters
    ----------
    known : Circumstances
    field : Field
    began : Began
        By when the ball was first seen: where and when it began cannot both be found.
    """
    given = {name: getattr(known, name) for name in Circumstances.__dataclass_fields__}
    given["release_m"] = np.array([*field.middle_m, USUAL_HEIGHT_M])
    return UntapedCircumstances(
        **given,
        release_each_u_m=np.array([*field.u_m, HEIGHT_SD_M]),
        began_s=began.time_s,
        began_u_s=max(began.u_s, EXACT_S),
    )


def first_fit(shutter: Shutter, field: Field, throw: Throw, began: Began, frame_s: float) -> Flight:
    """Fit a flight to the places of a path in the picture.

    Parameters
    ----------
    shutter : Shutter
        With what is known of every shot of the clip.
    field : Field
    throw : Throw
    began : Began
    frame_s : float
        True time between the frames of the first pass.

    Raises
    ------
    NotDetermined
        Where no flight explains the path.
    """
    arc, known = throw.arc, loosened(shutter.circumstances, field, began)
    u_px = EXTRA_PX + STREAK_SHARE * float(np.linalg.norm(arc.velocity_pxps)) * frame_s
    track = Track(
        arc.frames,
        arc.times_s,
        arc.pixels,
        np.repeat((u_px**2 * np.eye(2))[None], len(arc.frames), axis=0),
        np.zeros(len(arc.frames)),
    )
    share = shutter.row_share(track.pixels)
    landed_s = None if throw.hop is None else bounce_of(throw, arc.at, frame_s)
    observed = Observations(track, share, landed_s)
    fall_pxps2 = max(float(arc.acceleration_pxps2[1]), 1e-9)
    away = known.camera.focal_px * known.forces.gravity_mps2 / fall_pxps2
    best: Flight | None = None
    for guess in GUESSES:
        try:
            launch = _guessed(known, track, began.time_s, guess * away)
            fitted = fit_flight(known, observed, began.time_s, launch)
        except (NotDetermined, np.linalg.LinAlgError):
            continue
        flight = Flight(throw, known, fitted)
        if best is None or _cost(flight) < _cost(best):
            best = flight
        if fitted.settled and np.mean(fitted.used) > 0.9:
            break
    if best is None:
        raise NotDetermined("no flight through the air explains its path")
    return best


def _cost(flight: Flight) -> float:
    lost = float(np.sum(~flight.fitted.used))
    scatter = float(np.sum(flight.fitted.residuals_px[flight.fitted.used] ** 2))
    return flight.prior_chi_square() + 36.0 * lost + scatter


def _guessed(known: UntapedCircumstances, track: Track, began_s: float, away_m: float) -> Array:
    """Return the launch of a path on an upright plane square to the sight, shape (11,)."""
    camera = known.camera
    width, height = camera.size_px
    ahead = camera.rays([[width / 2.0, height / 2.0]])[0] * np.array([1.0, 1.0, 0.0])
    ahead /= max(float(np.linalg.norm(ahead)), 1e-9)
    places = camera.on_plane(track.pixels, camera.position + away_m * ahead, ahead)
    good = np.isfinite(places).all(axis=1)
    if np.sum(good) < 6:
        raise NotDetermined("its path does not lie in front of the camera")
    launch = known.prior_mean()[1:12]
    degree = 3 if np.sum(good) >= 12 else 2
    for axis in range(3):
        path = np.polynomial.Polynomial.fit(
            track.times_s[good] - began_s, places[good, axis], degree
        )
        launch[axis], launch[3 + axis] = path(0.0), path.deriv()(0.0)
    return launch


def rebegun(flight: Flight, field: Field, began: Began) -> Flight:
    """Return a flight whose launch is told for another beginning, not yet fitted again."""
    state = flight.states(np.array([began.time_s]))[0]
    parameters = flight.fitted.parameters.copy()
    parameters[0], parameters[1:7] = began.time_s, state
    known = loosened(flight.known, field, began)
    return replace(flight, known=known, fitted=replace(flight.fitted, parameters=parameters))
