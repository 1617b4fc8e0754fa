"""What the server holds for all tabs: the open sessions, running work, a cache of frames."""

import asyncio
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from calibration.errors import InputError
from tracker.app import work
from tracker.session import ClipEntry
from tracker.workflow.begin import add_clips, refuse_known
from tracker.workflow.incoming import Announced, Incoming
from tracker.workflow.look import Look, look_at

REFUSED = "see that the folder is there, may be written to, and has room"

FRAMES_KEPT = 64
"""Frames kept as JPEG files: 64 of 0.6 MB (1080p) to 2 MB (4K). Common practice, no source."""


@dataclass
class OpenSession:
    """A session that is open in the page.

    Attributes
    ----------
    number : int
        In the page's addresses, from 1.
    place : Path
        Its folder, or a video file without a session.
    works : dict of str to Work
        The running or last work of each kind, as ``"measure"``.
    pending : list of str
        Faults that the next page of the session shows first.
    """

    number: int
    place: Path
    works: dict[str, work.Work] = field(default_factory=dict)
    pending: list[str] = field(default_factory=list)
    _facts: dict[tuple[Path, int, int, float | None], Any] = field(default_factory=dict)

    @property
    def folder(self) -> Path:
        """The session's folder.

        Raises
        ------
        InputError
            For a video file without a session: there is nothing to write into.
        """
        if self.place.is_file():
            raise InputError(
                "a video file alone keeps no values",
                where=self.place.name,
                remedy="make a session of it first",
            )
        return self.place

    @property
    def title(self) -> str:
        """The session's name; that of its folder where ``session.toml`` has faults."""
        found = self.look().session
        return found.name if found else self.place.name

    def look(self) -> Look:
        """Read the session's files as they are now."""
        return look_at(self.place)

    def start(self, kind: str, what: str, function: Callable[..., Any], *given: Any) -> work.Work:
        """Start work of a kind, one at a time; see `tracker.app.work.start`.

        Raises
        ------
        InputError
            Where such work is running.
        """
        running = self.works.get(kind)
        if running is not None and running.phase is work.Phase.RUNNING:
            raise InputError("is running already", where=running.what, remedy="cancel it first")
        self.works[kind] = work.start(what, function, *given)
        return self.works[kind]

    def facts(self, clip: ClipEntry, capture_fps: float | None) -> Any:
        """Return the facts of a clip (`tracker.video.ClipFacts`), read once as long as it stays.

        Raises
        ------
        InputError
            Where it is no video.
        """
        from tracker.video import inspect

        try:
            state = clip.path.stat()
        except OSError:
            raise InputError("there is no such file", where=clip.file) from None
        key = (clip.path, state.st_mtime_ns, state.st_size, capture_fps)
        if key not in self._facts:
            self._facts[key] = inspect(clip.path, capture_fps)
        return self._facts[key]


class Workspace:
    """The open sessions.

    Parameters
    ----------
    places : iterable of Path
    home : Path
        The folder in which new sessions are made.
    logbook : str or None
        As `tracker.logbook.logbook.open_logbook` takes it.
    """

    def __init__(self, places: Iterable[Path], home: Path, logbook: str | None = None) -> None:
        self.home = home
        self.logbook = logbook
        self.sessions: list[OpenSession] = []
        self._frames: OrderedDict[tuple[Any, ...], bytes] = OrderedDict()
        self._lock = threading.Lock()
        for place in places:
            self.open(place)

    def open(self, place: Path) -> OpenSession:
        """Open a session; one that is open already is returned."""
        place = place.resolve()
        with self._lock:
            for session in self.sessions:
                if session.place == place:
                    return session
            self.sessions.append(OpenSession(len(self.sessions) + 1, place))
            return self.sessions[-1]

    def session(self, number: int) -> OpenSession:
        """Return an open session by its number.

        Raises
        ------
        InputError
            Where there is none.
        """
        if not 1 <= number <= len(self.sessions):
            raise InputError("no such session is open", where=str(number))
        return self.sessions[number - 1]

    @property
    def incoming(self) -> Path:
        """The folder of clips that are coming in."""
        return self.home / ".incoming"

    def refuse_known(self, announced: Announced) -> None:
        """Raise where a clip that is announced for a session is in it already.

        Raises
        ------
        InputError
            So, or where the session is not open.
        """
        if announced.into:
            number = int(announced.into) if announced.into.isdecimal() else 0
            refuse_known(self.session(number).folder, announced)

    def receive(self, incoming: Incoming) -> None:
        """Put a clip that has come in whole into the session that it is for.

        Raises
        ------
        InputError
            Where it is no video, or the session is not open.
        """
        session = self.session(int(incoming.announced.into))
        add_clips(session.folder, [incoming])

    def frame(self, session: OpenSession, clip: int, index: int, width_px: int | None) -> bytes:
        """Return a frame of a session's clip as a JPEG file.

        Parameters
        ----------
        session : OpenSession
        clip : int
            Number of the clip in ``session.toml``, from 0.
        index : int
            Of the frame, from 0.
        width_px : int or None

        Raises
        ------
        InputError
            Where there is no such clip or frame.
        """
        from tracker.report.frame_jpeg import frame_jpeg

        read = session.look().session
        if read is None or not 0 <= clip < len(read.clips):
            raise InputError("there is no such clip", where=str(clip))
        facts = session.facts(read.clips[clip], read.camera.capture_fps)
        key = (facts.path, facts.listing.times_s().size, id(facts), index, width_px)
        with self._lock:
            if key in self._frames:
                self._frames.move_to_end(key)
                return self._frames[key]
        made = frame_jpeg(facts, index, width_px)
        with self._lock:
            self._frames[key] = made
            while len(self._frames) > FRAMES_KEPT:
                self._frames.popitem(last=False)
        return made


async def in_thread(function: Callable[..., Any], *given: Any) -> Any:
    """Run what takes longer than a blink beside the page's loop.

    Raises
    ------
    InputError
        As the function does; and where the system refuses a file to it, as on a full disk.
    """
    return await asyncio.to_thread(refusals_stated, function, *given)


def refusals_stated(function: Callable[..., Any], *given: Any) -> Any:
    """Call a function; what the system refuses to it is raised as an InputError."""
    try:
        return function(*given)
    except OSError as error:
        reason = (error.strerror or "unknown").lower()
        where = "" if error.filename is None else str(error.filename)
        raise InputError(f"the system refuses it ({reason})", where=where, remedy=REFUSED) from None
