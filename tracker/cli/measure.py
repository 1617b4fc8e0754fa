"""``lobmeter measure``."""

from pathlib import Path
from typing import Annotated

import typer

from tracker.cli.screen import CAUTION, console, progress_bar, say, show_budgets, show_result


def measure(
    session: Annotated[
        list[Path],
        typer.Argument(
            metavar="SESSION",
            help="Folders that hold a session.toml and its clips, or video files without one.",
        ),
    ],
    budget: Annotated[
        bool,
        typer.Option(
            "--budget",
            help="Show for every shot what makes its uncertainty, and what to improve first.",
        ),
    ] = False,
    explain: Annotated[
        bool,
        typer.Option(
            "--explain",
            help="Draw why each flight was taken for a shot, and why others were turned down.",
        ),
    ] = False,
    from_anywhere: Annotated[
        bool,
        typer.Option(
            "--from-anywhere",
            help="Shots may start elsewhere than at the release point: a launcher that was "
            "carried on, a ball thrown by hand, a release out of the picture.",
        ),
    ] = False,
    ball: Annotated[
        str | None,
        typer.Option(help="Ball in a video file without a session; tennis when left out."),
    ] = None,
    capture_fps: Annotated[
        float | None,
        typer.Option(help="True frame rate of a video file without a session, if in slow motion."),
    ] = None,
) -> None:
    """Measure every shot of the sessions.

    Each SESSION gets a folder results/ with shots.csv, shots.json, tracks.csv and one picture
    a shot; with --explain another that shows what else was seen. Results of an earlier run stay
    as they are until the new ones are complete.

    Where too few markers were taped to fix the camera, or for a video file without a session,
    gravity is the scale: the figures come with the wide uncertainty that this has. The results of
    clip.mp4 go to clip-results/ beside it.

    With --from-anywhere every ball thrown through the air is a shot, but no hop and no ball that
    rolls. Where one does not come from the release point, its first sight counts as its release,
    its row says where that was, and its uncertainty is wider.
    """
    from tracker.workflow.inputs import BareOptions, read_all
    from tracker.workflow.measure import MeasureOptions, measure_session

    screen = console()
    options = MeasureOptions(explain, from_anywhere, BareOptions(ball, capture_fps))
    read_all(session, options.bare)
    for folder in session:
        with progress_bar(console(to_stderr=True)) as report:
            result = measure_session(folder, report, options)
        show_result(screen, result)
        if budget:
            show_budgets(screen, result)
        say(screen, [""])
    say(screen, ["The figures after ± are standard uncertainties.", CAUTION])
