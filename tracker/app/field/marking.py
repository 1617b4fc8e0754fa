"""Marking the field: the picture, the sentence that it answers with, the markers beside it."""

import asyncio
from dataclasses import replace

from nicegui import background_tasks, ui

from calibration.errors import InputError
from tracker.app import parts, tasks
from tracker.app.field.beside import MARKER, MarkerForm, MarkerList
from tracker.app.field.desk import Desk
from tracker.app.field.known import KnownOfCamera, KnownOfFlight, ReleaseHeight
from tracker.app.field.picture import Frame, MarkPicture, Moved, state_of
from tracker.app.field.words import AnswerWords, Questions
from tracker.workflow import field_edits as edits
from tracker.workflow.field import LOOKING, FieldAnswer
from tracker.workflow.stands import moved_sentences

REST_S = 0.15
"""Time without a further move of the slider after which a frame is fetched, s. Common practice, no
source."""
POLL_S = 0.2
"""How often a search for markers is asked whether it has ended, s. Common practice, no source."""

SHARED = (
    "Every clip without picks of its own has these. Was the camera turned or knocked before this "
    "one? Then pick anew for it."
)
CARRIED = "Where it stood elsewhere than its taped position, make a session of this clip alone."
HELP = (
    "Arrow keys move the chosen marker by a tenth of a pixel, with Shift by one, with Ctrl by 25. "
    "Enter sets it, Delete clears it, n and p choose the next and the one before, "
    "+ and - enlarge and reduce. Drag inside the magnified picture for the last tenth."
)


class Marking:
    """One tab's field.

    Parameters
    ----------
    desk : Desk
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self._searched = 0
        self._frame_wanted = 0
        self._offered: object = None
        self._shared: object = None
        self._last_search = FieldAnswer()

        view = desk.view
        view.key("n", "choose the next marker", lambda: self.step(1))
        view.key("p", "choose the marker before", lambda: self.step(-1))
        view.key("a", "accept all suggested markers", self.accept_all)

    def build(self) -> None:
        """Put the elements and show the answer that the desk has."""
        desk, view = self.desk, self.desk.view
        with parts.group("field-page"):
            with parts.group("field-picture"):
                self._put_clip_choice()
                self.sharing = parts.group("row field-sharing")
                self.picture = MarkPicture(self._state())
                with self.picture:
                    self.words = AnswerWords()
                self._put_time()
                with parts.fold("Keys in the picture"):
                    parts.sentence(HELP).props["id"] = "mark-help"
            with parts.group("field-side"):
                self.height = ReleaseHeight(view)
                self.questions = Questions()
                parts.heading("Markers")
                self.offers = parts.group("row field-offers")
                self.list = MarkerList(desk, self.choose)
                with parts.group("row"):
                    parts.button("Add a marker", self.add)
                self.form = MarkerForm(desk)
                with parts.fold("What else is known of the camera"):
                    KnownOfCamera(view)
                with parts.fold("Ball, wind and slow motion"):
                    KnownOfFlight(view)
                with parts.group("field-done"):
                    self.count = parts.sentence("", "quiet")
                    parts.button("Measure with these markers", self.measure)
        self.picture.on_moved(self.moved)
        self.picture.on("choose", lambda event: self.choose(str(event.args)))
        self.picture.on("accept", lambda event: self.accept([str(event.args)]))
        self.picture.on("unpick", lambda event: self.unpick(str(event.args)))
        self.picture.on("step", lambda event: self.step(int(event.args)))
        self.picture.on("missing", lambda: view.say("Choose a marker first, or add one."))
        view.on_change(self.renewed)
        self.show()
        self._think()
        if any(one.pixel is None for one in desk.markers):
            self.search()
        ui.timer(POLL_S, self._poll)

    # What is shown ------------------------------------------------------------------------------

    def show(self, serial: int = 0) -> None:
        """Show what the desk holds."""
        self.picture.show(self._state(), serial)
        self.words.show(self.desk.answer)
        clip = self.desk.clip.file
        others = moved_sentences([one for one in self.desk.moved if one.clip != clip])
        self.questions.show((*others, *self.desk.answer.questions))
        self.list.show()
        self.form.show()
        self._show_count()
        self._show_offers()
        self._show_sharing()

    def _state(self) -> dict[str, object]:
        desk = self.desk
        facts, clip = desk.facts, desk.clip
        time_s = float(facts.file_times_s[desk.frame] - facts.file_times_s[0])
        frame = Frame(
            desk.view.frame_address(desk.clip_number, desk.frame),
            facts.size_px,
            f"Frame of {clip.file} at {time_s:.2f} s.",
        )
        return state_of(frame, clip, desk.answer, desk.suggestions, desk.chosen)

    def _show_count(self) -> None:
        markers = self.desk.markers
        picked = sum(one.pixel is not None for one in markers)
        words = f"{picked} of {len(markers)} picked, {'saving' if self.desk.unsaved else 'saved'}."
        if self.count.text != words:
            self.count.text = words

    def _show_offers(self) -> None:
        found = self.desk.open_suggestions()
        unpicked = any(one.pixel is None for one in self.desk.markers)
        offered = (self.desk.searching is not None, len(found), unpicked)
        if offered == self._offered:
            return
        self._offered = offered
        self.offers.clear()
        with self.offers:
            if self.desk.searching is not None:
                parts.text("span", "Looking for the markers in this frame …", "quiet")
            elif found:
                number = "1 suggestion" if len(found) == 1 else f"{len(found)} suggestions"
                parts.button(f"Accept {number}", self.accept_all, key="a")
            elif unpicked:
                parts.button("Look for the markers", self.search)

    def _show_sharing(self) -> None:
        """Say whose picks these are where there are several clips, and offer the other way."""
        desk = self.desk
        session, clip = desk.session, desk.session.clips[desk.clip_number]
        own = edits.list_of(session, clip) != ("marker",)
        moved = "".join(one.sentence for one in desk.moved if one.clip == clip.file)
        picked = own and all(one.pixel is not None for one in clip.markers)
        alike = desk.alike if picked else ()
        shared = SHARED if session.camera.position_m is None else f"{SHARED} {CARRIED}"
        several = len(session.clips) > 1 and bool(session.markers)
        state = (own, moved, alike, shared, several)
        # What says the same stays: a button that is put anew loses the press that is on its way.
        if state == self._shared:
            return
        self._shared = state
        self.sharing.clear()
        if not state[-1]:
            return
        with self.sharing:
            if own:
                parts.sentence("This clip has picks of its own.", "hint")
                if alike:
                    which = "clip" if len(alike) == 1 else f"{len(alike)} clips"
                    words = f"Give these picks to the other {which} of this view"
                    parts.button(words, self.give, main=True)
                parts.button("Take the other clips' picks again", self.rejoin)
            else:
                parts.sentence(moved or shared, "doubt" if moved else "hint")
                parts.button("Pick anew for this clip", self.part, main=bool(moved))

    def _put_clip_choice(self) -> None:
        named = self._clips_named()
        if len(named) > 1:
            chosen = str(self.desk.clip_number)
            self.clips = parts.choice("Clip", named, chosen, self.take_clip)

    def _clips_named(self) -> list[tuple[str, str]]:
        """Return what is chosen among: each clip's number and file."""
        return [(str(number), clip.file) for number, clip in enumerate(self.desk.session.clips)]

    def _put_time(self) -> None:
        facts = self.desk.facts
        last = max(float(facts.file_times_s[-1] - facts.file_times_s[0]), 0.01)
        with parts.group("row field-time"):
            parts.slider("Time in the clip, s", (0.0, round(last, 2), 0.01), 0.0, self.take_time)
            parts.button("Frame before", lambda: self.take_frame(self.desk.frame - 1))
            parts.button("Frame after", lambda: self.take_frame(self.desk.frame + 1))
        parts.sentence(
            "Where the camera moves during a clip, the markers' pixels are those of its first "
            "frame.",
            "hint",
        )

    # What a person does -------------------------------------------------------------------------

    async def moved(self, moved: Moved) -> None:
        """Answer a marker's new place, and save it once it is final."""
        desk = self.desk
        pixel_u = edits.PICKED_CLOSE_U if moved.close else None
        desk.move(moved.clip, moved.name, moved.pixel, pixel_u)
        self.keep_doubts(await desk.reckon(searched=False))
        self.show(moved.serial)
        if moved.final:
            await desk.save_pick(moved.clip, moved.name, moved.pixel, pixel_u)

    def keep_doubts(self, answer: FieldAnswer) -> None:
        """Keep the suspects of the last search while a quick answer still does not agree."""
        before = self._last_search
        if LOOKING in answer.faults and before.suspects:
            names = {one.name for one in self.desk.markers}
            kept = tuple(name for name in before.suspects if name in names)
            self.desk.answer = replace(answer, suspects=kept)

    def choose(self, name: str) -> None:
        """Choose a marker."""
        if self.desk.marker(name) is not None:
            self.desk.chosen = name
            self.desk.view.settle((), MARKER)
            self.show()
            self.picture.focus_stage()

    def step(self, by: int) -> None:
        """Choose another marker, and give the picture the keyboard."""
        self.desk.step(by)
        self.desk.view.settle((), MARKER)
        self.show()
        self.picture.focus_stage()

    async def accept(self, names: list[str]) -> None:
        """Take suggestions as picks."""
        desk = self.desk
        taken = [one for one in desk.open_suggestions() if one.name in names]
        if not taken:
            return
        what = f"{taken[0].name} accepted" if len(taken) == 1 else f"{len(taken)} markers accepted"
        await desk.save(
            what,
            lambda: [
                change
                for one in taken
                for change in edits.pick(desk.session, desk.clip, one.name, one.pixel, one.pixel_u)
            ],
        )

    async def accept_all(self) -> None:
        """Take every suggestion; without one, say what to do for some."""
        names = [one.name for one in self.desk.open_suggestions()]
        await self.accept(names)
        if not names:
            self.desk.view.say(self._why_none())

    def _why_none(self) -> str:
        """Return why no marker is suggested, and what to do."""
        if self.desk.searching is not None:
            return "The markers are still looked for in this frame."
        if all(one.pixel is not None for one in self.desk.markers):
            return "There is nothing to accept: every marker of the list is picked."
        return (
            "There is nothing to accept: no marker is suggested. Press “Look for the markers”, or "
            "click where each stands."
        )

    async def part(self) -> None:
        """Give the clip picks of its own."""
        desk, clip = self.desk, self.desk.clip
        await desk.save(
            f"picks of its own for {clip.file}", lambda: edits.apart(desk.session, clip)
        )

    async def rejoin(self) -> None:
        """Give the clip the other clips' picks again."""
        desk, clip = self.desk, self.desk.clip
        await desk.save(f"shared picks for {clip.file}", lambda: edits.rejoin(desk.session, clip))

    async def give(self) -> None:
        """Give the clip's picks to the others of its view."""
        desk, clip, files = self.desk, self.desk.clip, self.desk.alike
        what = f"the picks of {clip.file} for {len(files)} more of its view"
        await desk.save(what, lambda: edits.given(desk.session, clip, files))

    async def unpick(self, name: str) -> None:
        """Take a marker's pixel away."""
        desk = self.desk
        await desk.save(f"{name} not picked", lambda: edits.unpick(desk.session, desk.clip, name))

    async def add(self) -> None:
        """Add the usual next marker, and choose it."""
        desk = self.desk
        if not self.height.known:
            self.height.ask()
            return
        marker = edits.next_to(desk.markers)
        desk.chosen = marker.name
        await desk.save(
            f"marker {marker.name} added", lambda: edits.add(desk.session, desk.clip, marker)
        )
        desk.chosen = marker.name
        self.show()

    def measure(self) -> None:
        """Measure the session with the markers as they are, on the page Measure."""
        view = self.desk.view
        try:
            view.opened.start("measure", "Measuring", tasks.measure, view.opened.place)
        except InputError as error:
            self.complain(error)
            return
        view.go("measure")

    async def take_clip(self, number: str) -> None:
        """Show another clip, if it can be read."""
        desk, session = self.desk, self.desk.session
        asked = (session.clips[int(number)], session.camera.capture_fps)
        if await desk.view.attempt(desk.view.opened.facts, *asked) is None:
            parts.renew_choice(self.clips, self._clips_named(), str(desk.clip_number))
            return
        desk.clip_number, desk.frame = int(number), 0
        desk.suggestions.clear()
        desk.alike = ()
        await self.renewed()

    async def take_time(self, time_s: float) -> None:
        """Show the frame nearest to a time, once the slider rests."""
        self._frame_wanted += 1
        wanted = self._frame_wanted
        await asyncio.sleep(REST_S)
        if wanted == self._frame_wanted:
            self.take_frame(self.desk.facts.frame_at(time_s))

    def take_frame(self, index: int) -> None:
        """Show a frame by its number."""
        self.desk.frame = min(max(index, 0), self.desk.facts.frame_count - 1)
        self.show()

    def complain(self, error: InputError) -> None:
        """Show a fault."""
        self.desk.view.complain(error.sentences())

    # What comes by itself -----------------------------------------------------------------------

    async def renewed(self) -> None:
        """Show the session's files as they are now."""
        desk = self.desk
        if desk.view.look.session is None or not desk.view.look.session.clips:
            ui.navigate.reload()
            return
        desk.clip_number = min(desk.clip_number, len(desk.session.clips) - 1)
        desk.take_from_files()
        self.keep_doubts(await desk.reckon(searched=False))
        self.show()
        self._think()

    def search(self) -> None:
        """Look for the markers in the frame."""
        self.desk.view.settle(())
        try:
            self.desk.search()
        except InputError as error:
            self.complain(error)
        self._show_offers()

    def _think(self) -> None:
        """Search for a mistake beside the page's loop, and show what was found."""
        self._searched += 1
        background_tasks.create(self._thought(self._searched))

    async def _thought(self, number: int) -> None:
        asked = self.desk.markers
        await self.desk.compare_views()
        answer = await self.desk.reckon(searched=True)
        if number == self._searched and asked == self.desk.markers and not self.offers.is_deleted:
            self._last_search = answer
            self.show()

    def _poll(self) -> None:
        if self.desk.found():
            self.show()
