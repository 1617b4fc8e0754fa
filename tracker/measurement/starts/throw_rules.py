"""What is thrown through the air in front of a calibrated camera, and what only looks like it."""

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from tracker.following.arcs import Arc
from tracker.measurement.fitted_shot import TracedFlight
from tracker.measurement.flight import Flight
from tracker.measurement.starts.field import Field
from tracker.records import MeasuredShot, Reason, ReasonCode

Array = NDArray[np.float64]

SPEEDS_MPS = (3.0, 70.0)
"""Slowest and fastest throw, m/s. Common practice, no source."""

LEAST_WAY_M = 1.5
"""A shorter flight is a ball that is tossed from hand to hand, or no ball, m."""

LEAST_USED_SHARE, MOST_SCALE = 0.7, 4.0
"""Least share of a path's positions that one flight explains, and most ratio of their scatter to
their own uncertainty."""

MOST_PRIOR_CHI_SQUARE = 45.0
"""Chi-square of the departures from some twenty priors above which a path is no throw: its chance
is 0.1 %."""

FARTHEST_U = 3.0
"""No shot starts farther than this many standard deviations from the middle of the field."""

LOW_M, LOW_SHARE = 0.25, 0.6
"""What begins lower than this rises from the ground, m, or lower than this share of the height of
the release, where that is low."""

SUNK_M = 0.5
"""A path that lies so far below the ground is none through the air, m."""

ROLLS_MPS, BRAKES_MPS2 = 20.0, 4.0
"""Fastest and hardest braked ball that rolls over the ground. Common practice, no source."""

ROLL_PX, ROLL_SHARE = 1.2, 0.04
"""Scatter of positions about a way over the ground: px, and a share of the way between frames."""

LEAST_SEEN, MOST_SPEED_SHARE = 10, 0.10
"""Fewest frames and largest relative standard uncertainty of the speed of a shot from anywhere."""

RAGGED, FAINT_SNR = 2.5, 10.0
"""Ratio of scatter to uncertainty that a ball of a smaller signal-to-noise ratio may not exceed."""

FULL_SHARE, PLAIN_SNR = 0.85, 15.0
"""Share of the frames crossed in which a ball of a smaller signal-to-noise ratio must be seen."""


def no_throw(flight: Flight, field: Field, release_up_m: float, first_s: float) -> Reason | None:
    """Return why a fitted flight is no ball thrown through the air, None when it may be one.

    Parameters
    ----------
    flight : Flight
    field : Field
    release_up_m : float
        Height of the launcher's release.
    first_s : float
        When it was first seen.
    """
    fitted, arc = flight.fitted, flight.throw.arc
    count, used = len(fitted.used), int(np.sum(fitted.used))
    if used < LEAST_USED_SHARE * count:
        return Reason(ReasonCode.POSITIONS_DISAGREE, {"count": used, "crossed": count})
    if fitted.scale > MOST_SCALE:
        return Reason(ReasonCode.SCATTER_TOO_LARGE)
    speed = float(np.linalg.norm(flight.launch[3:6]))
    if not SPEEDS_MPS[0] < speed < SPEEDS_MPS[1]:
        return Reason(ReasonCode.SPEED_IMPLAUSIBLE, {"speed_mps": speed})
    seen = flight.states(np.append(first_s, arc.times_s[arc.times_s > first_s]))
    way = float(np.sum(np.linalg.norm(np.diff(seen[:, :3], axis=0), axis=1)))
    if way < LEAST_WAY_M:
        return Reason(ReasonCode.TOO_SHORT, {"way_m": way})
    off = np.abs(seen[0, :2] - field.middle_m) / field.u_m
    if np.any(off > FARTHEST_U):
        return Reason(ReasonCode.OFF_FIELD, {"off_m": field.outside_m(seen[0])})
    above = flight.known.ground.above(seen)
    if np.min(above) < -SUNK_M:
        return Reason(ReasonCode.BELOW_GROUND)
    if flight.prior_chi_square > MOST_PRIOR_CHI_SQUARE:
        return Reason(ReasonCode.IMPLAUSIBLE)
    if above[0] < min(LOW_M, LOW_SHARE * release_up_m) and seen[0, 5] > 0.0:
        return Reason(ReasonCode.RISES_FROM_GROUND)
    return None


def hardly_seen(
    shot: MeasuredShot,
    traced: TracedFlight,
    most_speed_u: float = MOST_SPEED_SHARE,
    full_share: float = FULL_SHARE,
) -> Reason | None:
    """Return why too little is seen of a flight to be believed, None where enough is.

    A flight from the release point is supported by where it starts. One from anywhere has only
    its own positions.

    Parameters
    ----------
    shot : MeasuredShot
    traced : TracedFlight
    most_speed_u : float
        Largest relative standard uncertainty of the speed.
    full_share : float
        Share of the frames crossed in which a faint ball must be seen.
    """
    row, fitted = shot.shot, traced.fitted
    if row.frames_seen < LEAST_SEEN:
        return Reason(ReasonCode.TOO_FEW_FRAMES, {"frames": row.frames_seen})
    speed, u = row.exit_speed_mps, row.exit_speed_u_mps
    if speed is None or u is None or u > most_speed_u * speed:
        return Reason(ReasonCode.SPEED_UNKNOWN)
    snr = traced.observed.track.snr
    clear = np.inf if snr is None else float(np.median(snr[fitted.used]))
    if clear < FAINT_SNR and fitted.scale > RAGGED:
        return Reason(ReasonCode.RAGGED)
    if clear < PLAIN_SNR and row.frames_seen < full_share * traced.in_view:
        numbers = {"frames": row.frames_seen, "crossed": traced.in_view}
        return Reason(ReasonCode.FAINT, numbers)
    return None


def rolls(arc: Arc, camera: Camera) -> bool:
    """Return whether a path is that of something that moves over the ground.

    Its places are laid on the ground, where what rolls goes straight and slows down.

    Parameters
    ----------
    arc : Arc
    camera : Camera
    """
    places = camera.on_plane(arc.pixels, (0.0, 0.0, 0.0), (0.0, 0.0, 1.0))
    if not np.isfinite(places).all():
        return False
    since = arc.times_s - float(arc.times_s.mean())
    design = np.column_stack([np.ones(len(since)), since, since**2])
    _, by_place, _ = camera.project_with_jacobians(places)
    # Held against the picture: on the ground itself a far place is known far worse.
    slope = np.einsum("nij,nk->nijk", by_place[:, :, :2], design).reshape(2 * len(since), -1)
    aim = np.einsum("nij,nj->ni", by_place[:, :, :2], places[:, :2]).reshape(-1)
    answer = np.linalg.lstsq(slope, aim, rcond=None)[0]
    scatter = float(np.sqrt(np.mean((aim - slope @ answer) ** 2) * 2.0))
    _, speed, bend = answer.reshape(2, 3).T
    fast = float(np.linalg.norm(np.diff(arc.pixels, axis=0), axis=1).mean())
    return bool(
        scatter < ROLL_PX + ROLL_SHARE * fast
        and np.linalg.norm(speed) < ROLLS_MPS
        and 2.0 * np.linalg.norm(bend) < BRAKES_MPS2
    )
