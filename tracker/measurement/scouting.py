"""A first pass through a clip that needs no release point: the paths of what is thrown."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.timebase import Cadence, check_cadence
from tracker.detection import SearchSettings
from tracker.following.arcs import Arc
from tracker.following.linking import ArcSearch
from tracker.following.throws import is_slow_fall, is_throw
from tracker.measurement.context import frame_interval_s
from tracker.measurement.passes import MOVED_NOTE, NO_OBSERVERS, FramePass, Observers, Timing
from tracker.records import Reason, ReasonCode
from tracker.video import ChangeMeter, ClipFacts

Array = NDArray[np.float64]

SCOUTING_FPS = 60.0
"""Frames a second that are looked at: at more, a ball does not leave its own place."""

SCOUTING_DIAMETER_PX, SCOUTING_STEP_PX, SCOUTING_MOST = 4.0, 4.0, 90
"""Diameter and step of the ball that the first pass looks for, px, and most candidates a frame."""

MOST_LOST = 0.5
"""Share of a path's frames in which the camera's motion may not be followed: a person may hide the
background for a while. Common practice, no source."""


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
    timing : Timing
    doubt : str
        Why the frame times are wrong; empty where they are not.
    doubts : tuple of Reason
        What makes every shot of the clip doubtful.
    notes : tuple of str
    lost_s : tuple of float
        True times of the frames in which the camera's motion could not be followed.
    """

    arcs: tuple[Arc, ...]
    throws: tuple[int, ...]
    slow: tuple[int, ...]
    frame_s: float
    timing: Timing
    doubt: str
    doubts: tuple[Reason, ...]
    notes: tuple[str, ...]
    lost_s: tuple[float, ...] = ()

    def follows_camera(self, begin_s: float, end_s: float) -> bool:
        """Return whether the camera's motion was followed in most frames between two times."""
        lost = sum(begin_s <= time_s <= end_s for time_s in self.lost_s)
        return lost <= MOST_LOST * ((end_s - begin_s) / self.frame_s + 1.0)


def scout(facts: ClipFacts, camera: Camera, observers: Observers = NO_OBSERVERS) -> Scouted:
    """Pass through a clip and join what moves to paths.

    Parameters
    ----------
    facts : ClipFacts
    camera : Camera
        Any camera with about the true focal length, for the correction of its motion.
    observers : Observers
    """
    every = max(1, round(1.0 / frame_interval_s(facts) / SCOUTING_FPS))
    frame_s = every * frame_interval_s(facts)
    width, settings = facts.size_px[0], scouting_settings(facts)
    meter = ChangeMeter(facts)
    timing, doubt = Timing.of_file(facts), ""
    loop = FramePass(facts, camera, settings, timing, every, meter)
    arcs = _joined(loop, frame_s, observers)
    notes = list(loop.notes)
    base = check_cadence(meter.changes(), facts.file_times_s)
    if base.cadence is Cadence.MENDED:
        notes.append(base.explanation)
        timing = Timing.corrected(facts, base)
        loop = FramePass(facts, camera, settings, timing, every)
        arcs = _joined(loop, frame_s, observers.progress_only)
    elif base.cadence is Cadence.DOUBTFUL:
        doubt = base.explanation
    if loop.moves:
        notes.append(MOVED_NOTE)
    arcs.sort(key=lambda arc: float(arc.times_s[0]))
    throws = tuple(at for at, arc in enumerate(arcs) if is_throw(arc, width, frame_s))
    slow = tuple(at for at, arc in enumerate(arcs) if is_slow_fall(arc, width, frame_s))
    doubts = loop.doubts()
    if doubt:
        doubts.append(Reason(ReasonCode.FRAME_TIMES))
    return Scouted(
        tuple(arcs),
        throws,
        slow,
        frame_s,
        timing,
        doubt,
        tuple(doubts),
        tuple(notes),
        tuple(loop.lost_s),
    )


def scouting_settings(facts: ClipFacts) -> SearchSettings:
    """Return what the first pass looks for: a ball of any usual size, anywhere."""
    width, height = facts.size_px
    window = (0, 0, width, height)
    return SearchSettings(SCOUTING_DIAMETER_PX, SCOUTING_STEP_PX, 1, window, SCOUTING_MOST)


def _joined(loop: FramePass, frame_s: float, observers: Observers) -> list[Arc]:
    """Return every joined path of a pass."""
    search = ArcSearch(loop.facts.size_px[0], frame_s)
    found: list[Arc] = []
    for candidates in loop.candidates(observers):
        found.extend(search.push(candidates))
    found.extend(search.finish())
    return found
