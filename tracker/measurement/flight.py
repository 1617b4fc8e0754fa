"""A thrown ball's path with the flight fitted to it, where the start is not taped."""

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from tracker.fitting import Circumstances, FittedFlight
from tracker.fitting.model import flight_of
from tracker.fitting.observations import SeenSizes
from tracker.fitting.parameters import CAMERA_AT, LAUNCH_AT, RELEASE_AT
from tracker.fitting.untaped import UntapedCircumstances, UntapedFit, prior_chi_square
from tracker.measurement.throws import Throw
from tracker.records import Track

Array = NDArray[np.float64]

FIRST_U_PX, STREAK_SHARE = 1.0, 0.05
"""Standard uncertainty of a position of the first pass: px, and a share of the way from one frame
to the next. From drawn clips."""

STEP_S = 0.04
"""Longest integration step of a flight, s: leaves a hundredth of a millimetre."""

HAND_LIFT_U = 0.10
"""Standard uncertainty of either lift coefficient of a ball that a hand may have spun:
1 / (2 + v / (R w)) is 0.1 at a spin ratio R w / v of 0.13 (`tracker.flight.coefficients.FeltLift`).
"""

LEAST_U_S = 1e-4
"""Standard uncertainty of a beginning that is known exactly, s: keeps its prior finite."""


@dataclass(frozen=True)
class Beginning:
    """When a flight began.

    Attributes
    ----------
    time_s, u_s : float
        True time in the clip, and its standard uncertainty.
    """

    time_s: float
    u_s: float


@dataclass(frozen=True)
class StartPrior:
    """Where a flight may begin.

    Attributes
    ----------
    place_m, u_m : ndarray, shape (3,)
        Ground coordinates and the standard uncertainty of each, m.
    """

    place_m: Array
    u_m: Array


@dataclass(frozen=True)
class Flight:
    """A throw with its fit so far.

    Attributes
    ----------
    throw : Throw
    known : UntapedCircumstances
        The priors of the fit.
    fitted : FittedFlight
    sizes : SeenSizes or None
        How wide the ball is seen, for the next fit; None where that does not show or counts not.
    """

    throw: Throw
    known: UntapedCircumstances
    fitted: FittedFlight
    sizes: SeenSizes | None = None

    @property
    def camera(self) -> Camera:
        """The fitted camera."""
        return self.known.camera.perturbed(self.fitted.parameters[CAMERA_AT:])

    @property
    def release_s(self) -> float:
        """True time in the clip of the flight's beginning."""
        return float(self.fitted.parameters[RELEASE_AT])

    @property
    def launch(self) -> Array:
        """The fitted launch, shape (11,)."""
        return self.fitted.parameters[LAUNCH_AT]

    @property
    def first_s(self) -> float:
        """True time of the path's first position that the fit to that path used."""
        times = self.throw.arc.times_s
        used = self.fitted.used
        return first_of_run(times, used if len(used) == len(times) else np.ones(len(times), bool))

    @property
    def prior_chi_square(self) -> float:
        """Chi-square of the departures from all priors."""
        return prior_chi_square(UntapedFit(self.known, self.fitted))

    def states(self, times_s: Array) -> Array:
        """Return position and velocity at true times, shape (N, 6), beyond either end too.

        Before the beginning the acceleration at the beginning is kept.
        """
        since = np.asarray(times_s, float) - self.release_s
        longest = float(max(since.max(initial=0.0), 0.1)) + 0.1
        flight = flight_of(self.known, self.fitted.parameters, longest, STEP_S)
        states = flight.at(np.maximum(since, 0.0))
        early, acceleration = np.minimum(since, 0.0)[:, None], flight.rates[0, 3:6]
        states[:, :3] += early * states[:, 3:6] + 0.5 * early**2 * acceleration
        states[:, 3:6] += early * acceleration
        return states

    def path(self, times_s: Array) -> Array:
        """Return the pixels at true times, shape (N, 2)."""
        return self.camera.project(self.states(times_s)[:, :3])


def first_of_run(times_s: Array, used: NDArray[np.bool_]) -> float:
    """Return the time of the first used position with two of the next three used too."""
    ahead = np.convolve(used, np.ones(4), "full")[3:]
    begins = np.flatnonzero(used & (ahead >= 3))
    return float(times_s[begins[0]] if len(begins) else times_s[0])


def loosened(
    known: Circumstances,
    start: StartPrior,
    beginning: Beginning,
    camera: Camera | None = None,
    by_hand: bool = False,
) -> UntapedCircumstances:
    """Return the priors of a flight whose start is not taped.

    Parameters
    ----------
    known : Circumstances
    start : StartPrior
    beginning : Beginning
        From when the ball was first seen: place and time of a beginning cannot both be found.
    camera : Camera, optional
        In place of the known one.
    by_hand : bool
        Whether no launcher is stated, so that it may have been thrown by hand.
    """
    kept = {each.name: getattr(known, each.name) for each in fields(Circumstances)}
    kept["release_m"] = start.place_m
    if camera is not None:
        kept["camera"] = camera
    if by_hand:
        kept["lift_u"] = max(known.lift_u, HAND_LIFT_U)
    return UntapedCircumstances(
        **kept,
        release_each_u_m=start.u_m,
        began_s=beginning.time_s,
        began_u_s=max(beginning.u_s, LEAST_U_S),
    )


def first_track(throw: Throw, frame_s: float) -> Track:
    """Return the positions of a path from the first pass as a track.

    Parameters
    ----------
    throw : Throw
    frame_s : float
        True time between the frames of the first pass.
    """
    arc = throw.arc
    u_px = FIRST_U_PX + STREAK_SHARE * float(np.linalg.norm(arc.velocity_pxps)) * frame_s
    return Track(
        arc.frames,
        arc.times_s,
        arc.pixels,
        np.repeat((u_px**2 * np.eye(2))[None], len(arc.frames), axis=0),
        np.zeros(len(arc.frames)),
    )
