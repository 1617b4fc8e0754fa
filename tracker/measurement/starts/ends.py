"""Where a flight without a taped start is first and last seen, and whether it landed there."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.fitting import Observations
from tracker.fitting.parameters import POSITION_AT
from tracker.following.free_part import FASTEST_TOSS_S, free_part
from tracker.measurement.context import ClipContext
from tracker.measurement.flight import Flight
from tracker.measurement.sighting import (
    AGREE_PX,
    AGREE_STEP_SHARE,
    AGREE_U,
    LOST_FRAMES,
    SAME_S,
    agreeing,
    course_along,
    seen_until,
    sighted,
)
from tracker.measurement.throws import bounce_between
from tracker.records import Candidates, Reason, ReasonCode, Rejection, Track

LEAST_USED = 6
"""Fewest positions that a flight must explain."""

ALIKE_SHARE = 0.35
"""Least contrast of a near ball's picture beyond the ends of its path, as a share of the usual
one. From real balls."""

BACK_S, ONWARD_S = 0.1, 1.0
"""How long before its first and after its last position a ball is measured, s."""

LOW_M, LOW_U, FALLING_MPS = 0.4, 1.5, 1.0
"""A ball that is lost below this height (m, and standard uncertainties of the height of release)
while it falls at least this fast came down there."""

LOST_U_FRAMES, LOST_U_S = 1.5, 0.03
"""Standard uncertainty of a landing in which a ball is lost: frames, and at least so many s."""


HAND_WAY_M = 1.0
"""Twice the speed's square over the acceleration with which a hand lets a ball go, m: it gives it
its speed over 0.6 m, on a bow of about that radius. Common practice, no source."""

MOST_LED_S = 0.04
"""Longest time for which it is led so, s: a foot lets go sooner, and what differs longer from the
flight is cut off as the hand's. Common practice, no source."""


@dataclass(frozen=True)
class Ends:
    """When a flight was first and last seen.

    Attributes
    ----------
    first_s, last_s : float
    lost : bool
        Whether it was lost inside the frame.
    exposure : float or None
        Of its pictures, as a share of the frame interval.
    unlike : tuple of int
        Frames in which something is on its way that shows another contrast than a near ball.
    """

    first_s: float
    last_s: float
    lost: bool
    exposure: float | None
    unlike: tuple[int, ...] = ()


def enough(count: int, crossed: int) -> None:
    """Raise `Rejection` where fewer pictures than a flight must explain are a ball's."""
    if count < LEAST_USED:
        raise Rejection(Reason(ReasonCode.PICTURES_FEW, {"count": count, "crossed": crossed}))


def _alike(track: Track, first_s: float, last_s: float) -> NDArray[np.bool_]:
    """Return which pictures beyond the ends of a path show what the path itself shows.

    A ball that is near is brighter than its background, or darker, by much the same all the way: a
    hand, or nothing, is not.
    """
    within = (track.times_s > first_s - SAME_S) & (track.times_s < last_s + SAME_S)
    if track.pictures is None or not np.any(within):
        return np.ones(len(track.times_s), bool)
    contrasts = np.nan_to_num(track.pictures.contrasts[:, 0])
    usual = float(np.median(contrasts[within]))
    alike: NDArray[np.bool_] = within | (contrasts * np.sign(usual) > ALIKE_SHARE * abs(usual))
    return alike


def _let_go_s(track: Track, agrees: NDArray[np.bool_], last_s: float, diameter_px: float) -> float:
    """Return when a ball left the hand that threw it, or its first position without one."""
    rows = agrees & (track.times_s < last_s + SAME_S)
    if not np.any(rows):
        return float(-np.inf)
    u_px = np.sqrt(np.trace(track.covariances[rows], axis1=1, axis2=2) / 2.0)
    free = free_part(track.times_s[rows], track.pixels[rows], diameter_px, u_px)
    return float(track.times_s[rows][free.start])


def led_s(flight: Flight, frame_s: float) -> float:
    """Return how long before it lets go a hand leads a ball as if it flew already, s.

    Until then its way departs from the flight's by less than a position may be off.

    Parameters
    ----------
    flight : Flight
    frame_s : float
        True time from one frame to the next.
    """
    state = flight.states(np.array([flight.release_s]))[0]
    speed = float(np.linalg.norm(state[3:6]))
    away_m = float(flight.camera.in_camera(state[None, :3])[0, 2])
    off_m = AGREE_PX * away_m / flight.camera.focal_px + AGREE_STEP_SHARE * speed * frame_s
    return float(min(np.sqrt(HAND_WAY_M * AGREE_U * max(off_m, 0.0)) / speed, MOST_LED_S))


def seen_along(
    is_near: bool,
    flight: Flight,
    context: ClipContext,
    candidates: list[Candidates],
    ends: Ends,
) -> tuple[Observations, Ends]:
    """Measure the ball in every frame of a flight, outward as long as it is seen.

    Parameters
    ----------
    is_near : bool
        Whether it is seen so near that its size shows.
    flight : Flight
    context : ClipContext
    candidates : list of Candidates
        Of the second pass, near the flight.
    ends : Ends
        As known so far.

    Raises
    ------
    Rejection
        Where too few pictures are a ball's.
    """
    first_s, last_s = ends.first_s, ends.last_s
    near = [each for each in candidates if first_s - BACK_S <= each.time_s <= last_s + ONWARD_S]
    enough(len(near), len(candidates))
    shown, course = course_along(context, flight, near)
    wide = context.with_circumstances(flight.known)
    track, exposure = sighted(wide, flight.camera, course, shown, ends.exposure)
    enough(len(track.frames), len(shown))
    agrees = agreeing(track, shown, course)
    unlike: tuple[int, ...] = ()
    if is_near:
        alike = _alike(track, first_s, last_s)
        unlike = tuple(track.frames[agrees & ~alike].tolist())
        agrees &= alike
    speed = float(np.linalg.norm(flight.launch[3:6]))
    if speed < FASTEST_TOSS_S * flight.known.forces.gravity_mps2:
        patches_px = context.settings.diameter_px if is_near else 0.0
        let_go_s = _let_go_s(track, agrees, last_s, patches_px)
        agrees &= track.times_s > let_go_s - SAME_S
        first_s = max(first_s, let_go_s)
    first_s = seen_until(shown, track, agrees, first_s, forward=False)
    last_s = seen_until(shown, track, agrees, last_s, forward=True)
    kept = (track.times_s >= first_s - SAME_S) & (track.times_s <= last_s + SAME_S)
    after = sum(each.time_s > last_s + SAME_S for each in shown)
    observed = Observations(track, context.row_share_of(track)).part(kept)
    return observed, Ends(first_s, last_s, after >= LOST_FRAMES, exposure, unlike)


def landing_of(flight: Flight, ends: Ends, frame_s: float) -> tuple[float, float] | None:
    """Return when the ball came down and its standard uncertainty, where the clip shows it."""
    if flight.throw.hop is not None:
        return bounce_between(flight.throw, flight.path, frame_s)
    if not ends.lost:
        return None
    # Lost inside the frame, low and falling: in the grass, as far as the known height allows.
    state = flight.states(np.array([ends.last_s]))[0]
    up = POSITION_AT.start + 2
    u_m = float(np.sqrt(flight.fitted.covariance[up, up]))
    above_m = float(flight.known.ground.above(state)) - flight.known.ball_radius_m
    low = above_m < LOW_M + LOW_U * u_m
    if not (low and state[5] < -FALLING_MPS):
        return None
    return ends.last_s + frame_s, max(LOST_U_FRAMES * frame_s, LOST_U_S)
