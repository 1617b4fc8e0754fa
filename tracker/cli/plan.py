"""``lobmeter plan``."""

from pathlib import Path
from typing import Annotated

import typer

from tracker.cli.screen import CAUTION, console, say, show_json


def plan(
    session: Annotated[
        list[Path],
        typer.Argument(metavar="SESSION", help="Folders of measured sessions."),
    ],
    of: Annotated[
        str,
        typer.Option("--of", metavar="COLUMN", help="Column of shots.csv that counts."),
    ] = "carry_m",
    worth: Annotated[
        float | None,
        typer.Option(
            "--worth", metavar="NUMBER", help="Least difference worth knowing, in its unit."
        ),
    ] = None,
    sweep: Annotated[
        str,
        typer.Option(
            "--sweep",
            metavar="FIELD=FROM:TO",
            help="Machines to choose the next one from, as in predict.",
        ),
    ] = "",
) -> None:
    """Say which setups to shoot how often next, and which machine to build.

    The question is which setup is best; only those that could still be are shot again.
    """
    from tracker.workflow.plan import plan_sessions

    screen = console()
    made = plan_sessions(session, of, worth, sweep)
    say(screen, made.notes)
    say(screen, [f"- {sentence}" for sentence in made.sentences])
    say(screen, ["", CAUTION])
    show_json({"plan": made.plan, "sentences": made.sentences, "notes": made.notes})
