"""The moment of the first bounce, from the flight and the hop that follows it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.ground import Ground
from tracker.fitting import FIGURES, FittedFlight, figures_of
from tracker.fitting.circumstances import GROUND_U_M
from tracker.fitting.model import flight_of
from tracker.fitting.parameters import CAMERA_AT, DRAG_AT, FLIGHT_AT, READOUT_AT, RELEASE_AT
from tracker.flight.trajectory import Trajectory
from tracker.following.hop import AFTER_S, BounceCandidates, Hop, PredictedLanding, find_hop
from tracker.measurement.context import ClipContext
from tracker.measurement.hop_fit import measure_hop
from tracker.records import Candidates

Array = NDArray[np.float64]

NEAR_S = 0.15
"""A hop shows where a flight landed only when the flight was seen until so long before, s.
Common practice, no source."""

LONGEST_U_S = 0.06
"""Greatest standard uncertainty of the predicted landing that the search for a hop allows, s."""

WINDOW_U = 2.5
"""Half the window about the predicted landing in which a bounce is looked for, standard
uncertainties."""

REACH_M, LEAST_REACH_PX = 1.5, 12.0
"""How far about a landing other candidates are counted, m, and least of it, px."""

QUIET_BEFORE_S, QUIET_AFTER_S = 0.15, 0.4
"""Frames so long before and after the window count for the usual number of candidates, s."""

RAREST_CLUTTER = 1e-6
"""Candidates per pixel and frame that are assumed where none was seen."""

FARTHEST_U = 3.0
"""A bounce farther from the fitted flight's own landing than this many standard uncertainties of
the two together is another ball's."""

LEAST_FALL_MPS = 1.0
"""Least speed of fall at a landing that is assumed, m/s: a height is a time through it."""

AFTER_LANDING_S, STEP_S = 0.3, 0.04
"""Time that a flight is continued beyond its landing, and longest integration step, s."""


@dataclass(frozen=True)
class Bounce:
    """A first bounce that was seen.

    Attributes
    ----------
    time_s, u_s : float
        True time in the clip at which the ball touched the ground, and its standard uncertainty,
        without that of the ground's height.
    hop : Hop
    frames : int
        Frames in which the hop was measured.
    off_u : float
        Height of the flight that was fitted without it above the ground at that time, in standard
        uncertainties.
    """

    time_s: float
    u_s: float
    hop: Hop
    frames: int
    off_u: float

    @property
    def agrees(self) -> bool:
        """Whether it is the bounce of this flight."""
        return abs(self.off_u) <= FARTHEST_U


def find_bounce(
    context: ClipContext,
    fitted: FittedFlight,
    last_s: float,
    candidates: list[Candidates],
    exposure: float | None,
) -> Bounce | None:
    """Return the bounce at the end of a fitted flight, or None when no hop was seen after it.

    Parameters
    ----------
    context : ClipContext
    fitted : FittedFlight
        Without any bounce.
    last_s : float
        True time of the last position.
    candidates : list of Candidates
        Of the frames of the flight and a while after.
    exposure : float or None
        See `sighted`.
    """
    landing = predicted_landing(context, fitted)
    if landing is None or landing.landed_s - last_s > NEAR_S + WINDOW_U * landing.landed_u_s:
        return None
    place = landing.trajectory.at(landing.landed_s - landing.began_s)[:, :3]
    pixel = landing.camera.project(place)
    if not landing.camera.in_frame(pixel)[0]:
        return None
    # All of a hop lies in few rows, which are read at one time to within a millisecond.
    delay_s = landing.readout_s * float(context.row_share(pixel)[0])
    near, frames = candidates_near(landing, candidates, delay_s)
    if not frames:
        return None
    hop = find_hop(landing, near)
    if hop is None or not hop.found:
        return None
    measured = measure_hop(context, landing, hop, frames, (exposure, fitted.light))
    if measured is None:
        return None
    time_s = measured.hop.time_s
    fall = fall_mps(landing.ground, landing.trajectory, time_s - landing.began_s)
    off_u = height_off(
        context, fitted, landing, time_s, float(np.hypot(measured.u_s, GROUND_U_M / fall))
    )
    return Bounce(time_s, measured.u_s, measured.hop, measured.frames, off_u)


def predicted_landing(context: ClipContext, fitted: FittedFlight) -> PredictedLanding | None:
    """Return where and when a fitted flight comes down, None for one that does not."""
    known, parameters = context.circumstances, fitted.parameters
    figures = figures_of(known, parameters)
    flight_s = figures.value("flight_time_s")
    if not np.isfinite(flight_s):
        return None
    trajectory = flight_of(
        known, parameters, flight_s + AFTER_LANDING_S, STEP_S, with_sensitivities=True
    )
    by_all = figures.jacobian[FIGURES.index("flight_time_s")].copy()
    by_all[RELEASE_AT] += 1.0
    fall = fall_mps(known.ground, trajectory, flight_s)
    u_s = np.hypot(np.sqrt(by_all @ fitted.covariance @ by_all), GROUND_U_M / fall)
    release_s = float(parameters[RELEASE_AT])
    return PredictedLanding(
        camera=known.camera.perturbed(parameters[CAMERA_AT:]),
        forces=known.forces,
        trajectory=trajectory,
        began_s=release_s,
        landed_s=release_s + flight_s,
        landed_u_s=float(min(u_s, LONGEST_U_S)),
        drag=float(parameters[DRAG_AT]),
        readout_s=float(parameters[READOUT_AT]),
        ground=known.ground,
    )


def fall_mps(ground: Ground, trajectory: Trajectory, time_s: float) -> float:
    """Return how fast a flight comes down on the ground at a time, `LEAST_FALL_MPS` at least."""
    return max(-float(ground.above(trajectory.at(time_s)[0, 3:])), LEAST_FALL_MPS)


def candidates_near(
    landing: PredictedLanding, candidates: list[Candidates], delay_s: float
) -> tuple[BounceCandidates, list[Candidates]]:
    """Return the candidates about a landing with their usual number there, and their frames.

    Parameters
    ----------
    landing : PredictedLanding
    candidates : list of Candidates
    delay_s : float
        From a frame's time to that of the landing's row.
    """
    place = landing.trajectory.at(landing.landed_s - landing.began_s)[:, :3]
    ends = landing.camera.project(np.vstack([place, place + np.array([0.0, 0.0, 1.0])]))
    px_per_m = float(np.linalg.norm(ends[1] - ends[0]))
    reach = max(REACH_M * px_per_m, LEAST_REACH_PX)
    begin = landing.landed_s - WINDOW_U * landing.landed_u_s
    end = landing.landed_s + WINDOW_U * landing.landed_u_s + AFTER_S
    frames = [each for each in candidates if begin < each.time_s + delay_s < end]
    quiet = [
        each
        for each in candidates
        if not begin - QUIET_BEFORE_S < each.time_s + delay_s < end + QUIET_AFTER_S
    ]
    beside = np.concatenate([np.zeros((0, 2)), *(each.pixels for each in quiet)])
    usual = int(np.sum(np.linalg.norm(beside - ends[0], axis=1) < reach))
    clutter = (usual + 0.5) / (max(len(quiet), 1) * np.pi * reach**2)
    near = BounceCandidates(
        times_s=np.array([each.time_s for each in frames]) + delay_s,
        owner=np.repeat(np.arange(len(frames)), [len(each.pixels) for each in frames]),
        pixels=np.concatenate([np.zeros((0, 2)), *(each.pixels for each in frames)]),
        clutter=max(clutter, RAREST_CLUTTER),
        px_per_m=px_per_m,
    )
    return near, frames


def height_off(
    context: ClipContext,
    fitted: FittedFlight,
    landing: PredictedLanding,
    at_s: float,
    u_s: float,
) -> float:
    """Return the height of a flight above the ground at a time, in standard uncertainties.

    Parameters
    ----------
    context, fitted, landing
    at_s, u_s : float
        The time and its standard uncertainty, that of the ground's height included.
    """
    states, by_launch = landing.trajectory.at_with_sensitivities(at_s - landing.began_s)
    ground = landing.ground
    climb = float(ground.above(states[0, 3:]))
    slope = np.zeros(len(fitted.parameters))
    slope[RELEASE_AT], slope[FLIGHT_AT] = -climb, ground.upward @ by_launch[0, :3]
    variance = slope @ fitted.covariance @ slope + (climb * u_s) ** 2
    above = float(ground.above(states)[0])
    return float((above - context.circumstances.ball_radius_m) / np.sqrt(variance))
