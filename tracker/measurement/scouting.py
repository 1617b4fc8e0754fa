"""A first pass through a clip that needs no release point: the paths of what is thrown."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.timebase import Cadence, TimeBase, check_cadence
from tracker.detection import shrink_of
from tracker.following.arcs import Arc
from tracker.following.linking import LEAST_HITS, ArcSearch
from tracker.following.throws import LEAST_POSITIONS, is_slow_fall, is_throw
from tracker.measurement.context import frame_interval_s
from tracker.measurement.passes import (
    MOVED_NOTE,
    NO_OBSERVERS,
    FramePass,
    Observers,
    Timing,
    passed_together,
)
from tracker.measurement.renewals import Renewals
from tracker.measurement.scouted_sizes import (
    OtherSizes,
    coarse_settings,
    part_of,
    same_ball,
    scouting_settings,
)
from tracker.records import Candidates, Reason, ReasonCode
from tracker.video import ChangeMeter, ClipFacts

Array = NDArray[np.float64]

Codes = NDArray[np.uint8]

SCOUTING_FPS = 60.0
"""Frames a second that are looked at: at more, a ball does not leave its own place."""

REPORTED_REPEATS = 0.03
"""Share of frames that repeat the picture before them above which a note says so. Common practice,
no source."""

MOST_FALLS = 1000
"""Paths that are kept where only falls matter, 2 MB: the cause of no shot is found from four."""

MOST_LOST = 0.5
"""Share of a path's frames in which the camera may be lost. Common practice, no source."""

AROUND_S, MOST_LOST_AROUND = 1.0, 2.0 / 3.0
"""Time before and after a path, and the share of the frames then in which it may not be followed: a
camera that is panned and zoomed moves before that is noticed. A real clip loses three quarters."""


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
    near : tuple of int
        Of the throws, those of a ball that is seen so near that its size shows.
    brief : tuple of Arc
        What falls as a ball that is near does, but too briefly or aslant.
    others : tuple of (Arc, float)
        What a ball of another size is thrown along, and how many times as large as stated it is.
    renewed_s : tuple of float
        True times of the frames from which on another is held against the later ones.
    refined : Camera or None
        The camera as the motion of its background has corrected it.
    sound_share : float
        Share of the clip's frames that came undamaged.
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
    near: tuple[int, ...] = ()
    brief: tuple[Arc, ...] = ()
    others: tuple[tuple[Arc, float], ...] = ()
    renewed_s: tuple[float, ...] = ()
    refined: Camera | None = None
    sound_share: float = 1.0

    @property
    def lost_share(self) -> float:
        """Share of the clip's frames in which the camera's motion could not be followed."""
        return len(self.lost_s) / (float(np.ptp(self.timing.times_s)) / self.frame_s + 1.0)

    def follows_camera(self, begin_s: float, end_s: float) -> bool:
        """Return whether the camera was followed between two times and around them, in one view."""
        if any(begin_s < time_s <= end_s for time_s in self.renewed_s):
            return False
        first_s, last_s = self.timing.times_s[[0, -1]]
        wide = max(begin_s - AROUND_S, first_s), min(end_s + AROUND_S, last_s)
        spans = ((begin_s, end_s, MOST_LOST), (*wide, MOST_LOST_AROUND))
        return all(
            sum(begin <= time_s <= end for time_s in self.lost_s)
            <= most * ((end - begin) / self.frame_s + 1.0)
            for begin, end, most in spans
        )


def scout(
    facts: ClipFacts,
    camera: Camera,
    observers: Observers = NO_OBSERVERS,
    fall_per_diameter: float | None = None,
    renews: bool = False,
) -> Scouted:
    """Pass through a clip and join what moves to paths.

    Parameters
    ----------
    facts : ClipFacts
    camera : Camera
        Any camera with about the true focal length, for the correction of its motion.
    observers : Observers
    fall_per_diameter : float, optional
        Gravity in diameters of the ball a second squared: balls that are seen near are looked for
        too, at several sizes, and small ones in the frames as they are.
    renews : bool
        Whether frames are held against a new one where the background stays lost.
    """
    (found,) = _walked(Scouting([facts], camera, fall_per_diameter, renews=renews), observers)
    return found


def scout_together(
    clips: Sequence[ClipFacts],
    camera: Camera,
    observers: Observers = NO_OBSERVERS,
    falls_only: bool = False,
) -> tuple[Scouted, ...]:
    """Scout one clip as it plays at several paces, its frames decoded once.

    Parameters
    ----------
    clips : sequence of ClipFacts
        Of one file; only the pace may differ.
    camera, observers
        As of `scout`.
    falls_only : bool
        As of `Scouting`.
    """
    return _walked(Scouting(clips, camera, falls_only=falls_only), observers)


def _walked(scouting: "Scouting", observers: Observers) -> tuple[Scouted, ...]:
    """Scout what a pass shows, and again where the file's times can be corrected."""
    facts = scouting.facts
    meter = ChangeMeter(facts)
    scouting.walk(observers, meter)
    base = check_cadence(meter.changes(), facts.file_times_s)
    if base.cadence is Cadence.MENDED:
        scouting.correct(base)
        scouting.walk(observers.progress_only)
    return scouting.found(base)


class Scouting:
    """Scouts of one clip, each at a pace of its own, fed while its frames pass.

    Parameters
    ----------
    clips, camera, fall_per_diameter
        As of `scout_together`.
    falls_only : bool
        Whether paths too short for a fall are left out: there are hundreds of them for each of the
        others, and they matter only where a ball bounces on. Of a long clip the longest are kept.
    renews : bool
        As of `scout`.
    """

    def __init__(
        self,
        clips: Sequence[ClipFacts],
        camera: Camera,
        fall_per_diameter: float | None = None,
        falls_only: bool = False,
        renews: bool = False,
    ) -> None:
        self.facts = clips[0]
        self._scouts = [
            _Scout(each, camera, fall_per_diameter, falls_only, renews) for each in clips
        ]
        self._fed: FramePass | None = None
        self._stopped = False

    @property
    def loops(self) -> list[FramePass]:
        """The passes that give the scouts their candidates, one each, but of one that is fed."""
        return [each.loop for each in self._scouts if each.loop is not self._fed]

    @property
    def stopped(self) -> bool:
        """Whether a pass stopped before the clip's end, or the camera moved in one that feeds."""
        moved = self._fed is not None and self._fed.moves
        return self._stopped or moved or any(loop.stopped for loop in self.loops)

    def stop(self) -> None:
        """Look at no further frame."""
        self._stopped = True
        for loop in self.loops:
            loop.stopped = True
        if self._fed is not None:
            self._fed.narrowed = True

    def feed_by(self, loop: FramePass) -> None:
        """Take the candidates of another pass where these are all that the first scout looks for.

        Then the pass finds candidates everywhere in the frame.
        """
        if self._scouts[0].is_fed_by(loop):
            loop.settings = replace(loop.settings, everywhere=True)
            self._fed = self._scouts[0].loop = loop

    def push(self, at: int, candidates: Candidates) -> None:
        """Take a frame's candidates of one of the passes."""
        own = [each for each in self._scouts if each.loop is not self._fed]
        own[at].push(candidates)

    def push_fed(self, candidates: Candidates) -> None:
        """Take a frame's candidates of the pass that feeds the first scout."""
        if self._fed is None or self._stopped or candidates.everywhere is None:
            return
        if candidates.steadied is not None:
            # Where the camera moves, scouts stop.
            self.stop()
            return
        self._scouts[0].push(candidates.in_whole_frame())

    def walk(self, observers: Observers, meter: ChangeMeter | None = None) -> None:
        """Pass once through the clip; the meter sees every frame once."""
        loops = self.loops
        loops[0].meter = meter
        for at, candidates in passed_together(loops, observers):
            self.push(at, candidates)

    def correct(self, base: TimeBase) -> None:
        """Take the corrected times for the next pass."""
        for each in self._scouts:
            each.correct(base)

    def found(self, base: TimeBase) -> tuple[Scouted, ...]:
        """Return what each scout found, after the last pass."""
        return tuple(each.scouted(base) for each in self._scouts)


class _Scout:
    """Joins what moves in a clip to paths, at one pace.

    Parameters
    ----------
    facts, camera, fall_per_diameter, renews
        As of `scout`.
    falls_only : bool
        As of `Scouting`.
    """

    def __init__(
        self,
        facts: ClipFacts,
        camera: Camera,
        fall_per_diameter: float | None,
        falls_only: bool = False,
        renews: bool = False,
    ) -> None:
        self._falls_only, self._renews = falls_only, renews
        self._facts, self._camera, self._fall = facts, camera, fall_per_diameter
        self._every = max(1, round(1.0 / frame_interval_s(facts) / SCOUTING_FPS))
        self._frame_s = self._every * frame_interval_s(facts)
        self._timing = Timing.of_file(facts)
        self._notes: list[str] = []
        self._begin()

    def _begin(self) -> None:
        """Begin a pass, with nothing found yet."""
        facts = self._facts
        self._sizes = OtherSizes(facts, self._frame_s, self._fall)
        least = LEAST_POSITIONS if self._falls_only else LEAST_HITS
        self._search = ArcSearch(facts.size_px[0], self._frame_s, least=least)
        self._arcs: list[Arc] = []
        self.loop = FramePass(
            facts,
            self._camera,
            coarse_settings(facts) if self._falls_only else scouting_settings(facts),
            self._timing,
            self._every,
            also=self._sizes.see,
            cutouts=False,
            renewals=Renewals(self._renews),
        )

    def is_fed_by(self, loop: FramePass) -> bool:
        """Return whether another pass finds what this one looks for, everywhere in its frames."""
        own, other = self.loop.settings, loop.settings
        return (
            loop.every == self._every
            and loop.wanted is None
            and loop.timing.repeats is None
            and other.lag == own.lag
            and other.most == own.most
            # Coarser cells would show less.
            and shrink_of(other.diameter_px) <= shrink_of(own.diameter_px)
        )

    def push(self, candidates: Candidates) -> None:
        """Take the candidates of the next frame."""
        self._arcs.extend(self._search.push(candidates))
        if self._falls_only and len(self._arcs) > 2 * MOST_FALLS:
            self._arcs.sort(key=lambda arc: -len(arc.frames))
            del self._arcs[MOST_FALLS:]

    def correct(self, base: TimeBase) -> None:
        """Take the corrected times for the next pass, and keep the notes of the last one."""
        self._notes += [*self.loop.notes, base.explanation]
        self._timing = Timing.corrected(self._facts, base)
        self._begin()

    def scouted(self, base: TimeBase) -> Scouted:
        """Return what was found, after the last pass."""
        self._arcs.extend(self._search.finish())
        loop, width, frame_s = self.loop, self._facts.size_px[0], self._frame_s
        doubts, doubt = loop.doubts(), ""
        mended = base.cadence is Cadence.MENDED
        notes = list(self._notes if mended else loop.notes)
        if base.cadence is Cadence.DOUBTFUL:
            doubt = base.explanation
            doubts.append(Reason(ReasonCode.FRAME_TIMES))
        elif not mended and base.repeats.mean() > REPORTED_REPEATS:
            notes.append(base.explanation)
        if loop.moves:
            notes.append(MOVED_NOTE)
        lost_s = loop.lost_s
        if self._renews and loop.lost_share > MOST_LOST_AROUND:
            # Another frame to hold the next ones against hides that hardly any was followed.
            lost_s = self._timing.times_s[:: self._every].tolist()
        arcs, throws, seen_near = _thrown(self._arcs, self._sizes, width, frame_s)
        slow = tuple(at for at, arc in enumerate(arcs) if is_slow_fall(arc, width, frame_s))
        return Scouted(
            tuple(arcs),
            throws,
            slow,
            frame_s,
            self._timing,
            doubt,
            tuple(doubts),
            tuple(notes),
            tuple(lost_s),
            seen_near,
            tuple(self._sizes.near.brief),
            tuple(self._sizes.near.others),
            tuple(loop.renewals.times_s),
            loop.refined,
            loop.sound / max(self._facts.frame_count, 1),
        )


def _thrown(
    arcs: list[Arc], sizes: OtherSizes, width: int, frame_s: float
) -> tuple[list[Arc], tuple[int, ...], tuple[int, ...]]:
    """Return all paths by time, and the places of the throws and of those seen near among them."""
    thrown = [arc for arc in arcs if is_throw(arc, width, frame_s)]
    if sizes.small is not None:
        small = sizes.small.throws(thrown)
        gone = {id(arc) for arc in arcs if any(part_of(arc, each, width) for each in small)}
        arcs = [arc for arc in arcs if id(arc) not in gone] + small
        thrown = [arc for arc in thrown if id(arc) not in gone] + small
    closer = sizes.near.throws(thrown)
    arcs = sorted([*arcs, *closer], key=lambda arc: float(arc.times_s[0]))
    chosen = {id(arc) for arc in closer}
    seen_near = tuple(at for at, arc in enumerate(arcs) if id(arc) in chosen)
    chosen |= {id(arc) for arc in thrown if not any(same_ball(arc, each, width) for each in closer)}
    throws = tuple(at for at, arc in enumerate(arcs) if id(arc) in chosen)
    return arcs, throws, seen_near
