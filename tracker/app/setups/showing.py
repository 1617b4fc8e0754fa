"""Which clip shows which setup, as fields, and the results that follow."""

from collections.abc import Mapping
from functools import partial

from calibration.errors import InputError
from tracker.app import parts, tasks
from tracker.app.stale import running
from tracker.app.view import View
from tracker.session import ClipEntry, Session
from tracker.workflow.setup_edits import alike_below, by_file_names, shown

HEAD = "Which setup each clip shows"
HINT = (
    "Shots of one setup are repeats of each other. A name that is new makes a setup; nothing is "
    "measured again for it."
)


class Showing:
    """The fields; they unfold.

    Parameters
    ----------
    view : View
    """

    def __init__(self, view: View) -> None:
        self.view = view
        self._listed: list[str] = []
        self._below: tuple[str, tuple[str, ...]] = ("", ())
        self._again = False
        self._entries: dict[str, parts.Entry] = {}
        self._fold = parts.fold(HEAD, opened=_all_one(view.look.session))
        with self._fold:
            parts.sentence(HINT, "hint")
            self._fields = parts.group("fields")
            with parts.group("row"):
                self._each = parts.button("Call each clip's setup as its file", self._by_names)
                self._too = parts.button("", self._for_those_below)
        self.renew()

    def renew(self) -> None:
        """Show what the file says now."""
        session = self.view.look.session
        clips = () if session is None else session.clips
        parts.show_if(bool(clips), self._fold)
        parts.show_if(len(clips) > 1, self._each)
        if [clip.file for clip in clips] != self._listed:
            self._listed = [clip.file for clip in clips]
            self._build(clips)
        for clip in clips:
            self._entries[clip.file].rewrite(clip.setup)
        name, below = self._below
        if {clip.setup for clip in clips if clip.file in below} == {name}:
            self._below = name, below = "", ()
        self._too.text = below_words(name, len(below))
        parts.show_if(bool(below), self._too)

    def _build(self, clips: tuple[ClipEntry, ...]) -> None:
        self._fields.clear()
        with self._fields:
            self._entries = {
                clip.file: parts.field(clip.file, clip.setup, partial(self._named, clip.file))
                for clip in clips
            }

    async def _named(self, file: str, text: str) -> None:
        name, session = text.strip(), self.view.look.session
        if name:
            # The clips of an evening stand in order: who names one mostly means those after it.
            below = () if session is None else alike_below(session, file)
            if await self._show({file: name}, f"{file} shows {name}"):
                self._below = (name, below)
        self.renew()

    async def _for_those_below(self) -> None:
        (name, below), self._below = self._below, ("", ())
        await self._show(dict.fromkeys(below, name), f"{len(below)} clips show {name}")
        self.renew()

    async def _by_names(self) -> None:
        session, self._below = self.view.look.session, ("", ())
        if session is not None:
            await self._show(by_file_names(session), "setups called as the clips' files")
        self.renew()

    async def _show(self, wanted: Mapping[str, str], what: str) -> bool:
        """Write which setup clips show; return whether that was a change, and done."""
        view, session = self.view, self.view.look.session
        changes = [] if session is None else shown(session, wanted)
        if not changes or not await view.edit(what, *changes):
            return False
        if view.look.measured:
            self._bring()
        return True

    def _bring(self) -> None:
        """Bring the names into the results; where these are being made, once that has ended."""
        view = self.view
        self._again = running(view)
        if not self._again:
            try:
                # From what is kept: the rows get the names of their setups.
                view.opened.start("measure", "Measuring", tasks.measure, view.opened.place)
            except InputError as error:
                view.complain(error.sentences())

    async def ended(self) -> None:
        """Show what was measured, and bring in what was named meanwhile."""
        if self._again:
            self._bring()
        await self.view.renew()


def below_words(name: str, count: int) -> str:
    """Return what the button says that names the clips below too."""
    return f"{name} for the {count} clips below too" if count > 1 else f"{name} for the next too"


def _all_one(session: Session | None) -> bool:
    """Return whether several clips show one setup, which leaves nothing to compare."""
    return session is not None and len(session.clips) > 1 == len({c.setup for c in session.clips})
