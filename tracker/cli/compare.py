"""``lobmeter compare``."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.errors import InputError
from tracker.cli.log import BallType, Book, Since, Until, Wheel, wanted
from tracker.cli.modes import mode
from tracker.cli.options import grouped
from tracker.cli.screen import CAUTION, console, say, show_json, show_table
from tracker.workflow.quick import collection_paused

if TYPE_CHECKING:
    from tracker.workflow.compare import Compared


@dataclass(frozen=True)
class CompareFlags:
    """The options of the command."""

    of: Annotated[
        str,
        typer.Option("--of", metavar="COLUMN", help="Column of shots.csv that is compared."),
    ] = "carry_m"
    worth: Annotated[
        float | None,
        typer.Option("--worth", metavar="NUMBER", help="Difference that matters, in its unit."),
    ] = None
    from_log: Annotated[
        bool,
        typer.Option("--from-log", help="Compare sessions of the logbook instead of folders."),
    ] = False
    wheel: Wheel = None
    ball: BallType = None
    since: Since = None
    until: Until = None
    db: Book = None
    picture: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="With --from-log: draw the comparison into this file, a .png."
        ),
    ] = None


@grouped
def compare(
    flags: CompareFlags,
    session: Annotated[
        list[Path] | None,
        typer.Argument(metavar="SESSION", help="Folders of measured sessions."),
    ] = None,
) -> None:
    """Compare setups with each other and with what was predicted of them.

    Says which differences are real, which the shots cannot tell and how many more would, which
    shot stands out, and where the next one lands. A picture is drawn into the results of the
    first SESSION.

    With --from-log the sessions come from the logbook; --wheel, --ball, --since and --until choose
    among them.
    """
    with collection_paused():
        _show(_made(flags, session or []))


def _show(made: "Compared") -> None:
    from tracker.comparison.words import WORDINGS
    from tracker.report.launcher_tables import chances_table, landings_table, summaries_table

    screen = console()
    say(screen, made.notes)
    say(screen, [f"- {sentence}" for sentence in made.sentences])
    if made.chances is not None:
        say(screen, [""])
        show_table(screen, summaries_table(made.comparison))
        if len(made.chances.names) > 1:
            say(screen, ["Chances:"])
            unit = WORDINGS[made.comparison.quantity].unit
            show_table(screen, chances_table(made.chances, unit))
        if any(summary.landing is not None for summary in made.comparison.summaries):
            say(screen, ["Landings:"])
            show_table(screen, landings_table(made.comparison))
    if made.picture is not None:
        say(screen, [f"Picture: {made.picture}"])
    say(screen, ["", "The figures after ± are 95 % intervals.", CAUTION])
    if mode().json:
        _show_data(made)


def _show_data(made: "Compared") -> None:
    from tracker.report.documents import comparison_document

    words = {
        "chances": made.chances,
        "sentences": made.sentences,
        "notes": made.notes,
        "picture": made.picture,
    }
    show_json(comparison_document(made.comparison) | words)


def _made(flags: CompareFlags, folders: list[Path]) -> "Compared":
    from tracker.workflow.compare import compare_logged, compare_sessions

    if flags.from_log and not folders:
        filter_ = wanted(flags.wheel, flags.ball, flags.since, flags.until)
        return compare_logged(flags.db, filter_, flags.of, flags.worth, flags.picture)
    if flags.from_log:
        raise InputError(
            "folders and the logbook cannot be compared in one go",
            where="compare",
            remedy="lobmeter log add FOLDER puts a session into the logbook",
        )
    if not folders:
        raise InputError(
            "no session is named",
            where="compare",
            remedy="give the folders of measured sessions, or --from-log",
        )
    if any(each is not None for each in (flags.wheel, flags.ball, flags.since, flags.until)):
        raise InputError(
            "--wheel, --ball, --since and --until choose among logged sessions",
            where="compare",
            remedy="add --from-log and name no folder",
        )
    return compare_sessions(folders, flags.of, flags.worth)
