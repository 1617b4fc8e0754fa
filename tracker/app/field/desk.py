"""What one tab knows while the field is marked: the clip, picks, suggestions, the answer."""

import asyncio
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from tracker.app.view import View
from tracker.app.work import Phase, Work
from tracker.app.workspace import in_thread
from tracker.session import ClipEntry, FieldChange, MarkerEntry, Session
from tracker.workflow import field_edits as edits
from tracker.workflow.field import FieldAnswer, Suggestion, field_answer, suggest_in_worker
from tracker.workflow.stands import Moved, moved_clips, of_the_same_view

Pixel = tuple[float, float]


@dataclass
class Desk:
    """The state of one tab.

    Attributes
    ----------
    view : View
    clip_number : int
        In the session's list, from 0.
    frame : int
        Index of the frame that is shown.
    chosen : str
        Name of the chosen marker; empty without.
    markers : tuple of MarkerEntry
        As they are picked now, saved or not.
    answer : FieldAnswer
    suggestions : dict of str to Suggestion
    searching : Work or None
        The search for markers that runs.
    unsaved : dict of (str, str) to ((float, float), float or None)
        By clip and marker, pixels with their standard uncertainties that are not in the file yet.
    moved : tuple of Moved
        Clips that share picks of another view.
    alike : tuple of str
        Those of them that show the view of the clip that is shown, which has picks of its own.
    """

    view: View
    clip_number: int = 0
    frame: int = 0
    chosen: str = ""
    markers: tuple[MarkerEntry, ...] = ()
    answer: FieldAnswer = field(default_factory=FieldAnswer)
    suggestions: dict[str, Suggestion] = field(default_factory=dict)
    searching: Work | None = None
    unsaved: dict[tuple[str, str], tuple[Pixel, float | None]] = field(default_factory=dict)
    moved: tuple[Moved, ...] = ()
    alike: tuple[str, ...] = ()
    _compared: object = None
    _held: object = None
    _searched: tuple[MarkerEntry, ...] = ()
    _saving: asyncio.Lock = field(default_factory=asyncio.Lock)

    @property
    def session(self) -> Session:
        """The session; the page is not built where its file has faults."""
        session = self.view.look.session
        assert session is not None
        return session

    @property
    def clip(self) -> ClipEntry:
        """The clip with the markers as they are picked now."""
        return replace(self.session.clips[self.clip_number], markers=self.markers)

    @property
    def facts(self) -> Any:
        """Facts of the clip (`tracker.video.ClipFacts`)."""
        entry = self.session.clips[self.clip_number]
        return self.view.opened.facts(entry, self.session.camera.capture_fps)

    def marker(self, name: str) -> MarkerEntry | None:
        """Return a marker by its name, None where there is none."""
        return next((one for one in self.markers if one.name == name), None)

    def take_from_files(self) -> None:
        """Take the markers from the file, where they were not moved since."""
        written = self.session.clips[self.clip_number].markers
        self.markers = tuple(self._as_moved(one) for one in written)
        if self.marker(self.chosen) is None:
            names = [one.name for one in self.markers if one.pixel is None]
            names += [one.name for one in self.markers]
            self.chosen = names[0] if names else ""

    async def begin(self) -> None:
        """Read the clip and reckon what the picks in the file give.

        Raises
        ------
        InputError
            Where the clip is no video.
        """
        await in_thread(lambda: self.facts)
        self.take_from_files()
        await self.reckon(searched=False)

    async def reckon(self, searched: bool) -> FieldAnswer:
        """Return and keep what the picks give, with or without a search for mistakes."""
        asked = self.markers
        size_px = self.facts.size_px
        answer: FieldAnswer = await in_thread(
            field_answer, self.session, self.clip, size_px, searched
        )
        if asked == self.markers:
            self.answer = answer
        return answer

    async def compare_views(self) -> None:
        """Hold the clips that share picks against each other, where that may have changed."""
        session = self.session
        sharing = [(clip.file, clip.markers == session.markers) for clip in session.clips]
        picks = {one.pixel_u for one in session.markers if one.pixel is not None}
        asked = (sharing, picks, session.camera)
        rate = session.camera.capture_fps

        def facts_of(clip: ClipEntry) -> Any:
            return self.view.opened.facts(clip, rate)

        if asked != self._compared:
            self._compared = asked
            self.moved = await in_thread(moved_clips, session, facts_of)
        clip = session.clips[self.clip_number]
        own = edits.list_of(session, clip) != ("marker",)
        held = (clip, self.moved) if own else None
        if held != self._held:
            # What held of the picks before stays until it is known anew: a button that is taken
            # away and put back loses the press that is on its way.
            self._held, found = held, ()
            if own and self.moved:
                found = await in_thread(of_the_same_view, session, clip, self.moved, facts_of)
            # Another clip may be shown by now.
            self.alike = found if self._held == held else self.alike

    def move(self, clip: str, name: str, pixel: Pixel, pixel_u: float | None) -> None:
        """Put a marker at a pixel of a clip, by its file; it is not saved yet."""
        if self._picked_in(clip, name) is not None:
            self.unsaved[clip, name] = (pixel, pixel_u)
        self.markers = tuple(self._as_moved(one) for one in self.markers)

    def _picked_in(self, clip: str, name: str) -> ClipEntry | None:
        """Return the clip that a marker was picked in, which need not be shown by now."""
        return next(
            (
                one
                for one in self.session.clips
                if one.file == clip and any(each.name == name for each in one.markers)
            ),
            None,
        )

    def _as_moved(self, marker: MarkerEntry) -> MarkerEntry:
        moved = self.unsaved.get((self.clip.file, marker.name))
        if moved is None:
            return marker
        pixel, pixel_u = moved
        usual = MarkerEntry(marker.name, marker.ground_m).pixel_u
        return replace(marker, pixel=pixel, pixel_u=usual if pixel_u is None else pixel_u)

    def step(self, by: int) -> None:
        """Choose the next marker, or the one before."""
        names = [one.name for one in self.markers]
        if names:
            at = names.index(self.chosen) + by if self.chosen in names else 0
            self.chosen = names[at % len(names)]

    async def save(self, what: str, make: Callable[[], Sequence[FieldChange]]) -> bool:
        """Write changes into ``session.toml``, one after another; return whether it was done."""
        async with self._saving:
            return await self.view.edit(what, *make())

    async def save_pick(self, clip: str, name: str, pixel: Pixel, pixel_u: float | None) -> bool:
        """Save where a marker was picked in a clip."""
        what = f"{name} picked at column {pixel[0]:.1f}, row {pixel[1]:.1f}"

        def changes() -> Sequence[FieldChange]:
            # From here on the file is the truth: what the change is refused for is shown.
            if self.unsaved.get((clip, name)) == (pixel, pixel_u):
                del self.unsaved[clip, name]
            picked = self._picked_in(clip, name)
            return () if picked is None else edits.pick(self.session, picked, name, pixel, pixel_u)

        return await self.save(what, changes)

    def open_suggestions(self) -> list[Suggestion]:
        """Return the suggestions for markers that have no pixel yet, in their order."""
        return [
            self.suggestions[one.name]
            for one in self.markers
            if one.pixel is None and one.name in self.suggestions
        ]

    def search(self) -> None:
        """Look for the markers in the frame, in a process of its own."""
        if self.searching is not None:
            self.searching.cancel()
        opened = self.view.opened
        running = opened.works.get("markers")
        if running is not None:
            running.cancel()
        self._searched = self.markers
        self.searching = opened.start(
            "markers",
            "Looking for markers",
            suggest_in_worker,
            self.session,
            self.clip,
            self.frame,
        )

    def found(self) -> bool:
        """Take the result of a search that has ended; return whether it did."""
        if self.searching is None or self.searching.phase is Phase.RUNNING:
            return False
        if self.searching.phase is Phase.DONE:
            self.suggestions = {one.name: one for one in self.searching.result}
        elif self.searching.phase is Phase.FAILED and self._searched == self.markers:
            # What failed for other markers, as for too few of them, says nothing of these.
            self.view.complain(self.searching.faults)
        self.searching = None
        return True
