"""``lobmeter compare``."""

from pathlib import Path
from typing import Annotated

import typer

from tracker.cli.screen import CAUTION, console, say


def compare(
    session: Annotated[
        list[Path],
        typer.Argument(metavar="SESSION", help="Folders of measured sessions."),
    ],
    of: Annotated[
        str,
        typer.Option("--of", metavar="COLUMN", help="Column of shots.csv that is compared."),
    ] = "carry_m",
) -> None:
    """Compare setups with each other and with what was predicted of them.

    Says which differences are real, which the shots cannot tell and how many more would, which
    shot stands out, and where the next one lands. A picture is drawn into the results of the
    first SESSION.
    """
    from tracker.report.launcher_tables import landings_table, summaries_table
    from tracker.workflow.compare import compare_sessions

    screen = console()
    made = compare_sessions(session, of)
    say(screen, made.notes)
    say(screen, [f"- {sentence}" for sentence in made.sentences])
    if made.picture is not None:
        say(screen, [""])
        screen.print(summaries_table(made.comparison))
        if any(summary.landing is not None for summary in made.comparison.summaries):
            say(screen, ["Landings:"])
            screen.print(landings_table(made.comparison))
        say(screen, [f"Picture: {made.picture}"])
    say(screen, ["", "The figures after ± are 95 % intervals.", CAUTION])
