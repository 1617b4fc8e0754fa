"""Which arcs in the picture may be a thrown ball."""

from itertools import product

import numpy as np

from tracker.following.arcs import Arc, fit_arc
from tracker.following.linking import SIZE_SHARE, NearBall

ACCELERATIONS = (0.04, 2.0)
"""Gravity as the picture shows it, frame widths per s²: from 150 m away with a wide angle of view
to 4 m."""

LEAST_SPEED_S = 0.35
"""Speed over gravity of the slowest throw, s: 3.5 m/s. Common practice, no source."""

MOST_SPEED_S = 4.0
"""Speed over gravity above which nothing is thrown, s: 40 m/s. Common practice, no source."""

LEAST_POSITIONS, LEAST_DURATION_S, LEAST_SEEN_SHARE = 8, 0.25, 0.5
"""Fewest positions, shortest time and smallest share of frames of a fall. Common practice, no
source."""

LEAST_SIGNIFICANCE = 15.0
"""Downward acceleration over its standard uncertainty that a fall needs. Common practice, no
source: neighbouring positions of other moving things are correlated, so it is far above three."""

MOST_UNEVENNESS = 0.25
"""How much harder than at its ends a path may fall in its middle, as a share. A bird that dips and
rises falls hardest in the middle; a ball falls harder early and less hard late, which cancels."""

MOST_ONWARD = 0.35
"""Acceleration along the level motion over that downward that a fall may have which does not come
nearer: air only brakes, but a lens bends its way."""

SCATTER_PX, SCATTER_STREAK = 1.0, 0.04
"""Scatter about the curve that a fall may have: px, plus a share of its way from frame to frame."""

BRIEF_POSITIONS, BRIEF_S, BRIEF_EXTENT, BRIEF_SIGNIFICANCE = 6, 0.1, 0.03, 8.0
"""Fewest positions, shortest time, least extent (frame widths) and least significance of a fall
that is named where it was too brief to be measured. Common practice, no source."""

LEAST_SLOW_POSITIONS, LEAST_SLOW_SHARE, LEAST_SLOW_EXTENT = 40, 0.8, 0.15
"""Fewest positions, share of frames, and extent (frame widths) of a fall shown in slow motion."""

LEAST_SLOW_SIGNIFICANCE = 5.0
"""Downward acceleration over its standard uncertainty that a fall in slow motion needs."""

NEAR_POSITIONS, NEAR_DURATION_S, NEAR_SEEN_SHARE = 7, 0.2, 0.75
"""Fewest positions, shortest time and least share of frames of a ball that is seen nearby."""

NEAR_FALLS = (0.55, 1.8)
"""Fall of a near ball over that of gravity at the distance that its size shows: between two sizes
that are looked for lies a factor of less than two."""

TERMINAL_S = 0.8
"""Speed over gravity at which air brakes the lightest ball by its weight, s: 8 m/s, a table tennis
ball's (2.7 g, 40 mm, drag coefficient 0.5: 8.4 m/s)."""

SLANT = 1.8
"""How a throw's distance may change: twice the slope of its way, 35° off square across the line of
sight, times the frame's width over the focal length, 1.27 for a view of 65°. Common practice, no
source: who films from where he stands is as far off."""

NEAR_EXTENT = 2.0
"""How far a near ball must come, in its diameters: less is something that turns or trembles."""

OTHER_POSITIONS = 14
"""Fewest positions of a fall by which another ball than the stated one is named: real clips without
a ball gave up to twelve."""

END_CUTS = (0, 2, 4)
LEAST_CUT = 12
"""Positions tried to be cut off either end of a path, and fewest that are left."""


def is_throw(arc: Arc, width_px: int, frame_s: float, room_px: float = 0.0) -> bool:
    """Return whether a path may be a ball thrown through the air.

    Parameters
    ----------
    arc : Arc
    width_px : int
        Width of the frames.
    frame_s : float
        Time from one frame looked at to the next.
    room_px : float
        By how much more its positions may scatter, as those of a large ball do.
    """
    fall = float(arc.acceleration_pxps2[1]) / width_px
    return bool(
        ACCELERATIONS[0] < fall < ACCELERATIONS[1]
        and is_fall(arc, frame_s, width_px, room_px)
        and _rms_speed(arc) / width_px > LEAST_SPEED_S * fall
    )


def is_near_throw(arc: Arc, near: NearBall, frame_s: float, width_px: float = np.inf) -> bool:
    """Return whether a path may be a ball of known size that is thrown through the air nearby.

    Its size in the frame and its fall must be those of one distance.

    Parameters
    ----------
    arc : Arc
    near : NearBall
    frame_s : float
        Time from one frame looked at to the next.
    width_px : float
        Width of the frames; where it is left out, a ball does not come nearer on its way.
    """
    return (
        reaches_near_throw(arc, near)
        and falls_near(arc, near, frame_s)
        and _keeps_pace(arc, _rms_speed(arc), width_px)
    )


def falls_near(arc: Arc, near: NearBall, frame_s: float) -> bool:
    """Return whether a path, however short and aslant, falls as a ball of known size does.

    Parameters
    ----------
    arc, near, frame_s
        As of `is_near_throw`.
    """
    fall = float(arc.acceleration_pxps2[1])
    room_px = SCATTER_PX + SIZE_SHARE * near.diameter_px
    return bool(
        arc.seen_share >= NEAR_SEEN_SHARE
        and NEAR_FALLS[0] < fall / near.fall_pxps2 < NEAR_FALLS[1]
        and fall > LEAST_SIGNIFICANCE * arc.acceleration_u_pxps2
        and arc.scatter_px < room_px + SCATTER_STREAK * _rms_speed(arc) * frame_s
    )


def other_ball(arc: Arc, near: NearBall, frame_s: float) -> float | None:
    """Return how many times as large as the stated ball one is that is thrown along a path nearby.

    Its size in the frame and its fall give its diameter; None where that is the stated one's, or
    where no ball is thrown along it.

    Parameters
    ----------
    arc, near, frame_s
        As of `is_near_throw`.
    """
    fall = float(arc.acceleration_pxps2[1])
    if len(arc.frames) < OTHER_POSITIONS or fall <= 0.0:
        return None
    times = near.fall_pxps2 / fall
    if NEAR_FALLS[0] < 1.0 / times < NEAR_FALLS[1]:
        return None
    return times if is_near_throw(arc, NearBall(near.diameter_px, fall), frame_s) else None


def reaches_near_throw(arc: Arc, near: NearBall) -> bool:
    """Return whether a path lasts and reaches as far as a near throw must, or a part of it may."""
    return bool(
        len(arc.frames) >= NEAR_POSITIONS
        and arc.duration_s >= NEAR_DURATION_S
        and float(np.linalg.norm(np.ptp(arc.pixels, axis=0))) > NEAR_EXTENT * near.diameter_px
    )


def is_brief(arc: Arc, width_px: int) -> bool:
    """Return whether a path lasts and reaches as far as a fall that is named must."""
    extent = float(np.linalg.norm(np.ptp(arc.pixels, axis=0)))
    return bool(
        len(arc.frames) >= BRIEF_POSITIONS
        and arc.duration_s >= BRIEF_S
        and arc.seen_share >= NEAR_SEEN_SHARE
        and extent > BRIEF_EXTENT * width_px
    )


def falls_briefly(arc: Arc, width_px: int, frame_s: float) -> bool:
    """Return whether a path falls as a thrown ball does, but for too short a time.

    Parameters
    ----------
    arc, width_px, frame_s
        As of `is_throw`.
    """
    fall = float(arc.acceleration_pxps2[1]) / width_px
    short = len(arc.frames) < LEAST_POSITIONS or arc.duration_s < LEAST_DURATION_S
    return bool(
        short
        and ACCELERATIONS[0] < fall < ACCELERATIONS[1]
        and is_brief(arc, width_px)
        and bends_as_fall(arc, frame_s, width_px, significance=BRIEF_SIGNIFICANCE)
    )


def is_fall(arc: Arc, frame_s: float, width_px: float = np.inf, room_px: float = 0.0) -> bool:
    """Return whether a path falls as a body in the air does, at whatever playback speed.

    Parameters
    ----------
    arc, frame_s, width_px, room_px
        As of `is_throw`; where the width is left out, nothing comes nearer on its way.
    """
    return bool(
        len(arc.frames) >= LEAST_POSITIONS
        and arc.duration_s >= LEAST_DURATION_S
        and arc.seen_share >= LEAST_SEEN_SHARE
        and bends_as_fall(arc, frame_s, width_px, room_px)
    )


def bends_as_fall(
    arc: Arc,
    frame_s: float,
    width_px: float = np.inf,
    room_px: float = 0.0,
    significance: float = LEAST_SIGNIFICANCE,
) -> bool:
    """Return whether a path, however short, bends as that of a body in the air does."""
    fall = float(arc.acceleration_pxps2[1])
    # The speed comes last: it takes longer than all else.
    if not (
        fall > significance * arc.acceleration_u_pxps2
        and arc.unevenness + 3.0 * arc.unevenness_u > -MOST_UNEVENNESS
    ):
        return False
    speed = _rms_speed(arc)
    most = (MOST_ONWARD + _slant(fall, speed, width_px)) * fall + 2.0 * arc.acceleration_u_pxps2
    room_px = SCATTER_PX + room_px + SCATTER_STREAK * speed * frame_s
    return bool(_onward(arc) < most and arc.scatter_px < room_px)


def _onward(arc: Arc) -> float:
    """Return by how much a path's motion across the frame speeds up, px/s²."""
    return float(arc.acceleration_pxps2[0] * np.sign(arc.velocity_pxps[0]))


def _slant(fall_pxps2: float, speed_pxps: float, width_px: float) -> float:
    """Return by how much of its fall a ball may gain or lose speed as it comes nearer or goes away.

    The picture shows its speed times twice how fast its distance changes, over the distance.
    """
    return SLANT * speed_pxps**2 / (width_px * fall_pxps2)


def _keeps_pace(arc: Arc, speed_pxps: float, width_px: float) -> bool:
    """Return whether what falls near gains or loses only such speed as a ball does.

    Air brakes it, and it comes nearer or goes away on a slant.
    """
    fall = float(arc.acceleration_pxps2[1])
    slant = _slant(fall, speed_pxps, width_px)
    drag = (speed_pxps / (TERMINAL_S * fall)) ** 2
    return -(MOST_ONWARD + slant + drag) * fall < _onward(arc) < (MOST_ONWARD + slant) * fall


def is_slow_fall(arc: Arc, width_px: int, frame_s: float) -> bool:
    """Return whether a path falls as a throw does that is played far slower than life."""
    if len(arc.frames) < LEAST_SLOW_POSITIONS:
        return False
    fall, speed = float(arc.acceleration_pxps2[1]), _rms_speed(arc)
    return bool(
        arc.seen_share >= LEAST_SLOW_SHARE
        and LEAST_SLOW_SIGNIFICANCE * arc.acceleration_u_pxps2 < fall < ACCELERATIONS[0] * width_px
        and speed > MOST_SPEED_S * fall
        and arc.scatter_px < SCATTER_PX + SCATTER_STREAK * speed * frame_s
        and float(np.linalg.norm(np.ptp(arc.pixels, axis=0))) > LEAST_SLOW_EXTENT * width_px
    )


def _rms_speed(arc: Arc) -> float:
    """Return the root mean square speed along a path's curve, px/s."""
    way = np.diff(arc.at(np.linspace(arc.times_s[0], arc.times_s[-1], 20)), axis=0)
    return float(np.sqrt(np.mean(np.sum(way**2, axis=1))) * 19.0 / arc.duration_s)


def trimmed_throw(arc: Arc, width_px: int, frame_s: float) -> Arc | None:
    """Return a path without wrong positions at its ends, or None where no part of it is a throw.

    A bounce, or a hand that moves before it lets go, adds a few positions that bend the path as
    no throw bends. The fewest that leave a throw are cut off.

    Parameters
    ----------
    arc, width_px, frame_s
        As of `is_throw`.
    """
    for first, last in sorted(product(END_CUTS, END_CUTS), key=sum):
        rows = slice(first, len(arc.frames) - last)
        if len(arc.frames) - first - last < LEAST_CUT:
            continue
        part = arc
        if first or last:
            positions = np.column_stack([arc.frames, arc.times_s, arc.pixels])[rows]
            part = fit_arc(positions, frame_s)
        # A calibrated camera stands beside the field: only a bare clip is filmed much aslant.
        if is_throw(part, width_px, frame_s) and is_fall(part, frame_s):
            return part
    return None
