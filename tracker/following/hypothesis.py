"""A hypothesis: one flight that the candidates of a clip may support."""

from dataclasses import dataclass, replace
from typing import Self

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.ground import LEVEL, Ground
from tracker.flight.forces import Forces
from tracker.flight.integration import LAUNCH, fly
from tracker.flight.trajectory import Trajectory
from tracker.following.table import LONGEST_S

Array = NDArray[np.float64]

STEP_S = 0.1
"""Integration step of a hypothesis, s: nodes are good to some millimetres for a light ball."""

SHORTEST_S = 0.2
LANDING_SHARE, LANDING_MARGIN_S = 1.15, 0.1
"""Shortest time for which a hypothesis is integrated, s, and the factor and margin (s) on its time
of flight in vacuum: in air a ball comes down sooner unless lift holds it up."""


@dataclass(frozen=True)
class SearchContext:
    """What all hypotheses of a clip share.

    Attributes
    ----------
    camera : Camera
    release_m : ndarray, shape (3,)
    forces : Forces
    drag, drag_u : float
        Prior drag coefficient and its standard uncertainty.
    ball_radius_m : float
    frame_s : float
        True time from one frame to the next.
    wind_mps : tuple of float
        Along and across the firing line.
    ground : Ground
    faint : bool
        Whether balls are looked for that show in few of the frames they cross, which takes longer.
    """

    camera: Camera
    release_m: Array
    forces: Forces
    drag: float
    drag_u: float
    ball_radius_m: float
    frame_s: float
    wind_mps: tuple[float, float] = (0.0, 0.0)
    ground: Ground = LEVEL
    faint: bool = False


@dataclass(frozen=True)
class Pool:
    """All candidates of a stretch of clip, one row each, in order of time.

    Attributes
    ----------
    frames : ndarray of int, shape (M,)
        Frames that were looked at, with or without candidates.
    frame_times_s : ndarray, shape (M,)
    owner : ndarray of int, shape (N,)
        Index into `frames` of each candidate.
    pixels : ndarray, shape (N, 2)
    clutter : ndarray, shape (N,)
        Density of candidates that are no ball, per pixel and frame.
    votes : ndarray, shape (N,)
        Votes that each candidate has cast.
    """

    frames: NDArray[np.int64]
    frame_times_s: Array
    owner: NDArray[np.int64]
    pixels: Array
    clutter: Array
    votes: Array

    def part(self, rows: NDArray[np.bool_]) -> Self:
        """Return the pool with the chosen candidates only."""
        return replace(
            self,
            owner=self.owner[rows],
            pixels=self.pixels[rows],
            clutter=self.clutter[rows],
            votes=self.votes[rows],
        )


@dataclass(frozen=True)
class Hypothesis:
    """One flight, and how far the candidates support it.

    Attributes
    ----------
    release_s : float
        True time of release in the clip.
    launch : ndarray, shape (11,)
        In the order of `tracker.flight.integration.LAUNCH`.
    trajectory : Trajectory
        From release until it is below the ground.
    support : float
        Log-likelihood ratio of the candidates with this ball against clutter alone.
    hits : int
        Frames with a candidate within the gate.
    in_view : int
        Frames in which the ball is in the picture.
    chosen : ndarray of int or None
        Rows of the pool taken for the ball.
    """

    release_s: float
    launch: Array
    trajectory: Trajectory
    support: float = 0.0
    hits: int = 0
    in_view: int = 0
    chosen: NDArray[np.int64] | None = None


def straight_flight(
    context: SearchContext, release_s: float, angle_rad: float, speed_mps: float
) -> Hypothesis:
    """Return the flight straight down the firing line, with sensitivities."""
    launch = np.zeros(len(LAUNCH))
    launch[0:3] = context.release_m
    launch[3], launch[5] = speed_mps * np.cos(angle_rad), speed_mps * np.sin(angle_rad)
    launch[6] = context.drag
    launch[9:11] = context.wind_mps
    return Hypothesis(release_s, launch, until_ground(context, launch))


def until_ground(context: SearchContext, launch: Array) -> Trajectory:
    """Return a flight with sensitivities until it is below the ground, at most the longest time."""
    climb = max(0.0, float(launch[5]))
    gravity = context.forces.gravity_mps2
    top = launch[2] + climb**2 / (2.0 * gravity)
    fall = np.sqrt(2.0 * top / gravity)
    # Where the ground falls away, what is below the origin's level has to be fallen too.
    way = launch[:2] + (climb / gravity + fall) * launch[3:5]
    lower = max(0.0, -float(context.ground.height_m(way)))
    fall = np.sqrt(2.0 * (top + lower) / gravity)
    duration = LANDING_SHARE * (climb / gravity + fall) + LANDING_MARGIN_S
    duration_s = float(np.clip(duration, SHORTEST_S, LONGEST_S))
    return fly(launch, context.forces, duration_s, STEP_S, with_sensitivities=True)
