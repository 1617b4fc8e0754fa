"""One supposed flight: how the candidates bear it out, and the flight that they bear out best."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.normal import weighted_step
from calibration.adjustment.robust import cauchy_weights
from calibration.camera import Camera
from tracker.flight.forces import Forces
from tracker.flight.trajectory import Trajectory, fly

Array = NDArray[np.float64]

HELD = 0.1
"""Share of their spread that drag and lift have while the widest gate is open."""

FEWEST_STEPS, MOST_STEPS = 2, 8
"""Gauss-Newton steps with one gate: until they no longer bring more of the candidates in. What
chance explains better than a ball gets the fewest: more would only gather more of the clutter."""

SEEN_CHANCE = 0.7
"""Chance that a ball in view gives a candidate; only the order of magnitude matters."""

MISS = float(np.log(1.0 - SEEN_CHANCE))
"""What a frame without a candidate where the ball should be counts."""

WORST, HOPELESS = -0.95, -0.45
"""Log-likelihood ratio for each frame in view below which a start is not fitted at all, and a
flight that has been fitted once not any further. Chance brings -0.5 to -1.2. A ball that gave a
candidate in two frames of five brings -0.2 and more; in clutter a start some frames off brings -0.9
until it is fitted."""

STEP_S = 0.1
"""Step of supposed flights: the nodes are right to some millimetres for the lightest ball."""


@dataclass(frozen=True)
class SearchContext:
    """What a flight is played on: everything that does not differ between hypotheses.

    Attributes
    ----------
    camera : Camera
    release_m : ndarray, shape (3,)
    forces : Forces
    drag, drag_u : float
        Drag coefficient expected, and how far it may be off.
    ball_radius_m : float
    frame_s : float
        True time from one frame to the next.
    wind_mps : tuple of float
        Along and across the firing line.
    """

    camera: Camera
    release_m: Array
    forces: Forces
    drag: float
    drag_u: float
    ball_radius_m: float
    frame_s: float
    wind_mps: tuple[float, float] = (0.0, 0.0)


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
        Usual number of candidates per pixel and frame at that place.
    worth : ndarray, shape (N,)
        The votes that each has cast.
    """

    frames: NDArray[np.int64]
    frame_times_s: Array
    owner: NDArray[np.int64]
    pixels: Array
    clutter: Array
    worth: Array

    def part(self, rows: NDArray[np.bool_]) -> "Pool":
        """Return the pool with the chosen candidates only."""
        return replace(
            self,
            owner=self.owner[rows],
            pixels=self.pixels[rows],
            clutter=self.clutter[rows],
            worth=self.worth[rows],
        )


@dataclass(frozen=True)
class Hypothesis:
    """A supposed flight.

    Attributes
    ----------
    release_s : float
        True time of release in the clip.
    launch : ndarray, shape (11,)
        In the order of `tracker.flight.trajectory.LAUNCH`.
    trajectory : Trajectory
        From release until it is below the ground.
    support : float
        Log-likelihood ratio of the candidates, against the same without a ball.
    hits : int
        Frames with a candidate where the ball should be.
    in_view : int
        Frames in which it should have shown.
    chosen : ndarray of int
        Rows of the pool that were taken for the ball.
    """

    release_s: float
    launch: Array
    trajectory: Trajectory
    support: float = 0.0
    hits: int = 0
    in_view: int = 0
    chosen: NDArray[np.int64] | None = None


def suppose(
    context: SearchContext, release_s: float, angle_rad: float, speed_mps: float
) -> Hypothesis:
    """Return the flight straight down the firing line with a given start."""
    launch = np.zeros(11)
    launch[0:3] = context.release_m
    launch[3], launch[5] = speed_mps * np.cos(angle_rad), speed_mps * np.sin(angle_rad)
    launch[6] = context.drag
    launch[9:11] = context.wind_mps
    return Hypothesis(release_s, launch, _until_ground(context, launch))


def weigh(context: SearchContext, pool: Pool, hypothesis: Hypothesis, gate_px: float) -> Hypothesis:
    """Return the hypothesis with its support from the nearest candidate of every frame.

    A frame with a candidate at distance d counts ``log(1 - P + P N(d) / clutter)``, one
    without counts ``log(1 - P)`` (track score: S. Blackman and R. Popoli, Design and Analysis
    of Modern Tracking Systems, 1999, ch. 6). `gate_px` is the reach, three standard
    deviations of N.
    """
    path, seen = _in_frame(context, pool, hypothesis)
    if not np.any(seen):
        return replace(hypothesis, support=-np.inf, hits=0, in_view=0, chosen=np.zeros(0, int))
    first, last = np.flatnonzero(seen)[[0, -1]]
    begin, end = np.searchsorted(pool.owner, [first, last + 1])
    owner = pool.owner[begin:end]
    gap = pool.pixels[begin:end] - path[owner]
    squared = gap[:, 0] ** 2 + gap[:, 1] ** 2
    # Frames in which the ball is out of sight have no place, and so no distance.
    near = np.flatnonzero(squared < gate_px**2)
    gains = gain(squared[near], gate_px, pool.clutter[begin:end][near])
    near += begin
    owner = pool.owner[near]
    # The best of each frame; of equal ones the first.
    order = np.lexsort((-gains, owner))
    order = order[np.diff(owner[order], prepend=-1) > 0]
    winner = near[order]
    support = float(np.sum(np.maximum(gains[order], MISS)) + MISS * (np.sum(seen) - len(order)))
    return replace(
        hypothesis,
        support=support,
        hits=len(winner),
        in_view=int(np.sum(seen)),
        chosen=winner,
    )


def gain(squared_px: Array, gate_px: float, clutter: Array) -> Array:
    """Return what candidates count at squared distances from a flight, each shape (N,)."""
    variance = (gate_px / 3.0) ** 2
    density = np.exp(-0.5 / variance * squared_px) / (2.0 * np.pi * variance)
    return np.log(1.0 - SEEN_CHANCE + SEEN_CHANCE * density / clutter)


def improve(
    context: SearchContext, pool: Pool, hypothesis: Hypothesis, gates_px: tuple[float, ...]
) -> Hypothesis:
    """Return the flight fitted to the candidates near it, with the gate closing step by step.

    Release time, velocity, drag and lift are free, the last three within what the trade
    knows; candidates far off count less (Cauchy weights). While the widest gate is open drag
    and lift are all but held: from a start a few frames off they would bend the flight to half
    of the candidates, and the closing gates would never let the other half in again.
    """
    current = hypothesis
    for number, gate in enumerate(gates_px):
        reached = -np.inf
        for step in range(MOST_STEPS):
            weighed = weigh(context, pool, current, gate)
            assert weighed.chosen is not None
            if (number > 0 or step >= 1) and weighed.support < HOPELESS * weighed.in_view:
                return weighed
            grows = weighed.support > max(1.02 * reached, reached + 1.0, 0.0)
            if step >= FEWEST_STEPS and not grows:
                break
            reached = weighed.support
            if len(weighed.chosen) < max(4.0, 0.08 * weighed.in_view):
                return weighed
            current = _fitted(context, pool, weighed, gate, HELD if number == 0 else 1.0)
    return weigh(context, pool, current, gates_px[-1])


def _fitted(
    context: SearchContext, pool: Pool, hypothesis: Hypothesis, gate_px: float, held: float
) -> Hypothesis:
    """Return one robust Gauss-Newton step on the chosen candidates.

    Drag and lift move within `held` times what the trade knows.
    """
    assert hypothesis.chosen is not None
    chosen = hypothesis.chosen
    times = pool.frame_times_s[pool.owner[chosen]] - hypothesis.release_s
    flight = hypothesis.trajectory
    if flight.sensitivities is None:
        end = float(flight.times_s[-1])
        flight = fly(hypothesis.launch, context.forces, end, STEP_S, sensitivities=True)
    states, by_launch = flight.places(times)
    pixels, by_point, _ = context.camera.project_with_jacobians(states[:, :3])
    residual = pool.pixels[chosen] - pixels
    slope = by_point @ by_launch[:, :, 3:9]
    by_release = -np.einsum("nij,nj->ni", by_point, states[:, 3:6])[:, :, None]
    slope = np.concatenate([by_release, slope], axis=2)
    scale = max(1.0, gate_px / 6.0)
    distance = np.sqrt(np.sum(residual**2, axis=1))
    weight = cauchy_weights(distance, scale) / scale**2
    speed = float(np.linalg.norm(hypothesis.launch[3:6]))
    expected = np.array([0, 0, 0, 0, context.drag, 0.0, 0.0])
    now = np.concatenate([[0.0], hypothesis.launch[3:9]])
    known = np.array([1e3, 1e3, 0.08 * speed, 1e3, held * context.drag_u, held * 0.05, held * 0.03])
    away = np.where(known < 1e3, expected - now, 0.0)
    step, _ = weighted_step(slope, residual, weight, known, away)
    launch = hypothesis.launch.copy()
    launch[3:9] += np.clip(step[1:], -0.3 * speed - 0.5, 0.3 * speed + 0.5)
    launch[6] = np.clip(launch[6], 0.05, 1.5)
    release = hypothesis.release_s + float(np.clip(step[0], -0.3, 0.3))
    return Hypothesis(release, launch, _until_ground(context, launch, sensitivities=True))


def _until_ground(context: SearchContext, launch: Array, sensitivities: bool = False) -> Trajectory:
    """Return the flight until it has gone below the ground, or for seven seconds."""
    climb = max(0.0, float(launch[5]))
    gravity = context.forces.gravity_mps2
    # In air a ball comes down sooner than in vacuum unless lift holds it up.
    fall = np.sqrt(2.0 * (launch[2] + climb**2 / (2.0 * gravity)) / gravity)
    duration = float(np.clip(1.15 * (climb / gravity + fall) + 0.1, 0.2, 7.0))
    return fly(launch, context.forces, duration, STEP_S, sensitivities)


def _in_frame(
    context: SearchContext, pool: Pool, hypothesis: Hypothesis
) -> tuple[Array, NDArray[np.bool_]]:
    """Return where the ball is in each frame of the pool, and whether it shows there."""
    times = pool.frame_times_s - hypothesis.release_s
    path = np.full((len(times), 2), np.nan)
    seen = (times >= 0.0) & (times <= hypothesis.trajectory.times_s[-1])
    if not np.any(seen):
        return path, seen
    pixels, shows = in_view(context, hypothesis.trajectory.at(times[seen])[:, :3])
    path[seen] = np.where(shows[:, None], pixels, np.nan)
    seen[seen] = shows
    return path, seen


def in_view(context: SearchContext, points: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Return the pixels of places, shape (M, 2), and whether a ball there shows, shape (M,).

    It does in the frame, off its edge and above the ground.
    """
    pixels = context.camera.project(points)
    shows: NDArray[np.bool_] = context.camera.in_frame(pixels) & (
        points[:, 2] >= context.ball_radius_m
    )
    return pixels, shows
