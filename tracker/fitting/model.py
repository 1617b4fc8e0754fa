"""What a flight, a camera and a clock together say a pixel should be."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from calibration.camera import PARAMETERS as CAMERA_PARAMETERS
from calibration.camera import Camera
from tracker.flight.forces import Forces
from tracker.flight.gusts import GUST_MODES, gust_covariance
from tracker.flight.trajectory import EXTRAS, LAUNCH, Trajectory, fly

Array = NDArray[np.float64]

PARAMETERS = (
    "release_s",
    *LAUNCH,
    "readout_s",
    "light_column",
    "light_row",
    "gravity_mps2",
    *EXTRAS[1:],
    *CAMERA_PARAMETERS,
)
"""Everything that a fit adjusts: the release, the launch, the shutter's readout, the light on
the ball, gravity and what else bends a flight (`tracker.flight.trajectory.EXTRAS`), and the
camera; gravity and the camera as moves from what is known of them."""

DRAG_AT = PARAMETERS.index("drag")
LIFT_AT = slice(DRAG_AT + 1, DRAG_AT + 3)
READOUT_AT = 1 + len(LAUNCH)
LIGHT_AT = READOUT_AT + 1
GRAVITY_AT = LIGHT_AT + 2
SLOPE_AT = GRAVITY_AT + 1
FADE_AT = SLOPE_AT + 1
GUSTS_AT = FADE_AT + 1
CAMERA_AT = GRAVITY_AT + len(EXTRAS)

FLIGHT_AT = np.array([*range(1, READOUT_AT), *range(GRAVITY_AT, CAMERA_AT)])
"""Where the parameters that decide the flight stand, in the order of a flight's sensitivities."""

WIND_AT = tuple(
    np.array([mean, *range(GUSTS_AT + first, GUSTS_AT + first + GUST_MODES)])
    for mean, first in ((10, 0), (11, GUST_MODES))
)
"""Mean wind and gusts, along and across; what is known of them is known together."""

USUAL_LIGHT, LIGHT_U = np.array([0.0, -20.0]), 20.0
"""How unevenly a ball is lit, in luma steps from its middle to its rim along columns and rows, and
its standard uncertainty. Light comes from above, outdoors and in halls. Under an overcast sky and
over grass that gives back a fifth, a ball's foot has a fifth of the light of its top (Lambert's
law), which a camera makes half the luma: a fall of 25 to 45 luma steps from the middle to the
foot of a bright ball."""
STEP_S, LONGEST_STEP_S = 0.04, 0.1
"""Steps of the fitted flight: the longest leaves a hundredth of a millimetre where the air brakes
a ball as it does a tennis ball or a heavier one, and a lighter ball takes shorter steps."""
LIFT_FADE, LIFT_FADE_U = 0.4, 0.4
"""How a ball's lift follows its speed (`tracker.flight.variation.Lifts`). A ball that keeps its
spin while it slows from v to v / 2 has 1.7 times the lift coefficient at a spin ratio of 0.1, by
C = 1 / (2 + v / (R w)) (`tracker.flight.coefficients.FeltLift`): 0.7. One whose coefficient
does not care for the spin has 0. A shot tells little of it, and both are near enough."""

EXACT = 1e-7
"""Standard uncertainty of what is not in doubt, small beside any that is."""


@dataclass(frozen=True)
class Circumstances:
    """Everything that is known about a shot before its track is looked at.

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
        Drag coefficient of the ball; the uncertainty also holds what is not known of the
        air's density and the ball's mass and size, which act in the same way.
    drag_air_u : float
        The part of `drag_u` that comes from the air's density.
    drag_slope_u : float
        Standard uncertainty of the drag's slope about zero (`tracker.flight.variation`).
    gust_u_mps : float
        Standard deviation of a gust's parts along and across.
    reach_share_u : float
        Relative standard uncertainty of the forces' reach: of density, mass and size.
    camera_parts : mapping of str to ndarray, shape (14, 14)
        The camera's covariance by what it comes from; empty where only the whole is known.
    lift_u : float
        Standard uncertainty of each lift coefficient about zero.
    wind_mps : tuple of float
        Along and across the firing line.
    wind_u_mps : float
        Of the mean wind while shots were fired, of either part.
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

    def prior_mean(self) -> Array:
        """Return what is expected of `PARAMETERS`; zero where nothing is."""
        mean = np.zeros(len(PARAMETERS))
        mean[1:4] = self.release_m
        mean[DRAG_AT] = self.drag
        mean[10:12] = self.wind_mps
        mean[READOUT_AT] = self.readout_s
        mean[LIGHT_AT:GRAVITY_AT] = USUAL_LIGHT
        mean[FADE_AT] = LIFT_FADE
        return mean

    def prior_information(self) -> Array:
        """Return the inverse covariance of what is known, shape (P, P); zero where nothing is."""
        information = np.zeros((len(PARAMETERS), len(PARAMETERS)))
        own = np.zeros(CAMERA_AT)
        own[1:4] = self.release_u_m
        own[DRAG_AT] = self.drag_u
        own[8:10] = self.lift_u
        own[READOUT_AT] = self.readout_u_s
        own[LIGHT_AT:GRAVITY_AT] = LIGHT_U
        own[GRAVITY_AT] = self.gravity_u_mps2
        own[SLOPE_AT] = max(self.drag_slope_u, EXACT)
        own[FADE_AT] = LIFT_FADE_U
        own_weight = np.where(own > 0, 1.0 / np.maximum(own, 1e-12) ** 2, 0.0)
        information[:CAMERA_AT, :CAMERA_AT] = np.diag(own_weight)
        for own_wind in WIND_AT:
            information[np.ix_(own_wind, own_wind)] = _inverse(self.wind_covariance())
        information[CAMERA_AT:, CAMERA_AT:] = _inverse(self.camera.covariance)
        return information

    def wind_covariance(self, shared: bool = True, own: bool = True) -> Array:
        """Return the covariance of a part of the wind and its gusts, shape (7, 7), m²/s².

        The session's mean wind is the same for every shot (`shared`); each shot meets its own
        gust, whose mean over the flight adds to it (`own`).
        """
        found = np.zeros((1 + GUST_MODES, 1 + GUST_MODES))
        if own:
            found += max(self.gust_u_mps, EXACT) ** 2 * gust_covariance()
        if shared:
            found[0, 0] += self.wind_u_mps**2
        return found


@dataclass(frozen=True)
class Instants:
    """When each position was taken.

    Attributes
    ----------
    times_s : ndarray, shape (N,)
        Times of the frames' middle rows.
    row_share : ndarray, shape (N,)
        How far down the readout each position's row lies, -0.5 to 0.5.
    lean : ndarray, shape (N,)
        By how many px each position moves for a luma step of uneven light.
    """

    times_s: Array
    row_share: Array
    lean: Array


def predict(
    circumstances: Circumstances, parameters: Array, instants: Instants
) -> tuple[Array, Array, Trajectory]:
    """Return the pixels that the parameters foretell.

    Parameters
    ----------
    circumstances : Circumstances
    parameters : ndarray, shape (P,)
        In the order of `PARAMETERS`.
    instants : Instants

    Returns
    -------
    pixels : ndarray, shape (N, 2)
    jacobian : ndarray, shape (N, 2, P)
        Derivative of the pixels by the parameters.
    trajectory : Trajectory
        The flight, with sensitivities.
    """
    camera = circumstances.camera.perturbed(parameters[CAMERA_AT:])
    times = instants.times_s + parameters[READOUT_AT] * instants.row_share - parameters[0]
    duration = float(max(times.max(initial=0.0) + 2.0 * STEP_S, 4.0 * STEP_S))
    # The error goes with the fourth power of step times speed times braking.
    reach = max(circumstances.forces.reach_per_m, 1e-9)
    step = float(np.clip(1.0 / (300.0 * reach), STEP_S, LONGEST_STEP_S))
    trajectory = flight_of(circumstances, parameters, duration, step, sensitivities=True)
    pixels, jacobian = look(camera, trajectory, parameters, instants)
    # The camera differentiates by a further small turn, not by more of the turn it has made.
    turned = _by_turn(parameters[CAMERA_AT : CAMERA_AT + 3])
    turns = slice(CAMERA_AT, CAMERA_AT + 3)
    jacobian[:, :, turns] = jacobian[:, :, turns] @ turned
    return pixels, jacobian, trajectory


def look(
    camera: Camera, trajectory: Trajectory, parameters: Array, instants: Instants
) -> tuple[Array, Array]:
    """Return where a camera sees a flight.

    Parameters
    ----------
    camera : Camera
        As it truly stands, the moves among the parameters included.
    trajectory : Trajectory
        With sensitivities, as `flight_of` makes it.
    parameters : ndarray, shape (P,)
        Those with which it was flown.
    instants : Instants

    Returns
    -------
    pixels : ndarray, shape (N, 2)
    jacobian : ndarray, shape (N, 2, P)
        Derivative by the parameters, by the camera's turn as a further small one.
    """
    times = instants.times_s + parameters[READOUT_AT] * instants.row_share - parameters[0]
    states, by_flight = trajectory.places(times)
    pixels, by_point, by_camera = camera.project_with_jacobians(states[:, :3])
    pixels = pixels + instants.lean[:, None] * parameters[LIGHT_AT:GRAVITY_AT]
    speed_px = np.einsum("nij,nj->ni", by_point, states[:, 3:6])
    jacobian = np.empty((len(times), 2, len(PARAMETERS)))
    jacobian[:, :, 0] = -speed_px
    jacobian[:, :, FLIGHT_AT] = by_point @ by_flight
    jacobian[:, :, READOUT_AT] = speed_px * instants.row_share[:, None]
    jacobian[:, :, LIGHT_AT:GRAVITY_AT] = instants.lean[:, None, None] * np.eye(2)
    jacobian[:, :, CAMERA_AT:] = by_camera
    return pixels, jacobian


def flight_of(
    circumstances: Circumstances,
    parameters: Array,
    duration_s: float,
    step_s: float,
    sensitivities: bool = False,
) -> Trajectory:
    """Return the flight that a fit's parameters make, its sensitivities as `FLIGHT_AT` orders."""
    return fly(
        parameters[1:READOUT_AT],
        circumstances.forces,
        duration_s,
        step_s,
        sensitivities,
        parameters[GRAVITY_AT:CAMERA_AT],
    )


def _by_turn(turn: Array) -> Array:
    """Return how a small turn grows out of a change of a rotation vector, shape (3, 3).

    The left Jacobian of the rotations (J. Stuelpnagel, SIAM Review 6, 422, 1964), to the third
    order: a camera's turn is a few hundredths.
    """
    x, y, z = turn
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    squared = cross @ cross
    share: Array = np.eye(3) + cross / 2.0 + squared / 6.0 - cross * float(turn @ turn) / 24.0
    return share


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
    inverse = (vectors / values) @ vectors.T / np.outer(scale, scale)
    inverse[known] = inverse[:, known] = 0.0
    inverse[known, known] = 1e16
    return inverse
