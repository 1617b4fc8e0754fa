"""Whether something moves on smoothly into a fall, or out of it: a bird between two wing beats.

A bird that folds its wings falls as a ball does, for a second and more, and is then as compact as
one. But it flew there before: nothing released it.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracker.following.arcs import Arc
from tracker.measurement.scouting import Scouted
from tracker.measurement.throws import end_of
from tracker.records import ReasonCode

Array = NDArray[np.float64]

LEAST_POSITIONS = 8
"""Positions of a path that tells how something moved on: fewer may be anything's. Common practice,
no source."""

LONGEST_GAP_S = 0.15
"""Longest time between two paths of one thing, or for which they overlap, s."""

REACH_SHARE, SAME_SHARE = 0.012, 0.2
"""How far apart they may pass where they meet, as a share of the frame's width, and how much their
velocities may differ there, as a share of the greater: a bounce or a hand changes more. From drawn
birds."""

LEAD_S = 0.5
"""A path this long, s, that leads into a fall, or out of it, at the same speed across the frame is
of the same thing, whatever its speed up and down: a wing beat changes that within a few frames, and
a hand that throws moves for a shorter time. From drawn birds."""

PACE_SHARE, LEAST_PACE = 0.1, 0.5
"""How much the speed across the frame may change, as a share of itself, where something pulls out
of a fall, and the least that it is of the whole speed. A ball that lands and rolls on loses more by
friction: 0.3 of its speed downwards at the least (common practice, no source)."""

LEAST_PUSH = 0.5
"""A path that gains speed across the frame by this share of the fall's acceleration, and two
standard uncertainties, before a fall is a hand's that throws: a bird keeps its pace. To throw at
10 m/s over a metre takes five times gravity (common practice, no source)."""

LEAST_BRAKE = 0.5
"""A path that loses speed across the frame by this share of the fall's acceleration, and two
standard uncertainties, and does not rise, is no bird's: it is the shadow of a ball that hops, which
slows as its ball's climb does. A bird that slows so climbs (common practice, no source)."""

SAME_FALL = 0.5
"""A path that falls by more than this share of the other's acceleration is the same fall."""


def runs_on(arc: Arc, paths: Sequence[Arc], width_px: int) -> bool:
    """Return whether what falls along an arc moved on smoothly before or after, without falling.

    Parameters
    ----------
    arc : Arc
    paths : sequence of Arc
        All paths of the clip, that one may be among them.
    width_px : int
        Width of the frames.
    """
    return any(_meet(other, arc, width_px) or _meet(arc, other, width_px, True) for other in paths)


def lasting(scouted: Scouted) -> Scouted:
    """Return a first pass as it judges a path from a release that has its place in the frame.

    It keeps the paths that are long enough for a bird's: shorter ones beside a launcher or a hand
    may be its own, or the ball's. Where every row will say that the camera's motion was lost, as
    before swaying branches, that refuses none, as it refuses no taped shot.
    """
    arcs = tuple(arc for arc in scouted.arcs if arc.duration_s >= LEAD_S)
    stated = any(reason.code is ReasonCode.CAMERA_LOST for reason in scouted.doubts)
    return replace(scouted, arcs=arcs, lost_s=() if stated else scouted.lost_s)


def _keeps_pace(before: Array, after: Array) -> bool:
    """Return whether something goes on across the frame as fast as it fell, as a bird does."""
    across = max(abs(float(before[0])), abs(float(after[0])))
    return bool(
        across > LEAST_PACE * float(np.linalg.norm(before))
        and abs(float(after[0] - before[0])) < PACE_SHARE * across
    )


def _pushes(hand: Arc, fall_pxps2: float) -> bool:
    """Return whether something on a path gains speed across the frame as a hand that throws."""
    gain = float(hand.acceleration_pxps2[0]) * np.sign(float(hand.velocity_pxps[0]))
    return bool(gain > LEAST_PUSH * fall_pxps2 + 2.0 * hand.acceleration_u_pxps2)


def _brakes(level: Arc, fall_pxps2: float) -> bool:
    """Return whether something on a path loses speed across the frame, and not by climbing."""
    loss = -float(level.acceleration_pxps2[0]) * np.sign(float(level.velocity_pxps[0]))
    rises = float(level.pixels[-1, 1]) < float(level.pixels[0, 1])
    return bool(not rises and loss > LEAST_BRAKE * fall_pxps2 + 2.0 * level.acceleration_u_pxps2)


def _meet(first: Arc, second: Arc, width_px: int, falls_first: bool = False) -> bool:
    """Return whether the second path goes on where the first ends, and only one of them falls."""
    fall, level = (first, second) if falls_first else (second, first)
    if len(level.frames) < LEAST_POSITIONS:
        return False
    if level.acceleration_pxps2[1] > SAME_FALL * fall.acceleration_pxps2[1]:
        return False
    if not falls_first and _pushes(level, float(fall.acceleration_pxps2[1])):
        return False
    if falls_first and _brakes(level, float(fall.acceleration_pxps2[1])):
        return False
    end_s, begin_s = float(first.times_s[-1]), float(second.times_s[0])
    if abs(begin_s - end_s) > LONGEST_GAP_S:
        return False
    meeting_s = 0.5 * (begin_s + end_s)
    at = np.array([meeting_s])
    (ending, speed), (beginning, next_speed) = end_of(first, at, True), end_of(second, at, False)
    greater = max(float(np.linalg.norm(speed)), float(np.linalg.norm(next_speed)))
    change = next_speed - speed
    if level.duration_s >= LEAD_S and (not falls_first or _keeps_pace(speed, next_speed)):
        change = change * np.array([1.0, 0.0])
    return bool(
        np.linalg.norm(beginning - ending) < REACH_SHARE * width_px
        and np.linalg.norm(change) < SAME_SHARE * greater
    )
