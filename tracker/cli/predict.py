"""``lobmeter predict``."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tracker.cli.options import grouped
from tracker.cli.screen import CAUTION, console, say, show_json, show_table

if TYPE_CHECKING:
    from tracker.workflow.predict import Predictions


@dataclass(frozen=True)
class PredictFlags:
    """The options of the command."""

    setup: Annotated[
        str, typer.Option("--setup", metavar="NAME", help="Only the setup of that name.")
    ] = ""
    sweep: Annotated[
        list[str] | None,
        typer.Option(
            "--sweep",
            metavar="FIELD=FROM:TO",
            help="Change one number of the setup from one value to another, for instance "
            "wheel.diameter_mm=80:220; a third number is the count of values. Given twice, a map "
            "with lines of equal carry is drawn.",
        ),
    ] = None
    to_hit: Annotated[
        float | None,
        typer.Option(
            "--to-hit", metavar="METRES", help="Say which settings of the setup carry that far."
        ),
    ] = None
    learn: Annotated[
        bool,
        typer.Option(
            "--learn/--no-learn",
            help="Correct the model with the measured shots, or take the setups as stated.",
        ),
    ] = True


@grouped
def predict(
    flags: PredictFlags,
    session: Annotated[
        list[Path],
        typer.Argument(metavar="SESSION", help="Folders that hold a session.toml."),
    ],
) -> None:
    """Predict a launcher: exit speed, spin, carry, spin-up, energy.

    The launcher is described by the tables of its [[setup]]. Where the sessions hold measured
    shots, the model is corrected by them. What a sweep, a map or --to-hit asks is answered first;
    a sweep is also drawn into the results of the first SESSION.
    """
    from tracker.report.launcher_tables import (
        discharges_table,
        left_out_table,
        measured_sentence,
        missed_sentences,
        predictions_tables,
        sweep_table,
    )
    from tracker.workflow.predict import predict_sessions

    screen = console()
    made = predict_sessions(session, flags.setup, flags.sweep or (), flags.learn, flags.to_hit)
    say(screen, made.notes)
    answers = [
        *made.settings,
        *([] if made.sweep is None else [made.sweep.sentence]),
        *([] if made.map is None else [made.map.grid.sentence()]),
    ]
    say(screen, [*answers, ""] if answers else [])
    rows = [(one.name, one.prediction) for one in made.setups]
    for table in predictions_tables(rows, screen.width):
        show_table(screen, table)
    if made.discharges:
        say(screen, ["On one charge:"])
        show_table(screen, discharges_table(made.discharges))
    for one in made.setups:
        measured = measured_sentence(one.measured_speed, one.measured_carry)
        lines = [f'"{one.name}": {measured[:1].lower()}{measured[1:]}'] if measured else []
        say(screen, [*lines, *one.troubles])
    if made.learned:
        say(screen, ["", "What the shots say of the model:"])
        say(screen, [f"- {sentence}" for sentence in made.learned])
    if made.left_out:
        say(screen, ["", "Each setup predicted from the others (exit speed, m/s):"])
        show_table(screen, left_out_table(made.left_out))
        say(screen, missed_sentences(made.left_out))
    if made.sweep is not None:
        along = made.sweep
        say(screen, ["", f'Sweep of "{along.base}":'])
        show_table(screen, sweep_table(along.sweep.key, along.sweep.values, along.predictions))
        say(screen, [f"Picture: {along.picture}"])
    if made.map is not None:
        say(screen, ["", f"Picture: {made.map.picture}"])
    say(screen, ["", "The figures after ± are standard uncertainties.", *made.cautions, CAUTION])
    show_json(_document(made))


def _document(made: "Predictions") -> dict[str, object]:
    """Return the predictions as data."""
    from tracker.report.documents import prediction_document

    along = made.sweep
    return {
        "setups": [
            prediction_document(one.name, one.prediction, (one.measured_speed, one.measured_carry))
            for one in made.setups
        ],
        "discharges": made.discharges,
        "settings": list(made.settings),
        "map": None if made.map is None else made.map.grid,
        "sweep": None
        if along is None
        else [
            {along.sweep.key: value} | prediction_document(along.base, one)
            for value, one in zip(along.sweep.values, along.predictions, strict=True)
        ],
        "learned": made.learned,
        "notes": [*made.notes, *made.cautions],
    }
