"""``lobmeter predict``."""

from pathlib import Path
from typing import Annotated

import typer

from tracker.cli.screen import CAUTION, console, say


def predict(
    session: Annotated[
        list[Path],
        typer.Argument(metavar="SESSION", help="Folders that hold a session.toml."),
    ],
    setup: Annotated[
        str, typer.Option("--setup", metavar="NAME", help="Only the setup of that name.")
    ] = "",
    sweep: Annotated[
        str,
        typer.Option(
            "--sweep",
            metavar="FIELD=FROM:TO",
            help="Change one number of the setup from one value to another, for instance "
            "wheel.diameter_mm=80:220; a third number sets how many steps.",
        ),
    ] = "",
    learn: Annotated[
        bool,
        typer.Option(
            "--learn/--no-learn",
            help="Let measured shots correct what nobody can look up, or leave it as stated.",
        ),
    ] = True,
) -> None:
    """Tell what to expect of a launcher: exit speed, spin, carry, spin-up, energy.

    The launcher is described by the tables of its [[setup]]. Where the sessions hold measured
    shots, the model learns from them first. A sweep is also drawn into the results of the first
    SESSION.
    """
    from tracker.report.launcher_tables import (
        left_out_table,
        measured_sentence,
        predictions_table,
        sweep_table,
    )
    from tracker.workflow.predict import foresee

    screen = console()
    seen = foresee(session, setup, sweep, learn)
    say(screen, seen.notes)
    screen.print(predictions_table([(one.name, one.prediction) for one in seen.setups]))
    for one in seen.setups:
        measured = measured_sentence(one.measured_speed, one.measured_carry)
        told = (*([measured] if measured else []), *one.cautions)
        say(screen, [f'"{one.name}":', *(f"- {sentence}" for sentence in told)])
    if seen.learned is not None:
        say(screen, ["", "What the shots have taught:"])
        say(screen, [f"- {sentence}" for sentence in seen.learned.sentences()])
    if seen.left_out:
        say(screen, ["", "Each setup foretold from the others (exit speed, m/s):"])
        screen.print(left_out_table(seen.left_out))
    if seen.sweep is not None:
        say(screen, ["", f'Sweep of "{seen.base}":'])
        screen.print(sweep_table(seen.sweep.key, seen.sweep.values, seen.along))
        say(screen, [f"Picture: {seen.picture}"])
    say(screen, ["", "The figures after ± are standard uncertainties.", CAUTION])
