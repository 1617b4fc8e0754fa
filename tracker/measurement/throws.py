"""Paths of the first pass joined to throws: broken ones joined, hops found."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from tracker.following.arcs import Arc, fit_arc
from tracker.following.free_part import free_arc
from tracker.following.throws import is_throw
from tracker.measurement.scouting import Scouted

Array = NDArray[np.float64]
ThrownPart = Callable[[Arc, int, float], Arc | None]

REACH_SHARE = 0.012
"""How far apart two paths may pass that are one ball's, as a share of the frame's width."""

OVERLAP_FRAMES, LONGEST_GAP_S = 2.5, 0.3
"""How long the later of two paths may overlap the earlier, in frames, and follow it, in s."""

SLACK_S = 1e-6
"""Rounding of times, s: far below a frame."""

ONWARD_SHARE, ONWARD_REACHES = 0.12, 2.0
"""Change of velocity from one path to the next on the same course, as a share of the speed, and in
reaches a second."""

MOST_REBOUND = 1.0
"""Most of its downward speed with which a ball bounces up. A football that falls 2 m rises by 1.65
m at most, 0.91 of its speed (FIFA Quality Programme for Footballs, from memory); the rest is for
what both speeds are measured to."""

MEETINGS = 33
"""Moments between two paths at which they may meet. Between two of nine, a ball of 3 m/s close by
passed its bounce by more than the reach."""

END_POSITIONS = 12
"""Positions at a path's end from which its place and velocity there are taken."""

BOUNCE_LEAD_FRAMES, BOUNCE_STEPS = 1.5, 8.0
"""How long before the later path a bounce is looked for, in frames, and steps in a frame."""

BOUNCE_U_FRAMES, BOUNCE_U_PX, LEAST_SPEED_PXPS = 0.3, 0.7, 1.0
"""Standard uncertainty of a bounce between two paths: frames, and px over the ball's speed."""


@dataclass(frozen=True)
class Throw:
    """A thrown ball's path in the frame until it bounced or was lost.

    Attributes
    ----------
    arc : Arc
    hop : Arc or None
        The path on which it went on after a bounce.
    """

    arc: Arc
    hop: Arc | None


class _Joint(Enum):
    """How a later path continues an earlier one."""

    NOT = "not"
    ONWARD = "onward"
    HOP = "hop"


def throws_of(
    scouted: Scouted, width_px: int, thrown: ThrownPart | None = None
) -> tuple[Throw, ...]:
    """Return the throws, with broken paths joined and hops left out.

    A path that begins where another ends is the same ball: on the same course where its velocity
    goes on, after a bounce where the velocity changes.

    Parameters
    ----------
    scouted : Scouted
    width_px : int
        Width of the frames.
    thrown : callable, optional
        Gives the part of a path that may be a throw, None where there is none; the whole paths
        that `scout` accepted as throws when left out.
    """
    arcs, chosen = dict(enumerate(scouted.arcs)), list(scouted.throws)
    if thrown is not None:
        parts = {at: thrown(arc, width_px, scouted.frame_s) for at, arc in arcs.items()}
        chosen = [at for at, part in parts.items() if part is not None]
        arcs.update({at: part for at, part in parts.items() if part is not None})
    joining = _Joining(arcs, chosen, width_px, scouted.frame_s)
    for at in list(chosen):
        if at in joining.chosen:
            joining.grow(at)
    return tuple(
        Throw(
            without_hand(arcs[at], width_px, scouted.frame_s),
            arcs[joining.hops[at]] if at in joining.hops else None,
        )
        for at in joining.chosen
        if at not in joining.taken
    )


def without_hand(arc: Arc, width_px: int, frame_s: float) -> Arc:
    """Return a throw's path without the hand (`free_arc`), where that is still a throw."""
    part = free_arc(arc, float(arc.acceleration_pxps2[1]), frame_s)
    return part if part is arc or is_throw(part, width_px, frame_s) else arc


class _Joining:
    """Paths while they are joined.

    Parameters
    ----------
    arcs : dict of int to Arc
        Changed as paths are joined.
    chosen : list of int
        Those that may be throws; changed likewise.
    width_px : int
    frame_s : float
    """

    def __init__(
        self, arcs: dict[int, Arc], chosen: list[int], width_px: int, frame_s: float
    ) -> None:
        self.arcs, self.chosen = arcs, chosen
        self.hops: dict[int, int] = {}
        self.taken: set[int] = set()
        self._width_px, self._frame_s = width_px, frame_s
        # A path that is joined to an earlier one lengthens that one's end; no beginning changes.
        begins, names = np.array([arc.times_s[0] for arc in arcs.values()]), np.array([*arcs])
        order = np.argsort(begins, kind="stable")
        self._begins, self._by_begin = begins[order], names[order]

    def _following(self, at: int) -> list[int]:
        """Return the paths that begin where one ends, in order and with those that are taken."""
        end_s = float(self.arcs[at].times_s[-1])
        soonest, latest = end_s - OVERLAP_FRAMES * self._frame_s, end_s + LONGEST_GAP_S
        first, last = np.searchsorted(self._begins, [soonest - SLACK_S, latest + SLACK_S])
        return sorted(self._by_begin[first:last].tolist())

    def grow(self, at: int) -> None:
        """Join to a path what continues it, and find its hop."""
        while self._joined_one(at):
            pass
        if at in self.hops:
            self.taken.add(self.hops[at])
            self._take_on_from(self.hops[at])

    def _take_on_from(self, hop: int) -> None:
        """Take the paths on which a ball went on after further bounces: they are no throws."""
        ahead = [hop]
        while ahead:
            at = ahead.pop()
            for other in self._following(at):
                if other == at or other in self.taken:
                    continue
                if self._joint(self.arcs[at], self.arcs[other]) is not _Joint.NOT:
                    self.taken.add(other)
                    ahead.append(other)

    def _joined_one(self, at: int) -> bool:
        for other in self._following(at):
            if other == at or other in self.taken:
                continue
            later = self.arcs[other]
            joint = self._joint(self.arcs[at], later)
            if joint is _Joint.ONWARD and other in self.chosen:
                whole = _joined(self.arcs[at], later, self._frame_s)
                if not is_throw(whole, self._width_px, self._frame_s):
                    continue
                self.arcs[at] = whole
                self.chosen.remove(other)
                self.taken.add(other)
                return True
            longer = at not in self.hops or len(later.frames) > len(self.arcs[self.hops[at]].frames)
            if joint is _Joint.HOP and longer:
                self.hops[at] = other
        return False

    def _joint(self, arc: Arc, later: Arc) -> _Joint:
        """Return how a later path continues an earlier one."""
        frame_s, reach = self._frame_s, REACH_SHARE * self._width_px
        gap = float(later.times_s[0] - arc.times_s[-1])
        if not -OVERLAP_FRAMES * frame_s <= gap <= LONGEST_GAP_S:
            return _Joint.NOT
        times = np.linspace(arc.times_s[-1] - frame_s, later.times_s[0] + frame_s, MEETINGS)
        before, velocity = end_of(arc, times, last=True)
        after, next_velocity = end_of(later, times, last=False)
        apart = np.linalg.norm(before - after, axis=1)
        if apart.min() > reach:
            return _Joint.NOT
        change = next_velocity - velocity - arc.acceleration_pxps2 * gap
        limit = ONWARD_SHARE * float(np.linalg.norm(velocity)) + ONWARD_REACHES * reach
        if np.linalg.norm(change) < limit:
            return _Joint.ONWARD
        meeting_s = float(times[np.argmin(apart)])
        down = velocity[1] + arc.acceleration_pxps2[1] * (meeting_s - arc.times_s[-1])
        up = -next_velocity[1] - later.acceleration_pxps2[1] * (meeting_s - later.times_s[0])
        # What rises faster was kicked, struck or caught and thrown: that is a throw of its own.
        bounced = velocity[1] > 0.0 and change[1] < 0.0 and up < MOST_REBOUND * down
        return _Joint.HOP if bounced else _Joint.NOT


def bounce_between(
    throw: Throw, path: Callable[[Array], Array], frame_s: float
) -> tuple[float, float]:
    """Return when a ball bounced and the standard uncertainty of that, s.

    Parameters
    ----------
    throw : Throw
        With a hop.
    path : callable
        Pixels of the fitted flight, shape (N, 2), by time.
    frame_s : float
        True time between frames looked at.
    """
    assert throw.hop is not None
    arc, hop = throw.arc, throw.hop
    begin = min(arc.times_s[-1], hop.times_s[0]) - BOUNCE_LEAD_FRAMES * frame_s
    times = np.arange(begin, hop.times_s[0] + frame_s, frame_s / BOUNCE_STEPS)
    after, velocity = end_of(hop, times, last=False)
    apart = np.linalg.norm(path(times) - after, axis=1)
    best = int(np.nanargmin(apart))
    speed = max(float(np.linalg.norm(velocity)), LEAST_SPEED_PXPS)
    u_s = np.hypot(BOUNCE_U_FRAMES * frame_s, (BOUNCE_U_PX + apart[best]) / speed)
    return float(times[best]), float(u_s)


def end_of(arc: Arc, times: Array, last: bool) -> tuple[Array, Array]:
    """Return a path's places continued from one of its ends, and its velocity there."""
    part = slice(-END_POSITIONS, None) if last else slice(0, END_POSITIONS)
    since, pixels = arc.times_s[part], arc.pixels[part]
    edge = float(since[-1] if last else since[0])
    # Over so few positions the acceleration is better known from the whole path.
    bend = 0.5 * np.outer((since - edge) ** 2, arc.acceleration_pxps2)
    design = np.column_stack([np.ones(len(since)), since - edge])
    place, velocity = np.linalg.lstsq(design, pixels - bend, rcond=None)[0]
    ahead = times - edge
    places = place + np.outer(ahead, velocity) + 0.5 * np.outer(ahead**2, arc.acceleration_pxps2)
    return places, velocity


def _joined(arc: Arc, later: Arc, frame_s: float) -> Arc:
    rows = np.concatenate([_rows(arc), _rows(later)])
    _, first = np.unique(rows[:, 0], return_index=True)
    return fit_arc(rows[first], frame_s)


def _rows(arc: Arc) -> Array:
    return np.column_stack([arc.frames, arc.times_s, arc.pixels])
