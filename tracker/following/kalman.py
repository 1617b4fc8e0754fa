"""Following a found flight frame by frame, forward and then backward.

The filter works on the ball's deviation from the found flight. That flight carries gravity
and drag, so the deviation moves linearly, with the flight's own sensitivities as transition
and without a control input: filterpy's smoother leaves a control input out, and here there is
none to leave out.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri

from calibration.camera import Camera
from tracker.flight.trajectory import Trajectory, fly
from tracker.following.gate import GATE
from tracker.following.hypothesis import Hypothesis, SearchContext
from tracker.records import Candidates, Consistency

Array = NDArray[np.float64]

JITTER_MPS2 = 0.6
"""Acceleration, m/s² over one tenth of a second, that the found flight may be wrong by: spin,
gusts, a drag that changes with speed. Common practice, no source."""


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
        Smoothed position in the frame.
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


def follow(
    context: SearchContext, hypothesis: Hypothesis, frames: list[Candidates], pixel_u: float
) -> Followed:
    """Follow a flight through candidates by a Kalman filter and smooth it (RTS).

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
    from filterpy.kalman import KalmanFilter  # one second of imports, paid only here

    times = np.array([candidates.time_s for candidates in frames]) - hypothesis.release_s
    end = float(hypothesis.trajectory.times_s[-1])
    flight = fly(hypothesis.launch, context.forces, end, 0.05, sensitivities=True)
    flying = np.flatnonzero((times >= 0.0) & (times <= end))
    states, by_launch = flight.at_with_sensitivities(times[flying])
    pixels, by_point, _ = context.camera.project_with_jacobians(states[:, :3])
    inside = (states[:, 2] >= 0.0) & context.camera.in_frame(pixels)
    flying, states, by_launch = flying[inside], states[inside], by_launch[inside]
    pixels, by_point = pixels[inside], by_point[inside]
    by_start = by_launch[:, :, :6]

    kalman = KalmanFilter(dim_x=6, dim_z=2)
    kalman.P = _first_spread(float(np.linalg.norm(hypothesis.launch[3:6])))
    kalman.R = np.eye(2) * pixel_u**2
    means, spreads, moves, noises, chosen, surprises = [], [], [], [], [], []
    previous = np.eye(6)
    for index, at in enumerate(flying):
        move = by_start[index] @ np.linalg.inv(previous)
        previous = by_start[index]
        gap = times[at] - (times[flying[index - 1]] if index else 0.0)
        noise = _jitter(gap)
        kalman.predict(F=move, Q=noise)
        moves.append(move)
        noises.append(noise)
        sight = np.zeros((2, 6))
        sight[:, :3] = by_point[index]
        expected = pixels[index] + sight @ kalman.x[:, 0]
        innovation = frames[at].pixels - expected
        spread = sight @ kalman.P @ sight.T + kalman.R
        distance = np.einsum("ni,ij,nj->n", innovation, np.linalg.inv(spread), innovation)
        best = int(np.argmin(distance)) if len(distance) else -1
        if best >= 0 and distance[best] < GATE:
            kalman.update((frames[at].pixels[best] - pixels[index]).reshape(2, 1), H=sight)
            surprises.append(distance[best])
            chosen.append(best)
        else:
            chosen.append(-1)
        means.append(kalman.x.copy())
        spreads.append(kalman.P.copy())
    if means:
        smooth, covariances, _, _ = kalman.rts_smoother(
            np.array(means), np.array(spreads), Fs=moves, Qs=noises
        )
        deviation = smooth[:, :, 0]
    else:
        deviation, covariances = np.zeros((0, 6)), np.zeros((0, 6, 6))
    followed = states + deviation
    return Followed(
        frames=np.array([frames[at].frame for at in flying], np.int64),
        times_s=times[flying] + hypothesis.release_s,
        states=followed,
        covariances=covariances,
        pixels=context.camera.project(followed[:, :3]),
        chosen=np.array(chosen, np.int64),
        nis=float(np.mean(surprises) / 2.0) if surprises else float("nan"),
    )


SETTLING = 6
"""Positions that go by before innovations are counted: six states take up what the first ones
tell, and the flight that the filter starts from was fitted to all of them."""


def consistency(
    flight: Trajectory, camera: Camera, times_s: Array, residuals_px: Array, covariances: Array
) -> Consistency | None:
    """Return how the positions of a fitted flight agree with their own uncertainties.

    A Kalman filter follows the ball's deviation from the fitted flight, and each innovation is
    held against the covariance that the filter foretells of it. Over 2 N degrees of freedom
    their mean is that of chi-square over its freedom (Bar-Shalom, Li, Kirubarajan, 2001, 5.4).

    Parameters
    ----------
    flight : Trajectory
        With sensitivities, from release.
    camera : Camera
    times_s : ndarray, shape (N,)
        From release, rising.
    residuals_px : ndarray, shape (N, 2)
        Positions less where the flight would have them.
    covariances : ndarray, shape (N, 2, 2)
        Of the positions, px².

    Returns
    -------
    Consistency or None
        None for fewer than ten positions.
    """
    count = len(times_s) - SETTLING
    if count < 4:
        return None
    states, by_launch = flight.at_with_sensitivities(times_s)
    _, by_point, _ = camera.project_with_jacobians(states[:, :3])
    from filterpy.kalman import KalmanFilter  # one second of imports, paid only here

    kalman = KalmanFilter(dim_x=6, dim_z=2)
    kalman.P = _first_spread(float(np.linalg.norm(states[0, 3:6])))
    previous, total = by_launch[0, :, :6], 0.0
    for index, now in enumerate(by_launch[:, :, :6]):
        gap_s = times_s[index] - times_s[index - 1] if index else 0.0
        kalman.predict(F=now @ np.linalg.inv(previous), Q=_jitter(float(gap_s)))
        previous = now
        sight = np.zeros((2, 6))
        sight[:, :3] = by_point[index]
        innovation = residuals_px[index] - sight @ kalman.x[:, 0]
        spread = sight @ kalman.P @ sight.T + covariances[index]
        if index >= SETTLING:
            total += float(innovation @ np.linalg.solve(spread, innovation))
        kalman.update(residuals_px[index].reshape(2, 1), H=sight, R=covariances[index])
    freedom = 2 * count
    low, high = (chdtri(freedom, beyond) / freedom for beyond in (0.975, 0.025))
    return Consistency(total / freedom, float(low), float(high), count)


def _first_spread(speed_mps: float) -> Array:
    """Return the covariance, shape (6, 6), of what is not known of a flight at its start."""
    aside = 0.03 * speed_mps
    spread: Array = np.diag([0.1, 0.3, 0.1, aside, aside, aside]) ** 2
    return spread


def _jitter(step_s: float) -> Array:
    """Return the covariance that white acceleration adds in one step, shape (6, 6)."""
    density = JITTER_MPS2**2 * 0.1
    position = density * step_s**3 / 3.0
    cross = density * step_s**2 / 2.0
    velocity = density * step_s
    return np.kron(np.array([[position, cross], [cross, velocity]]), np.eye(3))
