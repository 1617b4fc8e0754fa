"""``lobmeter lens``."""

from pathlib import Path
from typing import Annotated

import typer

from calibration.errors import InputError
from tracker.cli.screen import console, progress_bar, say, sentences


def lens(
    sources: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="CLIP_OR_IMAGES",
            help="A clip of the board, or pictures of it: near and far, in all corners of the "
            "frame, tilted to all sides.",
        ),
    ] = None,
    print_board: Annotated[
        Path | None,
        typer.Option(
            "--print-board",
            metavar="FILE.pdf",
            help="Write a board to print at 100 % on A4, and measure nothing.",
        ),
    ] = None,
    board: Annotated[
        str,
        typer.Option("--board", metavar="KIND", help="What was printed: checkerboard or charuco."),
    ] = "checkerboard",
    columns: Annotated[
        int, typer.Option("--columns", metavar="NUMBER", help="Squares across, not corners.")
    ] = 9,
    rows: Annotated[
        int, typer.Option("--rows", metavar="NUMBER", help="Squares down, not corners.")
    ] = 6,
    square_mm: Annotated[
        float,
        typer.Option("--square-mm", metavar="MM", help="Side of a square, measured on the paper."),
    ] = 25.0,
    tag_mm: Annotated[
        float | None,
        typer.Option(
            "--tag-mm",
            metavar="MM",
            help="Side of a charuco board's tags; three quarters of a square when left out.",
        ),
    ] = None,
    device: Annotated[
        str, typer.Option("--device", metavar="WORDS", help="Whose lens it is, for the file.")
    ] = "",
    zoom: Annotated[
        str, typer.Option("--zoom", metavar="WORDS", help="The zoom it holds for, for the file.")
    ] = "",
    to: Annotated[
        Path,
        typer.Option("--to", metavar="FILE.toml", help="The lens file; never one that is there."),
    ] = Path("lens.toml"),
) -> None:
    """Measure a lens with a printed board, once for each zoom.

    Sharp and different views are chosen by themselves. The lens file then stands in a session's
    [camera] and serves every clip of the same shape of frame.
    """
    from tracker.report.lens_words import lens_sentences
    from tracker.workflow.lens import BoardRequest, measure_lens
    from tracker.workflow.lens import print_board as print_it

    screen = console()
    request = BoardRequest(board, columns, rows, square_mm, tag_mm)
    if print_board is not None:
        if sources:
            raise InputError(
                "a board is printed or measured, not both at once", remedy="print it first"
            )
        say(screen, [f"Board: {print_it(request, print_board)}"])
        say(screen, ["Print it at 100 % and measure its ruler line: 100 mm must be 100 mm."])
        return
    if not sources:
        raise InputError(
            "there is nothing to measure",
            remedy="give a clip or pictures of the board, or print one with --print-board",
        )
    with progress_bar(console(to_stderr=True)) as told:
        found = measure_lens(sources, request, to, (device, zoom), told)
    say(screen, lens_sentences(found.measurement, found.looked_at))
    say(screen, sentences(found.notes))
    say(screen, [f"Lens file: {found.path}", "The figures after ± are standard uncertainties."])
