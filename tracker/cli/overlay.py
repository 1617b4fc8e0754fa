"""``lobmeter overlay``."""

from pathlib import Path
from typing import Annotated

import typer

from tracker.cli.progress import progress_bar
from tracker.cli.screen import complain, console, say


def overlay(
    session: Annotated[
        list[Path],
        typer.Argument(
            metavar="SESSION", help="Folders of measured sessions, or measured video files."
        ),
    ],
    slow: Annotated[
        float,
        typer.Option(
            metavar="TIMES", help="Play so many times slower than life, without sound; 4 is usual."
        ),
    ] = 1.0,
    stills: Annotated[
        bool, typer.Option("--stills", help="Make only the stills, one a shot, and no film.")
    ] = False,
) -> None:
    """Make a film of each clip with the flights drawn in as they grow.

    Release, apex and landing, speed and carry appear when they become known; ticks show the
    metres along the firing line. The film plays in a browser and on a phone, at the speed of
    life with its sound, or slower with --slow. Beside it lies one still a shot, with the ball at
    every place of its flight. The exit code is 1 where a session has no flight to draw.
    """
    from tracker.workflow.overlay import overlay_sessions

    screen = console()
    with progress_bar(console(to_stderr=True)) as report:
        made = overlay_sessions(session, slow, not stills, report)
    for each in made:
        if each.film is not None:
            say(screen, [f"Film: {each.film}"])
        say(screen, [f"Still: {still}" for still in each.stills])
    drawn = {each.session for each in made}
    lacking = [folder for folder in session if folder not in drawn]
    complain(
        f"{folder}: no measured flight could be drawn; its results hold no shot with a path."
        for folder in lacking
    )
    if lacking:
        raise typer.Exit(1)
