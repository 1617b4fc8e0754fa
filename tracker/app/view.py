"""One tab's view of a session: what a page reads, changes, reports and listens to."""

import asyncio
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass, field
from inspect import isawaitable
from typing import Any
from urllib.parse import quote

from nicegui import ui

from calibration.errors import InputError
from tracker.app.doors import Doors
from tracker.app.parts import Text
from tracker.app.workspace import OpenSession, Workspace, in_thread
from tracker.session import FieldChange
from tracker.workflow import edit
from tracker.workflow.look import Look

Field = tuple[str | int, ...]
"""What a notice is about: the place of a field, as in `FieldChange`; empty where it is none."""

WATCH_S = 1.0
"""How often a tab looks whether its session's files were changed elsewhere, s. Common practice, no
source."""


@dataclass(frozen=True)
class Page:
    """One page.

    Attributes
    ----------
    path : str
        Its last part of an address, as ``"field"``.
    title : str
        A word or two, for the row of steps and the tab.
    build : callable
        Builds the page's content for one tab; may be a coroutine function.
    order : int
        Place in the row of steps.
    needs_session : bool
        Whether it shows one open session; it is then found at ``/1/field`` only, else at ``/field``
        too.
    phone : bool
        Whether it is the page of a phone that was let in; it stands in no row of steps.
    """

    path: str
    title: str
    build: "Callable[[View], Awaitable[None] | None]"
    order: int
    needs_session: bool = True
    phone: bool = False


@dataclass
class View:
    """One tab's view.

    Attributes
    ----------
    workspace : Workspace
    doors : Doors
    session : OpenSession or None
        None on a page without a session.
    prefix : str
        What every address of this server begins with.
    pages : mapping of str to Page
        Every page by its path.
    keys : dict of str to (str, callable)
        By key, what it does in words and what is called.
    """

    workspace: Workspace
    doors: Doors
    session: OpenSession | None
    prefix: str
    pages: Mapping[str, Page]
    keys: dict[str, tuple[str, Callable[[], Any]]] = field(default_factory=dict)
    _look: Look | None = None
    _redraws: list[Callable[[], Any]] = field(default_factory=list)
    _notices: ui.element | None = None
    _early: list[tuple[str, str]] = field(default_factory=list)
    _about: Field = ()
    _files: asyncio.Lock = field(default_factory=asyncio.Lock)

    # What is there ------------------------------------------------------------------------------

    @property
    def opened(self) -> OpenSession:
        """The open session of a page that needs one."""
        assert self.session is not None
        return self.session

    @property
    def look(self) -> Look:
        """The session's files as this tab shows them; renewed by every edit and by `renew`."""
        if self._look is None:
            self._look = self.opened.look()
        return self._look

    @property
    def title(self) -> str:
        """The session's name."""
        return self.look.session.name if self.look.session else self.opened.place.name

    def on_change(self, redraw: Callable[[], Any]) -> None:
        """Have a function called whenever the session's files changed, here or elsewhere."""
        self._redraws.append(redraw)

    async def renew(self) -> None:
        """Read the session's files again and redraw what depends on them."""
        async with self._files:
            await self._read()
        await self._redraw()

    async def _read(self) -> None:
        self._look = await in_thread(self.opened.look)

    async def _redraw(self) -> None:
        for redraw in list(self._redraws):
            done = redraw()
            if isawaitable(done):
                await done

    # Changing it --------------------------------------------------------------------------------

    async def edit(self, what: str, *changes: FieldChange) -> bool:
        """Change fields of ``session.toml``; return whether it was done.

        A fault is shown as a notice, and nothing is written then. `what` names the change in the
        history, as "height of release 0.8 m".
        """
        return await self._changed(
            lambda: edit.edit_session(self.opened.folder, self.look.seen, what, changes),
            [change.place for change in changes],
        )

    async def review(self, what: str, decide: Callable[[], object]) -> bool:
        """Run a function of `tracker.workflow.deciding`, ``lambda: decide_shot(folder, …)``."""
        return await self._changed(
            lambda: edit.edit_review(self.opened.folder, self.look.seen, what, decide)
        )

    async def undo(self) -> None:
        """Undo the last change of the session, of any tab, of this run or an earlier one."""
        await self._stepped("Undone", edit.undo)

    async def redo(self) -> None:
        """Redo what was undone last."""
        await self._stepped("Done again", edit.redo)

    async def attempt(self, function: Callable[..., Any], *given: Any) -> Any:
        """Run a function beside the page's loop; a fault becomes a notice, and None is returned."""
        try:
            return await in_thread(function, *given)
        except InputError as error:
            self.complain(error.sentences())
            return None

    async def _changed(self, change: Callable[[], str], places: Sequence[Field] = ()) -> bool:
        # One after another: a second change must have seen what the first one wrote.
        async with self._files:
            try:
                await in_thread(change)
                done = True
            except InputError as error:
                self.complain(error.sentences(), about=next(iter(places), ()))
                done = False
            await self._read()
        if done:
            self.settle((), *places)
        await self._redraw()
        return done

    async def _stepped(self, said: str, step: Callable[[Any], str]) -> None:
        if self.session is None:
            return
        async with self._files:
            what = await self.attempt(lambda: step(self.opened.folder))
            await self._read()
        if what is not None:
            self.say(f"{said}: {what}.")
        await self._redraw()

    # Addresses ----------------------------------------------------------------------------------

    def address(self, path: str, session: OpenSession | None = None) -> str:
        """Return the address of a page of this session, or of another."""
        chosen = session or self.session
        number = "" if chosen is None else f"/{chosen.number}"
        return f"{self.prefix}{number}/{path}"

    def clip_address(self, clip: int) -> str:
        """Return the address of a clip's file, by its number from 0; a browser can seek in it."""
        return f"{self.prefix}/{self.opened.number}/clip/{clip}"

    def frame_address(self, clip: int, index: int, width_px: int | None = None) -> str:
        """Return the address of a single frame as a JPEG file."""
        width = f"?width={width_px}" if width_px else ""
        return f"{self.prefix}/{self.opened.number}/frame/{clip}/{index}{width}"

    def result_address(self, name: str) -> str:
        """Return the address of a file of the results."""
        return f"{self.prefix}/{self.opened.number}/result/{quote(name, safe='')}"

    def go(self, path: str, session: OpenSession | None = None) -> None:
        """Go to another page."""
        ui.navigate.to(self.address(path, session).removeprefix(self.prefix))

    # Notices and keys ---------------------------------------------------------------------------

    def say(self, words: str, about: Field = ()) -> None:
        """Show a notice."""
        self._notice([words], "said", about)

    def complain(self, sentences: Sequence[str], about: Field = ()) -> None:
        """Show faults, with the sentences that the commands print."""
        self._notice(sentences, "fault", about)

    def settle(self, *fields: Field) -> None:
        """Take the notice away where it is about one of the fields; ``()``: about none."""
        about = self._about
        settled = any(about[: len(each)] == each if each else not about for each in fields)
        if settled and self._notices is not None:
            self._notices.clear()

    def key(self, key: str, does: str, call: Callable[[], Any]) -> None:
        """Have a key do something where nobody is typing; "?" lists what the keys do.

        `key` is as a browser names it: ``"a"``, ``"ArrowRight"``, ``"Shift+ArrowRight"``,
        ``"Control+z"``.
        """
        self.keys[key] = (does, call)

    async def pressed(self, key: str) -> None:
        """Do what a key does."""
        if key in self.keys:
            done = self.keys[key][1]()
            if isawaitable(done):
                await done

    def _notice(self, sentences: Sequence[str], kind: str, about: Field) -> None:
        self._about = about
        if self._notices is None:
            # The page is being built; what it has to say waits for its place.
            self._early += [(words, kind) for words in sentences]
            return
        self._notices.clear()
        with self._notices:
            for words in sentences:
                Text("p", words, kind)

    # Used by the shell --------------------------------------------------------------------------

    def attach(self, notices: ui.element) -> None:
        """Take the place where notices appear, and begin to watch the files."""
        self._notices = notices
        pending = [] if self.session is None else self.session.pending
        with notices:
            for words, kind in [*self._early, *((each, "fault") for each in pending)]:
                Text("p", words, kind)
        pending.clear()
        if self.session is not None and not self.session.place.is_file():
            ui.timer(WATCH_S, self._watch)

    async def _watch(self) -> None:
        async with self._files:
            try:
                seen = await in_thread(edit.digest_of, self.opened.folder)
            except InputError:
                # A file that cannot be read for the moment; whatever is done with it says so.
                return
            changed = self._look is not None and seen != self._look.seen
            if changed:
                await self._read()
        if changed:
            await self._redraw()
            if not self.look.faults:
                self.say("The session was changed elsewhere; this is how it is now.")
