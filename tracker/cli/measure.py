"""``lobmeter measure``."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from tracker.cli.options import grouped
from tracker.cli.screen import (
    CAUTION,
    console,
    progress_bar,
    result_document,
    say,
    show_budgets,
    show_json,
    show_result,
)


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
            metavar="NAME", help="Ball of a video file without a session; tennis when left out."
        ),
    ] = None
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
    a shot; with --explain a second one that shows the other candidates. The results of an earlier
    run stay as they are until the new ones are complete.

    Where the markers do not fix the camera, or for a video file without a session, gravity is
    the scale, with a wide uncertainty. The results of clip.mp4 go to clip-results/ beside it.

    With --from-anywhere every ball thrown through the air is a shot, but no hop and no ball that
    rolls. Where one does not come from the release point, its first detection counts as its
    release, its row states where that was, and its uncertainty is wider.

    The exit code is 1 where a row is not good, no shot was found, or a decision fits none.
    """
    from tracker.workflow.inputs import BareOptions, read_all
    from tracker.workflow.measure import MeasureOptions, measure_session

    screen = console()
    options = MeasureOptions(
        flags.explain, flags.from_anywhere, BareOptions(flags.ball, flags.capture_fps)
    )
    read_all(session, options.bare)
    documents = []
    needs_look = False
    for folder in session:
        with progress_bar(console(to_stderr=True)) as report:
            result = measure_session(folder, report, options)
        show_result(screen, result)
        documents.append(result_document(result))
        needs_look |= result.needs_look
        if flags.budget:
            show_budgets(screen, result)
        say(screen, [""])
    say(screen, ["The figures after ± are standard uncertainties.", CAUTION])
    show_json(documents)
    if needs_look:
        raise typer.Exit(1)
