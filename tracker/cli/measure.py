"""``lobmeter measure``."""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tracker.cli.jobs import Jobs, usual_jobs
from tracker.cli.options import grouped
from tracker.cli.progress import progress_bar
from tracker.cli.screen import (
    CAUTION,
    console,
    notes_of_all,
    result_document,
    say,
    sentences,
    show_budgets,
    show_causes,
    show_json,
    show_result,
    uncertainty_words,
)

if TYPE_CHECKING:
    from tracker.workflow.measure import MeasureOptions


@dataclass(frozen=True)
class MeasureFlags:
    """The options of the command."""

    budget: Annotated[
        bool,
        typer.Option(
            "--budget",
            help="Show each shot's uncertainty by source, and what to improve first.",
        ),
    ] = False
    explain: Annotated[
        bool,
        typer.Option(
            "--explain",
            help="Draw why each shot was accepted, and why other candidates were rejected.",
        ),
    ] = False
    from_anywhere: Annotated[
        bool,
        typer.Option(
            "--from-anywhere",
            help="Shots may start elsewhere than at the release point: a launcher that was moved, "
            "a ball thrown by hand, a release outside the picture.",
        ),
    ] = False
    ball: Annotated[
        str | None,
        typer.Option(
            metavar="NAME",
            help="Ball of a video file without a session; when left out tennis, or what falls.",
        ),
    ] = None
    jobs: Jobs = 0
    on: Annotated[
        str | None,
        typer.Option(
            "--on",
            metavar="SCHEDULER",
            help="Measure on the workers of a Dask scheduler, such as tcp://host:8786; they must "
            "see the clips under the same paths.",
        ),
    ] = None
    anew: Annotated[
        bool, typer.Option("--anew", help="Measure clips again that have not changed.")
    ] = False
    capture_fps: Annotated[
        float | None,
        typer.Option(
            metavar="NUMBER",
            help="True frame rate of a video file without a session, if in slow motion.",
        ),
    ] = None


@grouped
def measure(
    session: Annotated[
        list[Path],
        typer.Argument(
            metavar="SESSION",
            help="Folders that hold a session.toml and its clips, or video files without one.",
        ),
    ],
    flags: MeasureFlags,
) -> None:
    """Measure every shot of the sessions.

    Each SESSION gets a folder results/ with shots.csv, shots.json, tracks.csv and one picture
    a shot; with --explain a second one that shows the other candidates, as a clip without a shot
    always has. The results of an earlier run stay as they are until the new ones are complete.

    Where a clip yields no shot, the last line names the likeliest cause and what to change.

    Where the markers do not fix the camera, or for a video file without a session, gravity is
    the scale, with a wide uncertainty. The results of clip.mp4 go to clip-results/ beside it.

    With --from-anywhere every ball thrown through the air is a shot, but no hop and no ball that
    rolls. Where one does not come from the release point, its first detection counts as its
    release, its row states where that was, and its uncertainty is wider.

    With --on the clips are spread over a Dask scheduler's workers, with the same results; a worker
    that is lost loses none (pip install 'lobmeter[dask]').

    A clip is measured again only where it, what the session states of it, the options or the
    program changed; an interrupted run goes on with the next clip.

    The exit code is 1 where a row is not good, no shot was found, or a decision fits none.
    """
    from tracker.workflow.measure import measure_sessions

    screen = console()
    documents = []
    needs_look = False
    with progress_bar(console(to_stderr=True)) as report:
        options = replace(
            _options(flags),
            on_count=lambda done, of: report("all clips", done, of) if of > 1 else None,
            on_note=lambda note: say(console(to_stderr=True), [note]),
        )
        results = list(measure_sessions(session, report, options))
    common = notes_of_all(results)
    for result in results:
        show_result(screen, result, common)
        documents.append(result_document(result))
        needs_look |= result.needs_look
        if flags.budget:
            show_budgets(screen, result)
        say(screen, [""])
    said_once = ["Of every clip:", *sentences(common), ""] if common else []
    say(screen, [*said_once, *uncertainty_words(results), CAUTION])
    for result in results:
        show_causes(screen, result)
    show_json(documents)
    if needs_look:
        raise typer.Exit(1)


def _options(flags: MeasureFlags) -> "MeasureOptions":
    from tracker.results.cache import cache_folder
    from tracker.workflow.inputs import BareOptions
    from tracker.workflow.measure import MeasureOptions

    return MeasureOptions(
        flags.explain,
        flags.from_anywhere,
        BareOptions(flags.ball, flags.capture_fps),
        flags.jobs or usual_jobs(),
        None if flags.anew else cache_folder(),
        scheduler=flags.on,
    )
