"""``lobmeter measure``."""

from pathlib import Path
from typing import Annotated

import typer

from tracker.cli.screen import CAUTION, console, progress_bar, say, show_budgets, show_result


def measure(
    session: Annotated[
        list[Path],
        typer.Argument(metavar="SESSION", help="Folders that hold a session.toml and its clips."),
    ],
    budget: Annotated[
        bool,
        typer.Option(
            "--budget",
            help="Show for every shot what makes its uncertainty, and what to improve first.",
        ),
    ] = False,
) -> None:
    """Measure every shot of the sessions.

    Each SESSION gets a folder results/ with shots.csv, shots.json, tracks.csv and one picture
    a shot. Results of an earlier run stay as they are until the new ones are complete.
    """
    from tracker.workflow.measuring import measure_session, read_all

    screen = console()
    read_all(session)
    for folder in session:
        with progress_bar(console(to_stderr=True)) as told:
            result = measure_session(folder, told)
        show_result(screen, result)
        if budget:
            show_budgets(screen, result)
        say(screen, [""])
    say(screen, ["The figures after ± are standard uncertainties.", CAUTION])
