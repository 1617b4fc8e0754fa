"""Shots from the release and from anywhere together, each once, without their hops."""

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from tracker.measurement.fitted_shot import FittedShot
from tracker.measurement.selection import as_candidate, is_again, part_of_another
from tracker.records import Quality, Reason, ReasonCode, RejectedCandidate

Array = NDArray[np.float64]

LONGEST_BEFORE_S = 1.5
"""A flight that could not be measured may have been placed this long before the one it is, s."""

HOP_S, HOP_M, HOP_KEEPS, HOP_AHEAD = 1.5, 2.0, 1.0, 0.3
"""What starts this soon (s) after a shot has come down, no farther from there than this (m) and
what the ball may have gone since, no faster than it came down and within some 70 degrees of its
direction (the cosine), is that ball's hop. Common practice, no source."""

OVERLAP_S = 0.1
"""How long before a landing its hop may seem to start, s."""

MIDWAY_M, MIDWAY_SHARE = 0.5, 0.35
"""What starts so near to another flight's path (m) while that one flies, at its speed within this
share, is the same ball, found a second time. Common practice, no source: two balls in the air are
farther apart."""

REBOUND = 0.76
"""Most of its vertical speed that a bounced ball keeps: a tennis ball that falls 254 cm onto
concrete comes up 147 cm at most (ITF Rules of Tennis, appendix I); speeds are as the roots."""


def together(usual: list[FittedShot], others: list[FittedShot], pace: float) -> list[FittedShot]:
    """Return the shots found from the release point and those found from anywhere, each once.

    A shot from the release point that is in doubt gives way to the same ball's flight from
    elsewhere; any other stays as it is.

    Parameters
    ----------
    usual, others : list of FittedShot
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


def _is_same(shot: FittedShot, other: FittedShot, pace: float) -> bool:
    """Tell whether a shot in doubt, measured or not, is of the ball of another."""
    if shot.path is not None:
        return is_again(shot, other) or is_again(other, shot)
    began = (shot.shot.release_s - other.shot.release_s) / pace
    return -LONGEST_BEFORE_S < began < (other.shot.flight_time_s or 0.0)


def without_hops(
    shots: list[FittedShot],
    whose: Callable[[FittedShot, Sequence[FittedShot]], FittedShot | None] | None = None,
    code: ReasonCode = ReasonCode.HOP,
) -> tuple[list[FittedShot], list[RejectedCandidate]]:
    """Return the shots, and apart from them what a ball did after its first bounce.

    Parameters
    ----------
    shots : list of FittedShot
    whose : callable, optional
        Returns the shot whose hop another is, or None: `hop_of` unless given.
    code : ReasonCode
        What is said of those.
    """
    whose = hop_of if whose is None else whose
    kept: list[FittedShot] = []
    hops: list[RejectedCandidate] = []
    for shot in sorted(shots, key=lambda each: each.shot.release_s):
        first = whose(shot, shots)
        if first is None or shot.path is None:
            kept.append(shot)
            continue
        hops.append(part_of_another(shot, shot.path, code, first))
    return kept, hops


def without_other_falls(
    usual: Sequence[FittedShot], others: list[FittedShot]
) -> tuple[list[FittedShot], list[RejectedCandidate]]:
    """Return the flights from anywhere that fall as the clip's balls do, and apart the rest.

    That it falls as gravity makes a ball fall is all that speaks for a flight from anywhere. A
    wrong frame rate or a wrong length would change the fall of every ball of a clip alike; where
    others fall as they should, what does not is a bird.

    Parameters
    ----------
    usual : sequence of FittedShot
        Those from the release point, which speaks for them.
    others : list of FittedShot
    """
    off = [_gravity_off(each) for each in others]
    whole = [*usual, *(each for each, found in zip(others, off, strict=True) if found is None)]
    if all(each.shot.quality is Quality.REJECTED or _gravity_off(each) for each in whole):
        return others, []
    kept: list[FittedShot] = []
    rest: list[RejectedCandidate] = []
    for shot, reason in zip(others, off, strict=True):
        if reason is None or shot.path is None:
            kept.append(shot)
            continue
        rest.append(as_candidate(shot, shot.path, reason))
    return kept, rest


def _gravity_off(shot: FittedShot) -> Reason | None:
    """Return that a shot does not fall as gravity makes a ball fall, or None."""
    return next((each for each in shot.shot.reasons if each.code is ReasonCode.GRAVITY_OFF), None)


def hop_of(shot: FittedShot, others: Sequence[FittedShot]) -> FittedShot | None:
    """Return the shot whose hop another is, or None when it is a shot of its own."""
    if shot.path is None or shot.shot.quality is Quality.GOOD:
        return None
    start = shot.path.points_m[0]
    velocity = _velocity(shot, 0)
    for other in others:
        if other is shot or other.path is None or other.shot.flight_time_s is None:
            continue
        lapse = float(shot.path.times_s[0] - other.path.times_s[-1])
        if not -OVERLAP_S < lapse < HOP_S:
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


def hop_in_picture(shot: FittedShot, others: Sequence[FittedShot]) -> FittedShot | None:
    """Return the same as `hop_of` where every shot has a scale and an origin of its own.

    The two are compared in the picture, at the scale of the earlier one where it comes down.
    """
    if shot.path is None or shot.shot.quality is Quality.GOOD:
        return None
    for other in others:
        if other is shot or other.path is None:
            continue
        lapse = float(shot.path.times_s[0] - other.path.times_s[-1])
        down, up = _speed_px(other, -1), _speed_px(shot, 0)
        metre_px = float(np.linalg.norm(down) / np.linalg.norm(_velocity(other, -1)))
        apart = float(np.linalg.norm(shot.path.pixels[0] - other.path.pixels[-1]))
        if (
            abs(lapse) < OVERLAP_S
            and apart < HOP_M * metre_px
            and -up[1] < REBOUND * down[1]
            and 0.0 < up[0] * np.sign(down[0]) < HOP_KEEPS * abs(down[0])
        ):
            return other
    return None


def midway_of(shot: FittedShot, others: Sequence[FittedShot]) -> FittedShot | None:
    """Return the shot on whose path another starts while it flies, or None.

    A ball that is near may be found twice, by its edge and by its middle, and one path may begin
    where something behind it was passed. The two are compared in the picture.
    """
    if shot.path is None or shot.shot.quality is Quality.GOOD:
        return None
    begin_s = float(shot.path.times_s[0])
    speed = _speed_px(shot, 0)
    for other in others:
        if other is shot or other.path is None:
            continue
        times = other.path.times_s
        if not times[0] < begin_s < times[-1]:
            continue
        at = max(int(np.searchsorted(times, begin_s)) - 1, 0)
        since = (begin_s - times[at]) / (times[at + 1] - times[at])
        place = (1.0 - since) * other.path.pixels[at] + since * other.path.pixels[at + 1]
        theirs = _rate(other.path.pixels[at:], times[at:], 0)
        metres = _rate(other.path.points_m[at:], times[at:], 0)
        metre_px = float(np.linalg.norm(theirs) / np.linalg.norm(metres))
        if np.linalg.norm(shot.path.pixels[0] - place) < MIDWAY_M * metre_px and np.linalg.norm(
            speed - theirs
        ) < MIDWAY_SHARE * np.linalg.norm(theirs):
            return other
    return None


def _speed_px(shot: FittedShot, at: int) -> Array:
    """Return the speed in the picture at the first or last point of a path, px/s, shape (2,)."""
    assert shot.path is not None
    return _rate(shot.path.pixels, shot.path.times_s, at)


def _velocity(shot: FittedShot, at: int) -> Array:
    """Return the velocity at the first or the last point of a shot's path, m/s, shape (3,)."""
    assert shot.path is not None
    return _rate(shot.path.points_m, shot.path.times_s, at)


def _rate(places: Array, times_s: Array, at: int) -> Array:
    """Return how fast places change at the first (0) or the last (-1) of them."""
    pair = slice(0, 2) if at == 0 else slice(-2, None)
    found: Array = np.diff(places[pair], axis=0)[0] / np.diff(times_s[pair])[0]
    return found
