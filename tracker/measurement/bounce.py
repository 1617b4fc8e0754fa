"""The moment of the first bounce, from the flight and the hop that follows it."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tracker.fitting import FIGURES, FittedFlight, figures_of
from tracker.fitting.model import flight_of
from tracker.fitting.parameters import CAMERA_AT, DRAG_AT, FLIGHT_AT, READOUT_AT
from tracker.following import SearchContext
from tracker.following.hop import (
    AFTER_S,
    LEAST_HITS,
    TOUCH_U_S,
    BounceCandidates,
    Hop,
    PredictedLanding,
    find_hop,
    hop_pixels,
    hop_states,
    prior_residuals,
    prior_u,
)
from tracker.measurement.sighting import Course, Shutter, sighted
from tracker.records import Candidates

Array = NDArray[np.float64]

GROUND_U_M = 0.02
"""How far the ground where a ball comes down may lie off the plane of the markers, m."""

NEAR_S = 0.15
"""A hop says where a flight came down only when the flight was seen until so long before."""

LONGEST_U_S = 0.06
"""A landing foretold more vaguely than this is looked for as if it were not."""

REACH_M = 1.5
"""How far about a landing other candidates are counted, m."""

RAREST_CLUTTER = 1e-6
"""Candidates per pixel and frame that are granted where none was seen."""

MEETING_PX = 0.3
"""How well two arcs that are each known by many frames meet in the picture, px."""

FARTHEST_U = 3.0
"""A bounce that lies farther from the fitted flight's own landing than so many standard
uncertainties of the two together is another's."""


@dataclass(frozen=True)
class Bounce:
    """A first bounce that was seen.

    Attributes
    ----------
    time_s, u_s : float
        True time in the clip at which the ball came down to the plane of the markers, and its
        standard uncertainty, with that of the plane.
    hop : Hop
    frames : int
        Frames in which the hop was measured.
    off_u : float
        By how many standard uncertainties the flight that was fitted without it was above the
        ground then.
    """

    time_s: float
    u_s: float
    hop: Hop
    frames: int
    off_u: float

    @property
    def agrees(self) -> bool:
        """Whether it is the bounce of the flight it was looked for after."""
        return abs(self.off_u) <= FARTHEST_U


def find_bounce(
    stage: SearchContext,
    shutter: Shutter,
    fitted: FittedFlight,
    last_s: float,
    candidates: list[Candidates],
    exposure: float | None,
) -> Bounce | None:
    """Return the bounce at the end of a fitted flight, or None when no hop was seen after it.

    Parameters
    ----------
    stage : SearchContext
    shutter : Shutter
    fitted : FittedFlight
        Without any bounce.
    last_s : float
        True time of the last sighting.
    candidates : list of Candidates
        Of the frames of the flight and a while after.
    exposure : float or None
        See `sighted`.
    """
    landing = _landing(shutter, fitted)
    if landing is None or landing.landed_s - last_s > NEAR_S + 2.5 * landing.landed_u_s:
        return None
    place = landing.trajectory.at(landing.landed_s - landing.began_s)[:, :3]
    pixel = landing.camera.project(place)
    width, height = landing.camera.size_px
    if not np.all((pixel > 3) & (pixel < (width - 4, height - 4))):
        return None
    # All of a hop lies in few rows, which are read at one time to within a millisecond.
    sought, frames = _around(
        landing, candidates, landing.readout_s * float(shutter.row_share(pixel)[0])
    )
    if not frames:
        return None
    hop = find_hop(landing, sought)
    if hop is None or not hop.found:
        return None
    measured = _measured(stage, shutter, landing, hop, frames, exposure, fitted.light)
    if measured is None:
        return None
    hop, u_s, count = measured
    fall = max(-float(landing.trajectory.at(hop.time_s - landing.began_s)[0, 5]), 1.0)
    u_s = float(np.hypot(u_s, GROUND_U_M / fall))
    return Bounce(
        hop.time_s, u_s, hop, count, _height_off(shutter, fitted, landing, hop.time_s, u_s)
    )


def _landing(shutter: Shutter, fitted: FittedFlight) -> PredictedLanding | None:
    circumstances, parameters = shutter.circumstances, fitted.parameters
    figures = figures_of(circumstances, parameters)
    flight_s = figures.value("flight_time_s")
    if not np.isfinite(flight_s):
        return None
    trajectory = flight_of(circumstances, parameters, flight_s + 0.3, 0.04, with_sensitivities=True)
    by_all = figures.jacobian[FIGURES.index("flight_time_s")].copy()
    by_all[0] += 1.0
    fall = max(-float(trajectory.at(flight_s)[0, 5]), 1.0)
    u_s = np.hypot(np.sqrt(by_all @ fitted.covariance @ by_all), GROUND_U_M / fall)
    return PredictedLanding(
        camera=circumstances.camera.perturbed(parameters[CAMERA_AT:]),
        forces=circumstances.forces,
        trajectory=trajectory,
        began_s=float(parameters[0]),
        landed_s=float(parameters[0]) + flight_s,
        landed_u_s=float(min(u_s, LONGEST_U_S)),
        drag=float(parameters[DRAG_AT]),
        readout_s=float(parameters[READOUT_AT]),
    )


def _around(
    landing: PredictedLanding, candidates: list[Candidates], late: float
) -> tuple[BounceCandidates, list[Candidates]]:
    """Return the candidates about a landing, and how many are usual there at other times."""
    place = landing.trajectory.at(landing.landed_s - landing.began_s)[:, :3]
    ends = landing.camera.project(np.vstack([place, place + np.array([0.0, 0.0, 1.0])]))
    px_per_m = float(np.linalg.norm(ends[1] - ends[0]))
    reach = max(REACH_M * px_per_m, 12.0)
    before = landing.landed_s - 2.5 * landing.landed_u_s
    after = landing.landed_s + 2.5 * landing.landed_u_s + AFTER_S
    frames = [each for each in candidates if before < each.time_s + late < after]
    apart = [each for each in candidates if not before - 0.15 < each.time_s + late < after + 0.4]
    usual = sum(int(np.sum(_near(each.pixels, ends[0], reach))) for each in apart)
    clutter = (usual + 0.5) / (max(len(apart), 1) * np.pi * reach**2)
    return (
        BounceCandidates(
            times_s=np.array([each.time_s for each in frames]) + late,
            owner=np.repeat(np.arange(len(frames)), [len(each.pixels) for each in frames]),
            pixels=np.concatenate([np.zeros((0, 2)), *(each.pixels for each in frames)]),
            clutter=max(clutter, RAREST_CLUTTER),
            px_per_m=px_per_m,
        ),
        frames,
    )


def _near(pixels: Array, pixel: Array, reach: float) -> NDArray[np.bool_]:
    near: NDArray[np.bool_] = np.linalg.norm(pixels - pixel, axis=1) < reach
    return near


def _measured(
    stage: SearchContext,
    shutter: Shutter,
    landing: PredictedLanding,
    hop: Hop,
    frames: list[Candidates],
    exposure: float | None,
    light: Array,
) -> tuple[Hop, float, int] | None:
    """Measure the ball's pictures along a hop and fit it to them; add the moment's uncertainty."""
    state = np.array([hop.time_s, hop.restitution, hop.speed_kept, hop.sideways_mps])
    readout = float(landing.readout_s)
    for _ in range(2):
        shown, course = _course(shutter, landing, state, frames, readout)
        if len(shown) < LEAST_HITS:
            return None
        track, _ = sighted(stage, shutter, course, shown, exposure, light)
        if len(track.frames) < LEAST_HITS:
            return None
        times = track.times_s + readout * shutter.row_share(track.pixels)
        middles = track.pixels - track.lean[:, None] * light
        roots = np.linalg.inv(np.linalg.cholesky(track.covariances + MEETING_PX**2 * np.eye(2)))
        weight = np.ones(len(times))
        for _ in range(6):
            gap = middles - hop_pixels(landing, state[None], times)[0]
            white = np.einsum("nij,nj->ni", roots, gap)
            slope = np.stack([_slope(landing, state, times, at) for at in range(4)], axis=2)
            slope = np.einsum("nij,njk->nik", roots, slope)
            good = np.isfinite(white).all(axis=1) & np.isfinite(slope).all(axis=(1, 2))
            if np.sum(good) < LEAST_HITS:
                return None
            size = np.linalg.norm(white, axis=1)
            weight = np.where(good, np.minimum(1.0, 2.0 / np.maximum(np.nan_to_num(size), 2.0)), 0)
            flat, left = slope[good].reshape(-1, 4), white[good].reshape(-1)
            heavy = np.repeat(weight[good], 2)
            spread = prior_u(landing)
            normal = flat.T @ (heavy[:, None] * flat) + np.diag(spread**-2.0)
            pull = -prior_residuals(landing, state[None])[0] / spread
            step = np.linalg.solve(normal, flat.T @ (heavy * left) + pull)
            state = state + np.clip(step, -0.5 * spread, 0.5 * spread)
    scatter = float(np.sqrt(np.mean(np.minimum(left**2, 16.0))))
    u_s = float(np.sqrt(np.linalg.inv(normal)[0, 0])) * max(1.0, scatter)
    kept = int(np.sum(size[good] < 4.0))
    if kept < LEAST_HITS:
        return None
    time_s, rise, level, aside = state.tolist()
    told = replace(hop, time_s=time_s, restitution=rise, speed_kept=level, sideways_mps=aside)
    return told, float(np.hypot(u_s, TOUCH_U_S)), kept


def _slope(landing: PredictedLanding, state: Array, times: Array, at: int) -> Array:
    """Return the derivative of a hop's pixels by one of its four numbers, shape (N, 2)."""
    step = np.zeros(4)
    step[at] = (1e-4, 1e-3, 1e-3, 1e-3)[at]
    both = hop_pixels(landing, np.stack([state + step, state - step]), times)
    slope: Array = (both[0] - both[1]) / (2.0 * step[at])
    return slope


def _course(
    shutter: Shutter,
    landing: PredictedLanding,
    state: Array,
    frames: list[Candidates],
    readout: float,
) -> tuple[list[Candidates], Course]:
    """Return the frames in which a hop shows, and where the ball is in them."""
    times = np.array([each.time_s for each in frames])
    pixels = hop_pixels(landing, state[None], times)[0]
    for _ in range(2):
        share = shutter.row_share(np.nan_to_num(pixels))
        rows_s = times + readout * share
        states = hop_states(landing, state[None], rows_s)[0]
        pixels = landing.camera.project(states[:, :3])
    width, height = landing.camera.size_px
    with np.errstate(invalid="ignore"):
        inside = np.all((pixels > 1) & (pixels < (width - 2, height - 2)), axis=1)
    inside &= (rows_s > state[0]) & (rows_s < state[0] + AFTER_S)
    shown = [each for each, shows in zip(frames, inside, strict=True) if shows]
    return shown, Course(times[inside], states[inside], pixels[inside])


def _height_off(
    shutter: Shutter, fitted: FittedFlight, landing: PredictedLanding, at_s: float, u_s: float
) -> float:
    """Return by how many standard uncertainties the flight is above the ground at a moment."""
    states, by_launch = landing.trajectory.at_with_sensitivities(at_s - landing.began_s)
    slope = np.zeros(len(fitted.parameters))
    slope[0], slope[FLIGHT_AT] = -states[0, 5], by_launch[0, 2]
    variance = slope @ fitted.covariance @ slope + (states[0, 5] * u_s) ** 2
    return float((states[0, 2] - shutter.circumstances.ball_radius_m) / np.sqrt(variance))
