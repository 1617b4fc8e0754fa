"""Running work as a tab shows it: how far it is, what is left, what came, cancel."""

from collections.abc import Callable
from inspect import isawaitable
from typing import Any

from nicegui import ui

from tracker.app import parts
from tracker.app.view import View
from tracker.app.work import Phase, Work

COUNTED = 30
"""Parts of a piece of work from which they are frames, not files (common practice, no source)."""

REDRAWN_S = 0.3
"""How often progress is shown anew, s. Common practice, no source."""


class Running:
    """A piece of work that is running.

    Parameters
    ----------
    work : Work
    line : callable
        Returns what arrived, in words; nothing is shown where these are empty.
    key : str
        That cancels it; empty without one.
    """

    def __init__(self, work: Work, line: Callable[[Any], str], key: str = "") -> None:
        self.work = work
        self._line = line
        self._shown = 0
        with parts.group("stack"):
            self._words = parts.sentence("")
            self._bar = parts.bar(0.0, work.what)
            parts.button("Cancel", work.cancel, key=key)
            self._listed = parts.group("stack")
        self._listed.props["aria-live"] = "polite"

    def show(self) -> None:
        """Show how far it is and what came since."""
        self._words.set_text(words_of(self.work))
        self._bar.props["value"] = round(self.work.share, 3)
        self._bar.update()
        arrived = list(self.work.arrived)
        with self._listed:
            for words in filter(None, map(self._line, arrived[self._shown :])):
                parts.sentence(words)
        self._shown = len(arrived)


def follow(
    view: View, kind: str, ended: Callable[[], Any], line: Callable[[Any], str] = str, key: str = ""
) -> None:
    """Put a place that shows the running work of a kind, in every tab of the session.

    Parameters
    ----------
    view : View
    kind : str
        As given to `OpenSession.start`.
    ended : callable
        Called when it has ended, however; a function or a coroutine function.
    line : callable
        Returns what arrived, in words.
    key : str
        That cancels it.
    """
    place = parts.group("running")
    shown: list[Running] = []

    async def look() -> None:
        work = view.opened.works.get(kind)
        if work is not None and work.phase is Phase.RUNNING:
            if not shown:
                with place:
                    shown.append(Running(work, line, key))
            shown[0].show()
        elif shown:
            shown.clear()
            place.clear()
            done = ended()
            if isawaitable(done):
                await done

    if key:
        view.key(key, f"cancel: {kind}", lambda: _cancel(view, kind))
    ui.timer(REDRAWN_S, look)


def _cancel(view: View, kind: str) -> None:
    work = view.opened.works.get(kind)
    if work is not None:
        work.cancel()


def words_of(work: Work) -> str:
    """Return how far a piece of work is, in a sentence."""
    if not work.progress:
        return f"{work.what}: {work.stage} …"
    left = work.left_s
    look = "" if work.looks == 1 else ", second look"
    done, of = (sum(counts) for counts in zip(*work.progress.values(), strict=True))
    share = f"{work.what}{look}: {100 * work.share:.0f} % done"
    if work.share >= 1.0:
        return f"{work.what}{look}: every frame is read, the rest is computed."
    if of >= COUNTED:
        share += f", frame {done} of {of}"
    return f"{share}." if left is None else f"{share}, about {left:.0f} s left."
