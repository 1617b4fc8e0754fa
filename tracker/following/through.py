"""The flight from the release through a few places of the ball that a person picked."""

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.normal import weighted_step
from tracker.flight.integration import LAUNCH
from tracker.following.hypothesis import Hypothesis, Pool, SearchContext, until_ground
from tracker.following.refinement import DRAGS, residuals
from tracker.following.table import LONGEST_S

Array = NDArray[np.float64]

LEAST_PLACES = 2
"""Fewest places: four numbers for the time of release and three components of the velocity."""

SHORTEST_AGO_S, AGO_STEP_S = 0.005, 0.005
"""Shortest time from the release to the first place that is tried, and the step, s."""

ROUNDS, SETTLED_PX = 25, 1e-3
"""Gauss-Newton rounds at most, and the change of the places, px, below which they end."""

FASTEST_MPS = 200.0
"""Speed beyond which the rounds have strayed, m/s: some times what any thrown ball has."""

ASIDE_SHARE = 0.08
LIFT_U, SIDE_U = 0.05, 0.03
FREE_U = 1e3
"""Prior standard uncertainties as in `tracker.following.refinement`: the speed across the firing
line as a share of the speed, both lift coefficients, and what has no prior (s, m/s)."""

MOST_LIFT = 1.0
"""Bound of either lift coefficient, no unit: no ball is beyond."""

MOST_CHANGE_MPS, MOST_SHIFT_S = 5.0, 0.3
"""Largest change of a velocity component, m/s, and of the release time, s, in one round."""


def flight_through(
    context: SearchContext, times_s: Array, pixels: Array, u_px: float
) -> Hypothesis | None:
    """Return the flight from the release that passes nearest to given places.

    Gravity gives the first guess: for each time of release the first place fixes a velocity in the
    plane of the firing line, and the others choose the time. Gauss-Newton steps with drag and the
    usual priors follow.

    Parameters
    ----------
    context : SearchContext
    times_s : ndarray, shape (N,)
        True times, rising.
    pixels : ndarray, shape (N, 2)
    u_px : float
        Standard uncertainty of each coordinate.

    Returns
    -------
    Hypothesis or None
        None where the places lie beside or behind the firing line as the camera sees it.
    """
    flight = _first_guess(context, times_s, pixels)
    count = len(times_s)
    picked = Pool(
        frames=np.arange(count),
        frame_times_s=times_s,
        owner=np.arange(count),
        pixels=pixels,
        clutter=np.ones(count),
        votes=np.zeros(count),
    )
    for _ in range(ROUNDS):
        if flight is None:
            return None
        flight, moved_px = _step(context, picked, flight, u_px)
        if moved_px < SETTLED_PX:
            break
    return flight


def _first_guess(context: SearchContext, times_s: Array, pixels: Array) -> Hypothesis | None:
    """Return the flight in a vacuum, in the plane of the firing line."""
    release = np.asarray(context.release_m, float)
    places = context.camera.on_plane(pixels, release, (0.0, 1.0, 0.0))
    if not np.isfinite(places).all():
        return None
    fall = np.array([0.0, 0.0, -context.forces.gravity_mps2])
    ago = np.arange(SHORTEST_AGO_S, LONGEST_S, AGO_STEP_S)
    since = ago[:, None] + (times_s - times_s[0])
    # One straight line a time of release: way less the fall, over the time.
    way = places - release - 0.5 * fall * since[:, :, None] ** 2
    velocity = np.einsum("tn,tnk->tk", since, way) / np.sum(since**2, axis=1)[:, None]
    off = np.linalg.norm(way - velocity[:, None, :] * since[:, :, None], axis=2)
    best = int(np.argmin(np.sum(off**2, axis=1)))
    launch = np.zeros(len(LAUNCH))
    launch[0:3], launch[3:6] = release, velocity[best]
    launch[6] = context.drag
    launch[9:11] = context.wind_mps
    return _flown(context, float(times_s[0] - ago[best]), launch)


def _flown(context: SearchContext, release_s: float, launch: Array) -> Hypothesis | None:
    if not np.linalg.norm(launch[3:6]) < FASTEST_MPS:
        return None
    return Hypothesis(release_s, launch, until_ground(context, launch))


def _step(
    context: SearchContext, picked: Pool, flight: Hypothesis, u_px: float
) -> tuple[Hypothesis | None, float]:
    """Return the flight after one round, and by how much its places moved, px."""
    chosen = picked.owner
    residual, slope = residuals(context, picked, flight, chosen)
    speed = float(np.linalg.norm(flight.launch[3:6]))
    prior_u = np.array(
        [FREE_U, FREE_U, ASIDE_SHARE * speed, FREE_U, context.drag_u, LIFT_U, SIDE_U]
    )
    expected = np.array([0.0, 0.0, 0.0, 0.0, context.drag, 0.0, 0.0])
    now = np.concatenate([[0.0], flight.launch[3:9]])
    off = np.where(prior_u < FREE_U, expected - now, 0.0)
    weights = np.full(len(chosen), u_px**-2.0)
    step, _ = weighted_step(slope, residual, weights, prior_u, off)
    launch = flight.launch.copy()
    change = np.clip(step[1:], -MOST_CHANGE_MPS, MOST_CHANGE_MPS)
    shift = float(np.clip(step[0], -MOST_SHIFT_S, MOST_SHIFT_S))
    launch[3:9] += change
    launch[6] = np.clip(launch[6], *DRAGS)
    launch[7:9] = np.clip(launch[7:9], -MOST_LIFT, MOST_LIFT)
    moved = slope @ np.concatenate([[shift], change])
    release_s = min(flight.release_s + shift, float(picked.frame_times_s[0]) - SHORTEST_AGO_S)
    return _flown(context, release_s, launch), float(np.abs(moved).max())
