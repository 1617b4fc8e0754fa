"""A first pass through a clip that asks no release point: what in it is thrown."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.timebase import Cadence, check_cadence, true_times_s
from tracker.detection import CandidateFinder, SearchSettings
from tracker.following.arcs import Arc, fit_arc
from tracker.following.linking import ArcSearch
from tracker.following.throws import is_slow_fall, is_throw
from tracker.measurement.steadying import Steadier
from tracker.records import Candidates
from tracker.video import ChangeMeter, ClipFacts, frames

Array = NDArray[np.float64]

SCOUTING_FPS = 60.0
"""So many frames a second are looked at: at more, a ball does not leave its own place."""

SCOUTING_DIAMETER_PX = 4.0
SCOUTING_MOST = 90


@dataclass(frozen=True)
class Scouted:
    """What a first pass found.

    Attributes
    ----------
    arcs : tuple of Arc
        Every joined path, in order of its beginning, thrown or not.
    throws : tuple of int
        Indices into `arcs` of those that may be throws.
    slow : tuple of int
        Of those that fall smoothly, but far too slowly for any usual distance.
    frame_s : float
        True time from one frame looked at to the next.
    times_s : ndarray
        True time of every frame.
    base_s : ndarray
        The same on the file's own clock, mended where it was wrong.
    repeats : ndarray of bool, or None
        Frames that show nothing new.
    doubt : str
        A sentence about times that cannot be believed; empty where they can.
    notes : tuple of str
    """

    arcs: tuple[Arc, ...]
    throws: tuple[int, ...]
    slow: tuple[int, ...]
    frame_s: float
    times_s: Array
    base_s: Array
    repeats: NDArray[np.bool_] | None
    doubt: str
    notes: tuple[str, ...]


def scout(
    facts: ClipFacts,
    camera: Camera,
    progress: Callable[[int, int], None] | None = None,
    on_candidates: Callable[[Candidates], None] | None = None,
) -> Scouted:
    """Pass through a clip and join what moves to paths.

    Parameters
    ----------
    facts : ClipFacts
    camera : Camera
        Any that looks as the one that filmed might, to take its shaking out.
    progress : callable, optional
    on_candidates : callable, optional
        Called with the candidates of every frame that is looked at.
    """
    told: list[str] = []
    meter = ChangeMeter(facts)
    arcs, moves = _pass(facts, camera, facts.times_s, None, meter, told, progress, on_candidates)
    base = check_cadence(meter.changes(), facts.file_times_s)
    times, base_s, repeats, doubt = facts.times_s, facts.file_times_s, None, ""
    if base.cadence is Cadence.MENDED:
        told.append(base.explanation)
        times, base_s, repeats = true_times_s(base.times_s, facts.pace), base.times_s, base.repeats
        arcs, moves = _pass(facts, camera, times, repeats, None, [], progress)
    elif base.cadence is Cadence.DOUBTFUL:
        doubt = base.explanation
    if moves:
        told.append("The camera moved while filming; its motion was taken out of the positions.")
    arcs = sorted(arcs, key=lambda arc: float(arc.times_s[0]))
    width, frame_s = facts.size_px[0], _every(facts) / (facts.file_fps * facts.pace)
    throws = tuple(at for at, arc in enumerate(arcs) if is_throw(arc, width, frame_s))
    slow = tuple(at for at, arc in enumerate(arcs) if is_slow_fall(arc, width, frame_s))
    return Scouted(tuple(arcs), throws, slow, frame_s, times, base_s, repeats, doubt, tuple(told))


def _every(facts: ClipFacts) -> int:
    return max(1, round(facts.file_fps * facts.pace / SCOUTING_FPS))


def _pass(
    facts: ClipFacts,
    camera: Camera,
    times_s: Array,
    repeats: NDArray[np.bool_] | None,
    meter: ChangeMeter | None,
    told: list[str],
    progress: Callable[[int, int], None] | None,
    on_candidates: Callable[[Candidates], None] | None = None,
) -> tuple[list[Arc], bool]:
    width, height = facts.size_px
    every = _every(facts)
    frame_s = every / (facts.file_fps * facts.pace)
    window = (0, 0, width, height)
    finder = CandidateFinder(SearchSettings(SCOUTING_DIAMETER_PX, 4.0, 1, window, SCOUTING_MOST))
    search, steadier = ArcSearch(width, frame_s), Steadier(camera, frame_s)
    found: list[Arc] = []
    for frame in frames(facts, on_note=told.append):
        if meter is not None:
            meter.see(frame)
        if progress is not None and frame.index % 8 == 0:
            progress(frame.index, facts.frame_count)
        if frame.index % every or (repeats is not None and repeats[frame.index]):
            continue
        steadier.see(frame.index, frame.luma)
        time_s = float(times_s[frame.index])
        candidates = finder.push(frame.index, time_s, frame.luma, frame.blueness)
        if candidates is not None:
            candidates = steadier.steadied(candidates)
            if on_candidates is not None:
                on_candidates(candidates)
            found.extend(search.push(candidates))
    found.extend(search.finish())
    if progress is not None:
        progress(facts.frame_count, facts.frame_count)
    return found, steadier.moves


@dataclass(frozen=True)
class Throw:
    """A thrown ball's path in the picture until it bounced or was lost.

    Attributes
    ----------
    arc : Arc
    hop : Arc or None
        The path on which it went on after a bounce.
    """

    arc: Arc
    hop: Arc | None


def throws_of(
    scouted: Scouted, width_px: int, thrown: Callable[[Arc, int, float], Arc | None] | None = None
) -> tuple[Throw, ...]:
    """Return the throws, broken paths mended and what is only a hop left out.

    A path that begins where another ends is the same ball: on the same course where its speed
    goes on, after a bounce where the speed breaks.

    Parameters
    ----------
    scouted : Scouted
    width_px : int
        Width of the frames.
    thrown : callable, optional
        Gives the part of a path that may be a throw, None where there is none; the whole paths
        that `scout` took for throws when left out.
    """
    arcs = dict(enumerate(scouted.arcs))
    reach, chosen = 0.012 * width_px, list(scouted.throws)
    if thrown is not None:
        parts = {at: thrown(arc, width_px, scouted.frame_s) for at, arc in arcs.items()}
        chosen = [at for at, part in parts.items() if part is not None]
        arcs.update({at: part for at, part in parts.items() if part is not None})
    hops: dict[int, int] = {}
    hopping: set[int] = set()
    for at in list(chosen):
        if at not in chosen:
            continue
        grown = True
        while grown:
            grown = False
            for other, later in arcs.items():
                if other == at or other in hopping:
                    continue
                kind = _joins(arcs[at], later, reach, scouted.frame_s)
                if kind == "on" and other in chosen:
                    whole = _mended(arcs[at], later, scouted.frame_s)
                    if not is_throw(whole, width_px, scouted.frame_s):
                        continue
                    arcs[at] = whole
                    chosen.remove(other)
                    hopping.add(other)
                    grown = True
                    break
                better = at not in hops or len(later.frames) > len(arcs[hops[at]].frames)
                if kind == "hop" and better:
                    hops[at] = other
        if at in hops:
            hopping.add(hops[at])
    return tuple(
        Throw(arcs[at], arcs[hops[at]] if at in hops else None)
        for at in chosen
        if at not in hopping
    )


def _joins(arc: Arc, later: Arc, reach_px: float, frame_s: float) -> str:
    """Return "on" or "hop" where a later path carries an earlier one on, else nothing."""
    gap = float(later.times_s[0] - arc.times_s[-1])
    if not -2.5 * frame_s <= gap <= 0.3:
        return ""
    times = np.linspace(arc.times_s[-1] - frame_s, later.times_s[0] + frame_s, 9)
    before, speed = _end(arc, times, last=True)
    after, next_speed = _end(later, times, last=False)
    apart = np.linalg.norm(before - after, axis=1)
    if apart.min() > reach_px:
        return ""
    change = next_speed - speed - arc.acceleration_pxps2 * (later.times_s[0] - arc.times_s[-1])
    fast = float(np.linalg.norm(speed))
    if np.linalg.norm(change) < 0.12 * fast + 2.0 * reach_px:
        return "on"
    return "hop" if speed[1] > 0.0 and change[1] < 0.0 else ""


def _end(arc: Arc, times: Array, last: bool) -> tuple[Array, Array]:
    """Return a path's places carried on from one of its ends, and its speed there."""
    part = slice(-12, None) if last else slice(0, 12)
    since, pixels = arc.times_s[part], arc.pixels[part]
    edge = float(since[-1] if last else since[0])
    # Over so few places the curve's bend is better known from the whole path.
    bend = 0.5 * np.outer((since - edge) ** 2, arc.acceleration_pxps2)
    design = np.column_stack([np.ones(len(since)), since - edge])
    place, speed = np.linalg.lstsq(design, pixels - bend, rcond=None)[0]
    ahead = times - edge
    return place + np.outer(ahead, speed) + 0.5 * np.outer(ahead**2, arc.acceleration_pxps2), speed


def bounce_of(throw: Throw, path: Callable[[Array], Array], frame_s: float) -> tuple[float, float]:
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
    begin = min(arc.times_s[-1], hop.times_s[0]) - 1.5 * frame_s
    times = np.arange(begin, hop.times_s[0] + frame_s, frame_s / 8.0)
    after, speed = _end(hop, times, last=False)
    apart = np.linalg.norm(path(times) - after, axis=1)
    best = int(np.nanargmin(apart))
    fast = max(float(np.linalg.norm(speed)), 1.0)
    return float(times[best]), float(np.hypot(0.3 * frame_s, (0.7 + apart[best]) / fast))


def _mended(arc: Arc, later: Arc, frame_s: float) -> Arc:
    joined = np.concatenate([_rows(arc), _rows(later)])
    _, first = np.unique(joined[:, 0], return_index=True)
    return fit_arc(joined[first], frame_s)


def _rows(arc: Arc) -> Array:
    return np.column_stack([arc.frames, arc.times_s, arc.pixels])
