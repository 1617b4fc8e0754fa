"""``lobmeter report``."""

from pathlib import Path
from typing import Annotated

import typer

from tracker.cli.screen import console, say


def report(
    session: Annotated[
        list[Path],
        typer.Argument(
            metavar="SESSION", help="Folders of measured sessions, or measured video files."
        ),
    ],
    to: Annotated[
        Path | None,
        typer.Option(
            "--to",
            metavar="FILE.html",
            help="The report; report.html in the results of the first SESSION when left out.",
        ),
    ] = None,
    pdf: Annotated[
        bool,
        typer.Option(
            "--pdf", help="Print it to a PDF file too, by a Chromium browser on this machine."
        ),
    ] = False,
    sheet: Annotated[
        str | None,
        typer.Option(
            "--paper",
            metavar="A4|Letter",
            help="Sheet of that PDF file; this machine's country says when left out. A browser's "
            "own print dialogue asks.",
            show_default=False,
        ),
    ] = None,
) -> None:
    """Write what was measured as one HTML file to read, print and pass on.

    The answer comes first, then setups side by side, flights, landings, measured against
    predicted, every shot with its picture, what the uncertainty comes from, the calibration, the
    method, and cautions. The file holds everything it shows and needs no network.
    """
    from tracker.workflow.report import report_sessions

    made = report_sessions(session, to, pdf, sheet)
    lines = [f"Report: {made.page}"]
    if made.pdf is not None:
        lines.append(f"PDF: {made.pdf}")
    say(console(), lines)
