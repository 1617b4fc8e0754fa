"""``lobmeter open``."""

from pathlib import Path
from typing import Annotated

import typer

from tracker.cli.log import Book
from tracker.cli.screen import console, say


def open_page(
    session: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="[SESSION]...", help="Folders of sessions, or video files without one."
        ),
    ] = None,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the page in a browser.")
    ] = True,
    lan: Annotated[
        bool,
        typer.Option("--lan", help="Let a phone of this network send clips, by a code to scan."),
    ] = False,
    folder: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            help="Where new sessions are made; the folder Lobmeter in your home when left out.",
        ),
    ] = None,
    db: Book = None,
    port: Annotated[
        int, typer.Option(metavar="NUMBER", min=0, max=65535, help="0: any free one.")
    ] = 0,
) -> None:
    """Open the page: drop clips, mark the field, watch the shots, read the answer.

    It runs on this machine alone and asks nothing of the network; the link holds a secret. With
    --lan its page "Phone" shows a code: the phone that scans it sees that one session, sends its
    clips and looks at the results. All that the page changes is in the same files that the other
    commands read. Ctrl+C ends it.
    """
    from tracker.app.doors import doors
    from tracker.app.server import serve
    from tracker.app.workspace import Workspace
    from tracker.workflow.look import refuse_missing

    places = session or []
    refuse_missing(places)
    screen = console()

    def announce(link: str) -> None:
        # The link as it is, whatever the terminal's width: it must be one piece to be copied.
        say(screen, ["The page is open at"])
        typer.echo(link)
        say(screen, ["Ctrl+C ends it."])

    home = (folder or Path.home() / "Lobmeter").absolute()
    serve(Workspace(places, home, db), doors(port, lan), announce, browser)
