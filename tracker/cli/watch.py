"""``lobmeter watch``."""

import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tracker.cli.jobs import Jobs, usual_jobs
from tracker.cli.log import Book, entered_words
from tracker.cli.options import grouped
from tracker.cli.progress import progress_bar
from tracker.cli.screen import (
    CAUTION,
    complain,
    console,
    result_document,
    say,
    show_causes,
    show_json_line,
    show_result,
)

if TYPE_CHECKING:
    from tracker.workflow.clips import Progress
    from tracker.workflow.watch import Outcome, WatchOptions


@dataclass(frozen=True)
class WatchFlags:
    """The options of the command."""

    once: Annotated[
        bool, typer.Option("--once", help="Measure what is there, and end; for scripts.")
    ] = False
    every: Annotated[
        float,
        typer.Option("--every", metavar="SECONDS", min=0.1, help="Time between two looks, s."),
    ] = 5.0
    from_anywhere: Annotated[
        bool,
        typer.Option(
            "--from-anywhere", help="Shots may start elsewhere than at the release point."
        ),
    ] = False
    ball: Annotated[
        str | None,
        typer.Option(
            metavar="NAME", help="Ball, where DIR has no session.toml; else tennis, or what falls."
        ),
    ] = None
    jobs: Jobs = 0
    db: Book = None


@grouped
def watch(
    folder: Annotated[
        Path, typer.Argument(metavar="DIR", help="The folder that clips are put into.")
    ],
    flags: WatchFlags,
) -> None:
    """Measure clips as they appear in a folder, and put them into the logbook.

    DIR is a folder that a phone's films are copied into. A clip is measured when its size and its
    time stay as they are from one look to the next and it can be opened; each film once, also
    after a restart and under another name. What cannot be read is named once.

    With a session.toml in DIR, its markers, ball, air and camera hold for every clip: each gets a
    session of its own, in a folder of its name. Without one, gravity is the scale, and the
    results of clip.mp4 go to clip-results/ beside it.

    Ctrl-C ends it. With --once the exit code is 1 where something needs a look; with --json each
    clip is one line of data.
    """
    from tracker.workflow.watch import watched

    screen, needs_look = console(), False
    if not flags.once:
        say(screen, [f"Watching {folder}. Ctrl-C ends it.", ""])
    with _passing_bar() as (report, close):
        for outcome in watched(folder, report, _options(flags)):
            close()
            _show(outcome)
            needs_look |= outcome.needs_look
    say(screen, [CAUTION])
    if needs_look:
        raise typer.Exit(1)


def pause(seconds: float) -> None:
    """Wait between two looks."""
    time.sleep(seconds)


def _show(outcome: "Outcome") -> None:
    """Print what became of a clip."""
    screen = console()
    document: dict[str, object] = {"clip": str(outcome.clip), "faults": list(outcome.faults)}
    if outcome.result is not None:
        show_result(screen, outcome.result)
        document |= result_document(outcome.result)
    if outcome.same_as is not None:
        said = f"{outcome.clip.name}: the same film as that of {outcome.same_as}."
        say(screen, [said])
        document["same_as"] = str(outcome.same_as)
    if outcome.entered is not None:
        say(screen, [f"Logbook: {entered_words(outcome.entered)}."])
        document["logbook"] = str(outcome.entered.done)
    if outcome.result is not None:
        show_causes(screen, outcome.result)
    say(screen, [""])
    complain(outcome.faults)
    show_json_line(document)


@contextmanager
def _passing_bar() -> Iterator[tuple["Progress", Callable[[], None]]]:
    """Give a progress that opens its bar when it is first called, and what closes it until then."""
    with ExitStack() as stack:
        opened: list[Progress] = []

        def report(clip: str, done: int, of: int) -> None:
            if not opened:
                opened.append(stack.enter_context(progress_bar(console(to_stderr=True))))
            opened[0](clip, done, of)

        def close() -> None:
            opened.clear()
            stack.close()

        yield report, close


def _options(flags: WatchFlags) -> "WatchOptions":
    from tracker.results.cache import cache_folder
    from tracker.workflow.inputs import BareOptions
    from tracker.workflow.measure import MeasureOptions
    from tracker.workflow.watch import WatchOptions

    measured = MeasureOptions(
        from_anywhere=flags.from_anywhere,
        bare=BareOptions(flags.ball),
        jobs=flags.jobs or usual_jobs(),
        cache=cache_folder(),
    )
    return WatchOptions(measured, flags.db, flags.once, flags.every, pause)
