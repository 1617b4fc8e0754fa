"""A found flight followed frame by frame: Kalman filter forward, smoother backward.

The filter's state is the ball's deviation from the found flight. That flight carries gravity
and drag, so the deviation moves linearly, with the flight's own sensitivities as transition and no
control input, which filterpy's smoother would leave out.
"""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtri

from calibration.camera import Camera
from tracker.flight.integration import fly
from tracker.flight.trajectory import Trajectory
from tracker.following.filterpy_filter import filter_class
from tracker.following.gate import GATE
from tracker.following.hypothesis import Hypothesis, SearchContext
from tracker.records import Candidates, Consistency

if TYPE_CHECKING:
    from filterpy.kalman import KalmanFilter

Array = NDArray[np.float64]

JITTER_MPS2, JITTER_S = 0.6, 0.1
"""Acceleration, m/s², over a time, s, by which the found flight may be wrong: spin, gusts, a drag
that changes with speed. Common practice, no source."""

FIRST_U_M = (0.1, 0.3, 0.1)
FIRST_SPEED_SHARE = 0.03
"""Standard uncertainty of a found flight at its start: position along, across and up, m, and each
component of the velocity as a share of the speed. Common practice, no source."""

STEP_S = 0.05
"""Integration step of the flight that is followed, s."""

SETTLING, LEAST_COUNTED = 6, 4
"""Positions before innovations are counted, since six states take up what the first ones say, and
fewest that are counted."""

LOST_SHARE = 0.5
"""Share of the search's positions below which the filter has lost the ball: where it follows, it
takes as many. Common practice, no source."""

INTERVAL = (0.975, 0.025)
"""Tail probabilities of the 95 % interval of the mean squared innovation."""


@dataclass(frozen=True)
class Followed:
    """A flight followed through the frames.

    Attributes
    ----------
    frames : ndarray of int, shape (N,)
    times_s : ndarray, shape (N,)
        True times in the clip.
    states : ndarray, shape (N, 6)
        Smoothed position (m) and velocity (m/s).
    covariances : ndarray, shape (N, 6, 6)
    pixels : ndarray, shape (N, 2)
        Smoothed position in the frame: to first order in the deviation, as it was filtered. A
        deviation of metres across the line of sight is known only together with one along it, and
        projected exactly it misses the candidates by many pixels.
    chosen : ndarray of int, shape (N,)
        Row of the frame's candidates that was taken; -1 where none was within the gate.
    nis : float
        Mean normalised innovation squared over degrees of freedom: 1 when the filter's
        uncertainty is right (Bar-Shalom, Li, Kirubarajan, Estimation with Applications to
        Tracking and Navigation, 2001, ch. 5.4). NaN when nothing was taken.
    """

    frames: NDArray[np.int64]
    times_s: Array
    states: Array
    covariances: Array
    pixels: Array
    chosen: NDArray[np.int64]
    nis: float


@dataclass(frozen=True)
class _Path:
    """A flight in the frames that show it: N rows.

    Attributes
    ----------
    frames : ndarray of int, shape (N,)
        Indices into the list of candidates.
    since_s : ndarray, shape (N,)
        From release.
    states, pixels : ndarray, shape (N, 6) and (N, 2)
    by_point : ndarray, shape (N, 2, 3)
        Derivative of the pixels by the position.
    by_start : ndarray, shape (N, 6, 6)
        Derivative of the states by that at release.
    """

    frames: NDArray[np.int64]
    since_s: Array
    states: Array
    pixels: Array
    by_point: Array
    by_start: Array


def follow(
    context: SearchContext, hypothesis: Hypothesis, frames: list[Candidates], pixel_u: float
) -> Followed:
    """Follow a flight through candidates by a Kalman filter and smooth it (RTS).

    Among many other candidates near the release the filter may take some of these for the ball,
    and is then too sure of itself to find the true ones again. Where it ends with far fewer
    positions than the search had, the flight is returned as it was found.

    Parameters
    ----------
    context : SearchContext
    hypothesis : Hypothesis
    frames : list of Candidates
        In order of time; those outside the flight are passed over.
    pixel_u : float
        Standard uncertainty of a candidate's position, px.

    Returns
    -------
    Followed
        The frames from release to the ground in which the ball is inside the picture.
    """
    path = _path(context, hypothesis, np.array([each.time_s for each in frames]))
    kalman = _filter(float(np.linalg.norm(hypothesis.launch[3:6])))
    kalman.R = np.eye(2) * pixel_u**2
    moves, noises = _transitions(path.since_s, path.by_start)
    sights = np.pad(path.by_point, ((0, 0), (0, 0), (0, 3)))  # a speed does not show in a frame
    means, spreads, chosen, distances = [], [], [], []
    for index, at in enumerate(path.frames):
        kalman.predict(F=moves[index], Q=noises[index])
        sight = sights[index]
        offsets = frames[at].pixels - path.pixels[index]
        best, distance = _nearest(kalman, sight, offsets)
        if distance < GATE:
            kalman.update(offsets[best].reshape(2, 1), H=sight)
            distances.append(distance)
        chosen.append(best if distance < GATE else -1)
        means.append(kalman.x.copy())
        spreads.append(kalman.P.copy())
    if np.sum(np.array(chosen) >= 0) < LOST_SHARE * hypothesis.hits:
        bare = [each.part(np.zeros(0, np.int64)) for each in frames]
        return follow(context, replace(hypothesis, hits=0), bare, pixel_u)
    deviation, covariances = np.zeros((0, 6)), np.zeros((0, 6, 6))
    if means:
        smooth, covariances, _, _ = kalman.rts_smoother(
            np.array(means), np.array(spreads), Fs=list(moves), Qs=list(noises)
        )
        deviation = smooth[:, :, 0]
    followed = path.states + deviation
    return Followed(
        frames=np.array([frames[at].frame for at in path.frames], np.int64),
        times_s=path.since_s + hypothesis.release_s,
        states=followed,
        covariances=covariances,
        pixels=path.pixels + np.einsum("nij,nj->ni", path.by_point, deviation[:, :3]),
        chosen=np.array(chosen, np.int64),
        nis=float(np.mean(distances) / 2.0) if distances else float("nan"),
    )


def consistency(
    flight: Trajectory, camera: Camera, times_s: Array, residuals_px: Array, covariances: Array
) -> Consistency | None:
    """Return how the positions of a fitted flight agree with their own uncertainties.

    A Kalman filter follows the ball's deviation from the fitted flight, and each innovation is
    compared with its predicted covariance. Over 2 N degrees of freedom their mean is that of
    chi-square over its freedom (Bar-Shalom, Li, Kirubarajan, 2001, 5.4).

    Parameters
    ----------
    flight : Trajectory
        With sensitivities, from release.
    camera : Camera
    times_s : ndarray, shape (N,)
        From release, rising.
    residuals_px : ndarray, shape (N, 2)
        Observed less predicted positions.
    covariances : ndarray, shape (N, 2, 2)
        Of the positions, px².

    Returns
    -------
    Consistency or None
        None for fewer than ten positions.
    """
    count = len(times_s) - SETTLING
    if count < LEAST_COUNTED:
        return None
    states, by_launch = flight.at_with_sensitivities(times_s)
    _, by_point, _ = camera.project_with_jacobians(states[:, :3])
    moves, noises = _transitions(times_s - times_s[0], by_launch[:, :, :6], first=by_launch[0])
    mean, spread = np.zeros(6), first_covariance(float(np.linalg.norm(states[0, 3:6])))
    total = 0.0
    for index, (move, sight) in enumerate(zip(moves, by_point, strict=True)):
        # A pixel depends on the position only, the first three of a state.
        mean, spread = move @ mean, move @ spread @ move.T + noises[index]
        seen = spread[:, :3] @ sight.T
        weight = inverse_of_two(sight @ seen[:3] + covariances[index])
        innovation = residuals_px[index] - sight @ mean[:3]
        if index >= SETTLING:
            total += float(innovation @ weight @ innovation)
        gain = seen @ weight
        mean, spread = mean + gain @ innovation, spread - gain @ seen.T
        # Rounding must not make it uneven, which would grow from step to step.
        spread = 0.5 * (spread + spread.T)
    freedom = 2 * count
    low, high = (float(chdtri(freedom, beyond)) / freedom for beyond in INTERVAL)
    return Consistency(total / freedom, low, high, count)


def _path(context: SearchContext, hypothesis: Hypothesis, times_s: Array) -> _Path:
    """Return a flight in those of the frames at some times in which it is in the picture."""
    since_s = times_s - hypothesis.release_s
    end = float(hypothesis.trajectory.times_s[-1])
    flight = fly(hypothesis.launch, context.forces, end, STEP_S, with_sensitivities=True)
    flying = np.flatnonzero((since_s >= 0.0) & (since_s <= end))
    states, by_launch = flight.at_with_sensitivities(since_s[flying])
    pixels, by_point, _ = context.camera.project_with_jacobians(states[:, :3])
    inside = (context.ground.above(states) >= 0.0) & context.camera.in_frame(pixels)
    shown = flying[inside]
    by_start = by_launch[inside][:, :, :6]
    return _Path(shown, since_s[shown], states[inside], pixels[inside], by_point[inside], by_start)


def _filter(speed_mps: float) -> "KalmanFilter":
    """Return a filter of the deviation from a flight with a speed at release."""
    kalman = filter_class()(dim_x=6, dim_z=2)
    kalman.P = first_covariance(speed_mps)
    kalman.inv = inverse_of_two
    return kalman


def _nearest(kalman: "KalmanFilter", sight: Array, offsets: Array) -> tuple[int, float]:
    """Return the candidate nearest to the prediction, and its squared Mahalanobis distance."""
    if not len(offsets):
        return -1, np.inf
    innovation = offsets - sight @ kalman.x[:, 0]
    weight = inverse_of_two(sight @ kalman.P @ sight.T + kalman.R)
    distance = ((innovation @ weight) * innovation).sum(axis=1)
    best = int(distance.argmin())
    return best, float(distance[best])


def inverse_of_two(matrix: Array) -> Array:
    """Return the inverse of a matrix, shape (2, 2): the library's takes ten times as long."""
    (a, b), (c, d) = matrix.tolist()
    found: Array = np.array(((d, -b), (-c, a))) / (a * d - b * c)
    return found


def _transitions(
    since_s: Array, by_start: Array, first: Array | None = None
) -> tuple[Array, Array]:
    """Return the transition of the deviation into each row, and its process noise, (N, 6, 6) each.

    Into the first row it is that from the release, or none where `first` is given.
    """
    begin = np.eye(6) if first is None else first[:, :6]
    before = np.concatenate([begin[None], by_start[:-1]])[: len(by_start)]
    moves = by_start @ np.linalg.inv(before)
    gaps = np.diff(since_s, prepend=0.0)
    return moves, process_noise(gaps)


def first_covariance(speed_mps: float) -> Array:
    """Return the covariance, shape (6, 6), of a found flight at its start."""
    aside = FIRST_SPEED_SHARE * speed_mps
    spread: Array = np.diag([*FIRST_U_M, aside, aside, aside]) ** 2
    return spread


def process_noise(step_s: ArrayLike) -> Array:
    """Return the covariance that white acceleration adds in steps, shape (6, 6) after theirs."""
    steps = np.asarray(step_s, float)
    density = JITTER_MPS2**2 * JITTER_S
    found = np.zeros((*steps.shape, 6, 6))
    place, speed = np.arange(3), np.arange(3, 6)
    found[..., place, place] = (density * steps**3 / 3.0)[..., None]
    found[..., place, speed] = found[..., speed, place] = (density * steps**2 / 2.0)[..., None]
    found[..., speed, speed] = (density * steps)[..., None]
    return found
