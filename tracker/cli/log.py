"""``lobmeter log``: the logbook of measured sessions."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from calibration.errors import InputError
from tracker.cli.modes import with_data, with_modes
from tracker.cli.options import grouped
from tracker.cli.screen import complain, console, say, sentences, show_json, show_table
from tracker.workflow.quick import collection_paused

if TYPE_CHECKING:
    from tracker.workflow.entering import Entered

log = typer.Typer(
    name="log",
    help="Keep measured sessions in a logbook, list them, and write their shots into one file.",
    no_args_is_help=True,
    rich_markup_mode=None,
    add_completion=False,
)


def day(text: str) -> date:
    """Return a day written as year-month-day.

    Raises
    ------
    InputError
        For anything else.
    """
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(
            f"{text!r} is no day", where="--since or --until", remedy="write it as 2026-05-17"
        ) from None


Book = Annotated[
    str | None,
    typer.Option(
        "--db",
        metavar="URL",
        envvar="LOBMETER_DB",
        help="The logbook: a SQLite file, or a URL such as postgresql://user@host/club. "
        "By default a file in your own data folder.",
    ),
]
Wheel = Annotated[
    float | None, typer.Option("--wheel", metavar="MM", help="Only wheels of this diameter, mm.")
]
BallType = Annotated[str | None, typer.Option("--ball", metavar="TYPE", help="Only this ball.")]
Since = Annotated[
    str | None, typer.Option("--since", metavar="DAY", help="First day, as 2026-05-17.")
]
Until = Annotated[str | None, typer.Option("--until", metavar="DAY", help="Last day.")]


def wanted(wheel: float | None, ball: str | None, since: str | None, until: str | None) -> Any:
    """Return the filter that the options ask for."""
    from tracker.logbook import Filter

    return Filter(
        wheel_mm=wheel,
        ball=ball,
        since=None if since is None else day(since),
        until=None if until is None else day(until),
    )


def _shots(count: int) -> str:
    return "1 shot" if count == 1 else f"{count} shots"


def entered_words(entered: "Entered") -> str:
    """Return what the logbook did with a session."""
    words = {"new": "added", "updated": "measured anew, replaced", "unchanged": "already there"}
    return f"{words[entered.done]} ({_shots(entered.shots)})"


@log.command()
@with_modes
def add(
    session: Annotated[
        list[Path], typer.Argument(metavar="SESSION", help="Folders of measured sessions.")
    ],
    db: Book = None,
) -> None:
    """Put measured sessions into the logbook.

    A session that is there already is replaced by its newest measurement; the same films count
    as the same session, wherever they lie. The exit code is 1 where one has no shot.
    """
    from tracker.logbook.database import shown_place
    from tracker.workflow.entering import add_sessions

    screen, added = console(), add_sessions(session, db)
    for entered in added:
        say(screen, [f"{entered.name}: {entered_words(entered)}"])
    say(screen, [f"Logbook: {shown_place(db)}"])
    empty = [entered.name for entered in added if entered.shots == 0]
    complain(f"{name} has no shot, so a comparison learns nothing from it." for name in empty)
    if empty:
        raise typer.Exit(1)


@log.command("list")
@with_data
def list_(
    wheel: Wheel = None,
    ball: BallType = None,
    since: Since = None,
    until: Until = None,
    most: Annotated[
        int, typer.Option("--most", metavar="N", min=1, help="How many, the newest first.")
    ] = 40,
    db: Book = None,
) -> None:
    """List the sessions of the logbook, the newest first."""
    with collection_paused():
        from tracker.report.logbook_tables import sessions_table
        from tracker.workflow.log import list_sessions

        lines = list_sessions(wanted(wheel, ball, since, until), most + 1, db)
        show_json(lines[:most])
        if not lines:
            say(console(), ["No session fits. Put measured ones in with: lobmeter log add FOLDER"])
            return
        show_table(console(), sessions_table(lines[:most]))
        if len(lines) > most:
            say(console(), [f"Only the newest {most} are shown; --most N shows more."])


@log.command()
@with_data
def show(
    number: Annotated[
        str, typer.Argument(metavar="NO", help="A number that log list shows in its first column.")
    ],
    db: Book = None,
) -> None:
    """Show one session of the logbook with its shots."""
    from tracker.report.terminal import remarks, shots_table
    from tracker.workflow.log import show_session

    if not number.isdecimal():
        raise InputError(
            f'"{number}" is no number of a session',
            where="NO",
            remedy="take it from the first column of: lobmeter log list",
        )
    found, screen = show_session(int(number), db), console()
    show_json(found)
    head = found.name if found.filmed_on is None else f"{found.name}, {found.filmed_on}"
    say(screen, [head, found.folder, *([found.notes] if found.notes else [])])
    for setup in found.setups:
        shots = [shot for shot in found.shots if shot.setup == setup.name]
        say(screen, ["", f"{setup.name}: {_shots(len(shots))}"])
        if shots:
            show_table(screen, shots_table(shots, screen.width))
            say(screen, sentences(remarks(shots)))


@dataclass(frozen=True)
class ExportFlags:
    """The options of ``log export``."""

    wheel: Wheel = None
    ball: BallType = None
    since: Since = None
    until: Until = None
    decimal_comma: Annotated[
        bool,
        typer.Option(
            "--decimal-comma",
            help="For a spreadsheet whose decimal mark is a comma: numbers have it, cells are "
            "parted by semicolons.",
        ),
    ] = False
    db: Book = None


@log.command()
@with_modes
@grouped
def export(
    file: Annotated[
        Path,
        typer.Argument(metavar="FILE", help="Written anew; its ending is .csv or .parquet."),
    ],
    flags: ExportFlags,
) -> None:
    """Write all shots of the logbook into one table, one row a shot."""
    from tracker.workflow.log import export_shots

    chosen = wanted(flags.wheel, flags.ball, flags.since, flags.until)
    count = export_shots(file, chosen, flags.db, flags.decimal_comma)
    say(console(), [f"{_shots(count)} in {file}"])
