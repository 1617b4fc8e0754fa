"""Fit of a flight together with a camera that is hardly known: gravity gives the scale.

A path in the picture looks the same from twice as far at twice the speed, except for gravity, whose
value is known. The prior of the camera is so wide that it is not normal over its whole width, least
of all in the distance. It is linearised anew about every fitted camera until the two agree: the
result is the maximum of the posterior density, and its covariance that of the normal distribution
with the same curvature there.
"""

from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri

from calibration.adjustment import NotDetermined
from calibration.adjustment.normal import inverse_of_normal
from calibration.camera import Camera
from tracker.fitting.circumstances import Circumstances
from tracker.fitting.fit import FittedFlight, fit_given_gusts, initial_parameters, refit_gusts
from tracker.fitting.observations import Observations
from tracker.fitting.parameters import (
    CAMERA_AT,
    CAMERA_SIZE,
    LAUNCH_AT,
    POSITION_AT,
    RELEASE_AT,
    VELOCITY_AT,
)
from tracker.fitting.priors import CameraPrior, CameraRows, NormalPrior, Prior
from tracker.records import Track

Array = NDArray[np.float64]

AIM_SD_RAD = np.radians(5.0)
"""Standard uncertainty of a launcher's direction about its own firing line, rad. Common practice,
no source."""

DOUBTED_SHARE, LEAST_FREE = 0.05, 2
"""Share of the fields with right markers that are doubted, and fewest free coordinates that markers
which may stand elsewhere are taken to bring. With two the departures' sum of squares may fall by
6.0 (chi-square): on foreign fields of three markers it fell by 2.3 to 3.5 in four, and by 7.5 to 57
with one taped 1 m off."""

FIXED_BY_LINE = 5
"""Pixel coordinates of markers on one line that a camera follows without them: place and scale
along it, how that changes, and the line's own place and slope in the frame."""

LEAST_PLACES, LEAST_CUBIC = 6, 12
"""Fewest positions of a first guess, and fewest for which its path is of third degree."""


@dataclass(frozen=True)
class UntapedCircumstances(Circumstances):
    """What is known about a shot whose camera and release were not taped.

    Attributes
    ----------
    camera_shift : ndarray, shape (14,)
        Prior mean of the departure from `camera`, about which the fit is linearised.
    camera_rows : callable, optional
        What is known of the camera, where no normal law describes it: shift and covariance then
        stand for it near `camera` only.
    release_each_u_m : ndarray, shape (3,)
        Standard uncertainty of `release_m` by coordinate, instead of `release_u_m`.
    began_s, began_u_s : float
        Prior of the release time, from when the ball was first seen, s; no prior where the
        uncertainty is zero.
    aim_u_mps : float
        Standard uncertainty of the speed across the firing line; no prior where it is zero.
    markers_doubted : bool
        Whether the flight contradicts the markers as they were taped, and the camera is held
        against what is known if they may stand elsewhere.
    """

    camera_shift: Array = field(default_factory=lambda: np.zeros(CAMERA_SIZE))
    camera_rows: CameraRows | None = None
    release_each_u_m: Array = field(default_factory=lambda: np.zeros(3))
    began_s: float = 0.0
    began_u_s: float = 0.0
    aim_u_mps: float = 0.0
    markers_doubted: bool = False

    def prior_mean(self) -> Array:
        """Return the prior mean of the parameters, shape (P,)."""
        mean = super().prior_mean()
        mean[RELEASE_AT] = self.began_s
        mean[CAMERA_AT:] = self.camera_shift
        return mean

    def prior_information(self) -> Array:
        """Return the inverse covariance of the prior, shape (P, P)."""
        information = super().prior_information()
        at = np.r_[RELEASE_AT, POSITION_AT]
        own = np.array([self.began_u_s, *self.release_each_u_m])
        weight = np.where(own > 0.0, 1.0 / np.maximum(own, 1e-12) ** 2, 0.0)
        information[at, at] = weight
        if self.aim_u_mps > 0.0:
            across = VELOCITY_AT.start + 1
            information[across, across] = self.aim_u_mps**-2
        return information

    def prior(self) -> Prior:
        """Return the prior as rows of a fit."""
        if self.camera_rows is None:
            return super().prior()
        information = self.prior_information()
        information[CAMERA_AT:] = information[:, CAMERA_AT:] = 0.0
        normal = NormalPrior.of(self.prior_mean(), information)
        return CameraPrior(normal, self.camera, self.camera_rows)


class LooseMarkers(NamedTuple):
    """What is known of a camera if any marker may stand elsewhere, and how many markers there are.

    Attributes
    ----------
    rows : callable
    markers : int
    """

    rows: CameraRows
    markers: int

    @property
    def most_strain(self) -> float:
        """Most by which the departures' sum of squares falls where the markers stand as taped.

        Each marker that the others check has a residual of its own, which moving it takes away.
        """
        free = max(LEAST_FREE, 2 * self.markers - FIXED_BY_LINE)
        return float(chdtri(free, DOUBTED_SHARE))


@dataclass(frozen=True)
class UntapedFit:
    """A fitted flight, with the circumstances linearised about it."""

    circumstances: UntapedCircumstances
    fitted: FittedFlight


def fit_untaped(
    known: UntapedCircumstances,
    rows: CameraRows,
    observed: Observations,
    release_s: float,
    launch: Array,
    loose: LooseMarkers | None = None,
) -> UntapedFit:
    """Fit a flight and its camera to the positions and to all that is known of the camera.

    Markers too few to check each other are checked by the fall: where the departures from all that
    is known have a much smaller sum of squares if the markers may stand elsewhere, they may.

    Parameters
    ----------
    known : UntapedCircumstances
        Its camera is the first guess.
    rows : callable
        What is known of the camera, held against a given one.
    observed, release_s, launch
        As of `tracker.fitting.fit.fit_flight`.
    loose : LooseMarkers, optional
        None where no marker is.

    Raises
    ------
    NotDetermined
        When the track does not fix a flight.
    """
    fit = _fitted(known, rows, observed, release_s, launch)
    if loose is None or not fit.fitted.settled or _strain(fit) <= loose.most_strain:
        return fit
    other = _fitted(known, loose.rows, observed, release_s, launch)
    if not other.fitted.settled or _strain(fit) - _strain(other) <= loose.most_strain:
        return fit
    return replace(other, circumstances=replace(other.circumstances, markers_doubted=True))


def _strain(fit: UntapedFit) -> float:
    """Return the sum of squares of the departures from all priors."""
    gap, _ = fit.circumstances.prior().rows(fit.fitted.parameters)
    return float(gap @ gap)


def _fitted(
    known: UntapedCircumstances,
    rows: CameraRows,
    observed: Observations,
    release_s: float,
    launch: Array,
) -> UntapedFit:
    """Return the fit to the positions and to one view of the camera."""
    circumstances = _about(known, rows, known.camera, launch)
    start = initial_parameters(circumstances, release_s, launch)
    fitted = fit_given_gusts(circumstances, observed, start)
    circumstances, fitted = _moved(circumstances, rows, fitted)
    if not fitted.settled:
        # Nothing that flew: the search for its gusts would be as long and as vain.
        return UntapedFit(circumstances, fitted)
    fitted = refit_gusts(circumstances, observed, fitted)
    return UntapedFit(*_moved(circumstances, rows, fitted))


def _about(
    known: UntapedCircumstances, rows: CameraRows, camera: Camera, launch: Array
) -> UntapedCircumstances:
    """Return the circumstances with the camera's prior linearised about a camera."""
    gap, slope = rows(camera)
    if not (np.all(np.isfinite(gap)) and np.all(np.isfinite(slope))):
        raise NotDetermined("no camera could stand there")
    covariance = inverse_of_normal(slope.T @ slope)
    return replace(
        known,
        camera=camera.with_covariance((covariance + covariance.T) / 2.0),
        camera_shift=covariance @ (slope.T @ gap),
        camera_rows=rows,
        aim_u_mps=float(AIM_SD_RAD * max(np.hypot(launch[3], launch[4]), 1.0)),
    )


def _moved(
    known: UntapedCircumstances, rows: CameraRows, fitted: FittedFlight
) -> tuple[UntapedCircumstances, FittedFlight]:
    """Return a fit as one about its own camera."""
    camera = known.camera.perturbed(fitted.parameters[CAMERA_AT:])
    parameters = fitted.parameters.copy()
    parameters[CAMERA_AT:] = 0.0
    about = _about(known, rows, camera, parameters[LAUNCH_AT])
    return about, replace(fitted, parameters=parameters)


def first_launch(known: Circumstances, track: Track, release_s: float) -> Array:
    """Return a first guess of the launch from the path in the firing line's plane, shape (11,).

    Parameters
    ----------
    known : Circumstances
        With any camera that sees the firing line.
    track : Track
    release_s : float
    """
    launch = known.prior_mean()[LAUNCH_AT]
    places = known.camera.on_plane(track.pixels, known.release_m, (0.0, 1.0, 0.0))
    good = np.isfinite(places).all(axis=1)
    if np.sum(good) < LEAST_PLACES:
        raise NotDetermined("the camera does not look at the firing line")
    since = track.times_s[good] - release_s
    degree = 3 if np.sum(good) >= LEAST_CUBIC else 2
    for axis, at in ((0, 3), (2, 5)):
        path = np.polynomial.Polynomial.fit(since, places[good, axis], degree)
        launch[at] = path.deriv()(0.0)
    return launch


def prior_chi_square(fit: UntapedFit) -> float:
    """Return the squared distance of a fit from its prior, in units of the prior's covariance."""
    circumstances = fit.circumstances
    off = fit.fitted.parameters - circumstances.prior_mean()
    return float(off @ circumstances.prior_information() @ off)
