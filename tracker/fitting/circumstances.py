"""What is known about a shot before its positions are looked at."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.ground import LEVEL, Ground
from tracker.fitting.parameters import (
    CAMERA_AT,
    DRAG_AT,
    FADE_AT,
    GRAVITY_AT,
    LIFT_AT,
    LIGHT_AT,
    MEAN_WIND_AT,
    PARAMETERS,
    POSITION_AT,
    READOUT_AT,
    SLOPE_AT,
    WIND_AT,
)
from tracker.fitting.priors import NormalPrior, Prior
from tracker.flight.forces import Forces
from tracker.flight.gusts import GUST_MODES, gust_covariance

Array = NDArray[np.float64]

USUAL_LIGHT, LIGHT_U = np.array([0.0, -20.0, 0.0]), 20.0
"""Brightness slope across a ball, in luma steps from its middle to its rim along the camera's axes
(right, down, forward), and its standard uncertainty. Light comes from above, outdoors and in halls.
Under an overcast sky and over grass that reflects a fifth, a ball's foot has a fifth of the light
of its top (Lambert's law), half of the luma after the camera's gamma: a fall of 25 to 45 luma steps
from the middle to the foot of a bright ball."""

LIFT_FADE, LIFT_FADE_U = 0.25, 0.7
"""Fade of a ball's lift with speed (`tracker.flight.aerodynamics.Lifts`), no unit. A ball that
keeps its spin has 0.75 to 0.9 at spin ratios of 0.1 to 0.03, by C = 1 / (2 + v / (R w))
(`tracker.flight.coefficients.FeltLift`); one whose lift comes from uneven cloth alone, or that
loses spin as fast as speed, has 0. Cloth makes 0.03 of lift and wheels that differ by 3 % make
0.015 (docs/methods/flight.md): spin has a fifth of the variance, and more where wheels differ more.
All shots of a launcher may share one cause, so either lies within a standard uncertainty."""

EXACT = 1e-7
"""Standard uncertainty of what is known exactly: small beside any other, in any unit."""

GROUND_U_M = 0.02
"""Standard uncertainty of the ground's height where the ball lands, beside the plane of the
markers, m. Common practice, no source."""


@dataclass(frozen=True)
class Circumstances:
    """The priors of a shot: values and standard uncertainties.

    Attributes
    ----------
    camera : Camera
        With the covariance of its calibration.
    release_m : ndarray, shape (3,)
        Taped point of release, m.
    release_u_m : float
    forces : Forces
    gravity_u_mps2 : float
        Standard uncertainty of the gravity in `forces`.
    drag, drag_u : float
        Drag coefficient of the ball; the uncertainty includes that of the air's density and the
        ball's mass and size, which act in the same way.
    drag_air_u : float
        The part of `drag_u` that comes from the air's density.
    drag_slope_u : float
        Standard uncertainty of the drag's slope about zero (`tracker.flight.aerodynamics`).
    gust_u_mps : float
        Standard deviation of the gusts along and across.
    reach_share_u : float
        Relative standard uncertainty of the forces' reach: of density, mass and size.
    camera_parts : mapping of str to ndarray, shape (14, 14)
        The camera's covariance by source; empty where only the whole is known.
    ground : Ground
    lift_u : float
        Standard uncertainty of each lift coefficient about zero.
    wind_mps : tuple of float
        Along and across the firing line.
    wind_u_mps : float
        Of either component of the session's mean wind.
    ball_radius_m : float
    readout_s, readout_u_s : float
        Time from the first to the last row of the picture.
    """

    camera: Camera
    release_m: Array
    release_u_m: float
    forces: Forces
    gravity_u_mps2: float
    drag: float
    drag_u: float
    lift_u: float
    wind_mps: tuple[float, float]
    wind_u_mps: float
    ball_radius_m: float
    readout_s: float
    readout_u_s: float
    drag_air_u: float = 0.0
    drag_slope_u: float = 0.0
    gust_u_mps: float = 0.0
    reach_share_u: float = 0.0
    camera_parts: Mapping[str, Array] = field(default_factory=dict)
    ground: Ground = LEVEL

    def prior_mean(self) -> Array:
        """Return the prior mean of `PARAMETERS`; zero for those without a prior."""
        mean = np.zeros(len(PARAMETERS))
        mean[POSITION_AT] = self.release_m
        mean[DRAG_AT] = self.drag
        mean[MEAN_WIND_AT] = self.wind_mps
        mean[READOUT_AT] = self.readout_s
        mean[LIGHT_AT] = USUAL_LIGHT
        mean[FADE_AT] = LIFT_FADE
        return mean

    def prior_information(self) -> Array:
        """Return the inverse covariance of the prior, shape (P, P); zero where there is none."""
        information = np.zeros((len(PARAMETERS), len(PARAMETERS)))
        own = np.zeros(CAMERA_AT)
        own[POSITION_AT] = self.release_u_m
        own[DRAG_AT] = self.drag_u
        own[LIFT_AT] = self.lift_u
        own[READOUT_AT] = self.readout_u_s
        own[LIGHT_AT] = LIGHT_U
        own[GRAVITY_AT] = self.gravity_u_mps2
        own[SLOPE_AT] = max(self.drag_slope_u, EXACT)
        own[FADE_AT] = LIFT_FADE_U
        own_weight = np.where(own > 0, 1.0 / np.maximum(own, 1e-12) ** 2, 0.0)
        information[:CAMERA_AT, :CAMERA_AT] = np.diag(own_weight)
        for own_wind in WIND_AT:
            information[np.ix_(own_wind, own_wind)] = _inverse(self.wind_covariance())
        information[CAMERA_AT:, CAMERA_AT:] = _inverse(self.camera.covariance)
        return information

    def prior(self) -> Prior:
        """Return the prior as rows of a fit."""
        return NormalPrior.of(self.prior_mean(), self.prior_information())

    def wind_covariance(self, shared: bool = True, own: bool = True) -> Array:
        """Return the covariance of one component of the wind and its gusts, shape (7, 7), m²/s².

        The session's mean wind is the same for every shot (`shared`); each shot meets its own
        gust, whose mean over the flight adds to it (`own`).
        """
        found = np.zeros((1 + GUST_MODES, 1 + GUST_MODES))
        if own:
            found += max(self.gust_u_mps, EXACT) ** 2 * gust_covariance()
        if shared:
            found[0, 0] += self.wind_u_mps**2
        return found


def _inverse(covariance: Array) -> Array:
    """Return the inverse of a covariance whose zero diagonal entries mean 'known exactly'."""
    spread = np.sqrt(np.diag(covariance))
    known = spread <= 0.0
    scale = np.where(known, 1.0, spread)
    correlation = covariance / np.outer(scale, scale)
    correlation[known] = correlation[:, known] = 0.0
    correlation[np.diag_indices_from(correlation)] = 1.0
    values, vectors = np.linalg.eigh(correlation)
    values = np.maximum(values, 1e-12)
    inverse: Array = (vectors / values) @ vectors.T / np.outer(scale, scale)
    inverse[known] = inverse[:, known] = 0.0
    inverse[known, known] = 1e16
    return inverse
