"""What is thrown through the air in front of a calibrated camera, and what only looks like it."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from tracker.following.arcs import Arc
from tracker.measurement.anywhere.start import Field, Flight
from tracker.measurement.rejection import is_again, no_shot_of_its_own
from tracker.measurement.tracing import Traced
from tracker.records import MeasuredShot, Quality, Reason, ReasonCode, RejectedCandidate

Array = NDArray[np.float64]

SPEEDS_MPS = (3.0, 70.0)
LEAST_WAY_M = 1.5
"""A shorter flight is a ball that is tossed from hand to hand, or no ball."""

LEAST_SHARE = 0.7
MOST_SCALE = 4.0
MOST_UNLIKELY = 45.0
"""Squared distance from what was presumed (some twenty things) beyond which it is no throw."""

FARTHEST_U = 3.0
"""So many standard deviations beyond the middle of the field no shot starts."""

LOW_M = 0.25
LOW_SHARE = 0.6
"""What begins lower than this comes up off the ground, or lower than this share of the height of
the release, where that is low."""

SUNK_M = 0.5
"""A path that would lie so far below the ground is none through the air."""

ROLLS_MPS = 20.0
BRAKES_MPS2 = 4.0
"""Fastest and hardest braked ball that rolls over the ground. Common practice, no source."""

ROLL_PX, ROLL_SHARE = 1.2, 0.04
"""Places scatter by so much about a way over the ground: a part of a pixel, and of their way."""

LEAST_SEEN = 10
MOST_SPEED_SHARE = 0.10
RAGGED, FAINT_SNR = 2.5, 10.0
FULL_SHARE, PLAIN_SNR = 0.85, 15.0
"""What is seen in fewer frames, or tells its speed to worse than this share of it, is not told as
a shot; nor, where it hardly stands out, what scatters by so many times what its pictures say, or is
missing from more than the rest of the frames."""

LONGEST_BEFORE_S = 1.5
"""A flight that could not be measured may be told for so long before the one it truly is."""

HOP_S = 1.5
HOP_M = 2.0
HOP_KEEPS = 1.0
HOP_AHEAD = 0.3
"""What starts so soon after a shot has come down, no farther from there than this and what the
ball may have gone since, no faster than it came down and within some 70° of its way (the cosine),
is the same ball's hop."""


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
    if used < LEAST_SHARE * count:
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
        return Reason(ReasonCode.OFF_FIELD, {"off_m": field.off(seen[0])})
    if np.min(seen[:, 2]) < -SUNK_M:
        return Reason(ReasonCode.BELOW_GROUND)
    if flight.prior_chi_square() > MOST_UNLIKELY:
        return Reason(ReasonCode.IMPLAUSIBLE)
    if seen[0, 2] < min(LOW_M, LOW_SHARE * release_up_m) and seen[0, 5] > 0.0:
        return Reason(ReasonCode.RISES_FROM_GROUND)
    return None


def hardly_seen(shot: MeasuredShot, trace: Traced) -> Reason | None:
    """Return why too little is seen of a flight to be believed, None where enough is.

    A flight from the release point is supported by where it starts. One from anywhere has only
    its own positions.
    """
    row, fitted = shot.shot, trace.fitted
    if row.frames_seen < LEAST_SEEN:
        return Reason(ReasonCode.TOO_FEW_FRAMES, {"frames": row.frames_seen})
    speed, u = row.exit_speed_mps, row.exit_speed_u_mps
    if speed is None or u is None or u > MOST_SPEED_SHARE * speed:
        return Reason(ReasonCode.SPEED_UNKNOWN)
    snr = trace.track.snr
    clear = np.inf if snr is None else float(np.median(snr[fitted.used]))
    if clear < FAINT_SNR and fitted.scale > RAGGED:
        return Reason(ReasonCode.RAGGED)
    if clear < PLAIN_SNR and row.frames_seen < FULL_SHARE * trace.in_view:
        numbers = {"frames": row.frames_seen, "crossed": trace.in_view}
        return Reason(ReasonCode.FAINT, numbers)
    return None


def rolls(arc: Arc, camera: Camera, frame_s: float) -> bool:
    """Tell whether a path is that of something that moves over the ground.

    Its places are laid on the ground, where what rolls goes straight and slows down.

    Parameters
    ----------
    arc : Arc
    camera : Camera
    frame_s : float
        True time between frames looked at.
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


def together(
    usual: list[MeasuredShot], others: list[MeasuredShot], pace: float
) -> list[MeasuredShot]:
    """Return the shots found from the release point and those found from anywhere, each once.

    A shot from the release point that is in doubt gives way to the same ball's flight from
    elsewhere; any other stays as it is.

    Parameters
    ----------
    usual, others : list of MeasuredShot
    pace : float
        Playing seconds per true second.
    """
    kept = [
        shot
        for shot in usual
        if shot.shot.quality is Quality.GOOD
        or not any(_is_same(shot, other, pace) for other in others)
    ]
    return [*kept, *(other for other in others if not any(is_again(other, one) for one in kept))]


def _is_same(shot: MeasuredShot, other: MeasuredShot, pace: float) -> bool:
    """Tell whether a shot in doubt, measured or not, is of the ball of another."""
    if shot.path is not None:
        return is_again(shot, other) or is_again(other, shot)
    began = (shot.shot.release_s - other.shot.release_s) / pace
    return -LONGEST_BEFORE_S < began < (other.shot.flight_time_s or 0.0)


def without_hops(
    shots: list[MeasuredShot],
) -> tuple[list[MeasuredShot], list[RejectedCandidate]]:
    """Return the shots, and apart from them what a ball did after its first bounce."""
    kept: list[MeasuredShot] = []
    hops: list[RejectedCandidate] = []
    for shot in sorted(shots, key=lambda each: each.shot.release_s):
        first = hop_of(shot, shots)
        if first is None or shot.path is None:
            kept.append(shot)
            continue
        hops.append(no_shot_of_its_own(shot, shot.path, ReasonCode.HOP, first))
    return kept, hops


def hop_of(shot: MeasuredShot, others: Sequence[MeasuredShot]) -> MeasuredShot | None:
    """Return the shot whose hop another is, or None when it is a shot of its own."""
    if shot.path is None or shot.shot.quality is Quality.GOOD:
        return None
    start = shot.path.points_m[0]
    velocity = _velocity(shot, 0)
    for other in others:
        if other is shot or other.path is None or other.shot.flight_time_s is None:
            continue
        lapse = float(shot.path.times_s[0] - other.path.times_s[-1])
        if not -0.1 < lapse < HOP_S:
            continue
        down = _velocity(other, -1)
        level = float(np.linalg.norm(down[:2]))
        apart = float(np.linalg.norm((start - other.path.points_m[-1])[:2]))
        if (
            apart < HOP_M + level * max(lapse, 0.0)
            and velocity[2] < HOP_KEEPS * abs(down[2])
            and np.linalg.norm(velocity[:2]) < HOP_KEEPS * level
            and velocity[:2] @ down[:2] > HOP_AHEAD * level * np.linalg.norm(velocity[:2])
        ):
            return other
    return None


def _velocity(shot: MeasuredShot, at: int) -> Array:
    """Return the velocity at the first or the last point of a shot's path, shape (3,)."""
    assert shot.path is not None
    points, times = shot.path.points_m, shot.path.times_s
    pair = (0, 1) if at == 0 else (-2, -1)
    found: Array = (points[pair[1]] - points[pair[0]]) / (times[pair[1]] - times[pair[0]])
    return found
