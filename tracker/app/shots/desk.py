"""What the page of shots knows: the shots as decided now, which one is chosen, what is picked."""

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from tracker.app.shots.film import NOTHING_PICKED, Picked, Picking, Scene
from tracker.app.view import View
from tracker.app.workspace import in_thread
from tracker.measurement.fitted_shot import FittedShot
from tracker.records import RejectedCandidate, Shot
from tracker.results.matching import MATCHING_S
from tracker.session import AddedShot, Decision, StatedEnds, Verdict
from tracker.workflow.deciding import add_missed, decide_shot, take_back, take_candidate
from tracker.workflow.review import Wanted
from tracker.workflow.shots import DrawnFlight, Film, SessionShots, addition, shots_now

HINTS = {
    "landing": "Step to the frame in which the ball comes down, and click it.",
    "release": "Step to the frame in which the ball leaves the launcher, and click it.",
    "add": "Click the ball in one frame of its flight, step on, and click it in another.",
}
"""What to do while something is picked."""

PLACES = 2
"""Places of the ball that add a missed shot."""


@dataclass
class Desk:
    """The page's knowledge.

    Attributes
    ----------
    view : View
    shots : SessionShots or None
        None where the session must be measured first.
    chosen : (str, float) or None
        Clip and time of release of the chosen shot.
    candidate : RejectedCandidate or None
        The one that is looked at.
    picking : Picking
    clip : str
        The clip that the film shows.
    answer : str
        What the last change did to the figures.
    """

    view: View
    shots: SessionShots | None = None
    chosen: tuple[str, float] | None = None
    candidate: RejectedCandidate | None = None
    picking: Picking = NOTHING_PICKED
    clip: str = ""
    answer: str = ""
    _films: dict[str, Film] = field(default_factory=dict)

    @property
    def folder(self) -> Path:
        """The session's folder."""
        return self.view.opened.folder

    async def read(self) -> None:
        """Read the shots as they are decided now; what was measured is read once."""
        kept = None if self.shots is None else self.shots.kept
        session = self.view.look.session
        if kept is not None and session != kept.session:
            kept = None
            self._films.clear()
        self.shots = await in_thread(shots_now, self.folder, kept)
        if self.shots is not None:
            listed = self.shots.shots
            if self.shot is None and self.candidate is None:
                self.chosen = (listed[0].shot.clip, listed[0].shot.release_s) if listed else None
            files = [task.ready.clip.file for task in self.shots.kept.tasks]
            if self.clip not in files:
                self.clip = self.chosen[0] if self.chosen else files[0]

    @property
    def shot(self) -> FittedShot | None:
        """The chosen shot."""
        if self.shots is None or self.chosen is None:
            return None
        clip, release_s = self.chosen
        mine = [one for one in self.shots.shots if one.shot.clip == clip]
        near = [one for one in mine if abs(one.shot.release_s - release_s) <= MATCHING_S]
        return min(near, key=lambda one: abs(one.shot.release_s - release_s), default=None)

    def choose(self, shot: Shot) -> None:
        """Choose a shot."""
        self.chosen, self.candidate, self.clip = (shot.clip, shot.release_s), None, shot.clip
        self.picking, self.answer = NOTHING_PICKED, ""

    def look_at(self, candidate: RejectedCandidate) -> None:
        """Look at a rejected candidate."""
        self.candidate, self.chosen, self.clip = candidate, None, candidate.clip
        self.picking, self.answer = NOTHING_PICKED, ""

    def neighbour(self, by: int) -> Shot | None:
        """Return the shot so many rows on from the chosen one."""
        if self.shots is None or not self.shots.shots:
            return None
        rows = [one.shot for one in self.shots.shots]
        chosen = self.shot
        at = rows.index(chosen.shot) if chosen else -1 if by > 0 else len(rows)
        return rows[min(max(at + by, 0), len(rows) - 1)]

    def decision(self) -> Decision | AddedShot | None:
        """Return what was decided about the chosen shot, as the files have it."""
        if self.shots is None or self.shot is None:
            return None
        return self.shots.decision(self.shot.shot)

    # The film -----------------------------------------------------------------------------------

    def film(self) -> Film:
        """The clip that is shown."""
        assert self.shots is not None
        if self.clip not in self._films:
            self._films[self.clip] = self.shots.film(self.clip)
        return self._films[self.clip]

    def scene(self) -> Scene:
        """What the film shows."""
        assert self.shots is not None
        film, shot = self.film(), self.shot
        flight: DrawnFlight | None = None
        described, frame = f"{self.clip}, no shot chosen", 0
        if self.candidate is not None:
            flight = self.shots.flight_of(self.candidate)
            described = f"{self.clip}, a rejected candidate"
            frame = film.frame_at(self.candidate.release_s)
        elif shot is not None:
            flight = self.shots.flight(shot)
            described = f"{self.clip}, shot {shot.shot.shot}"
            frame = film.frame_at(shot.shot.release_s)
        if self.picking.mode == "add":
            flight = None
        address = self.view.frame_address(film.number, 0).removesuffix("0")
        return Scene(film, self.view.clip_address(film.number), address, flight, described, frame)

    # Changing -----------------------------------------------------------------------------------

    def begin(self, mode: str) -> None:
        """Begin to pick."""
        self.picking = Picking(mode, HINTS[mode])

    def cancel(self) -> None:
        """Pick nothing any more."""
        self.picking = NOTHING_PICKED

    async def picked(self, place: Picked) -> bool:
        """Take a picked place; return whether it changed the session."""
        if place.mode == "add":
            return await self._added(place)
        film = self.film()
        since_s = film.since_s(place.frame)
        if place.mode == "landing":
            ends = StatedEnds(landing_px=place.pixel, landing_s=since_s)
        else:
            ends = StatedEnds(release_px=place.pixel, moved_release_s=since_s)
        self.cancel()
        return await self.decide(f"{place.mode} moved", ends=ends)

    async def _added(self, place: Picked) -> bool:
        others = tuple(pick for pick in self.picking.picks if pick[0] != place.frame)
        picks = (*others, (place.frame, place.pixel))
        if len(picks) < PLACES:
            self.picking = replace(self.picking, picks=picks, hint="Now step on, and click again.")
            return False
        assert self.shots is not None
        added = addition(self.film(), picks)
        self.cancel()
        quick = await self.view.attempt(self.shots.quick, added)
        if quick is None:
            return False
        self.chosen = (quick.shot.clip, quick.shot.release_s)
        return await self.view.review("shot added", lambda: add_missed(self.folder, added))

    async def decide(self, what: str, **wanted: Any) -> bool:
        """Write a decision about the chosen shot; return whether it was done."""
        shot = self.shot
        if shot is None:
            return False
        row = shot.shot
        name = f"shot {row.shot} of {row.clip}"
        meant = Wanted(clip=row.clip, release_s=self.release_s(row), **wanted)
        return await self.view.review(f"{name} {what}", lambda: decide_shot(self.folder, meant))

    async def judge(self, verdict: Verdict, reason: str) -> bool:
        """Reject or accept the chosen shot."""
        return await self.decide(f"{verdict.value}ed", verdict=verdict, reason=reason)

    async def take_back(self) -> bool:
        """Take back what was decided about the chosen shot, or its addition."""
        shot, about = self.shot, self.decision()
        if shot is None or about is None:
            return False
        row = shot.shot
        at_s = about.begins_s if isinstance(about, AddedShot) else about.release_s
        meant = Wanted(clip=row.clip, release_s=at_s)
        what = f"decision about shot {row.shot} of {row.clip} taken back"
        return await self.view.review(what, lambda: take_back(self.folder, meant))

    async def take(self) -> bool:
        """Take the candidate that is looked at as a shot."""
        candidate, shots = self.candidate, self.shots
        if candidate is None or shots is None:
            return False
        self.chosen, self.candidate = (candidate.clip, candidate.release_s), None
        return await self.view.review(
            "rejected candidate taken", lambda: take_candidate(shots.kept, candidate)
        )

    def release_s(self, row: Shot) -> float:
        """Return the time by which decisions know a shot."""
        about = self.decision()
        if isinstance(about, Decision):
            return about.release_s
        return row.release_s
