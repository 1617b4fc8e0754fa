"""``lobmeter lens``."""

from pathlib import Path
from typing import Annotated

import typer

from calibration.errors import InputError
from tracker.cli.progress import progress_bar
from tracker.cli.screen import console, say, sentences, show_json

SOURCES = typer.Argument(
    metavar="CLIP_OR_IMAGES",
    help="A clip of the board, or pictures of it: near and far, in all corners of the frame, "
    "tilted to all sides.",
)
PRINT_BOARD = typer.Option(
    "--print-board",
    metavar="FILE.pdf",
    help="Write a board to print at 100 % on A4, and measure nothing.",
)
BOARD = typer.Option(
    "--board",
    metavar="BOARD",
    help="What was printed: checkerboard or charuco, then squares across and down, the side of a "
    "square measured on the paper in mm, and of a charuco board the side of its tags, as in "
    "charuco:9x6:25:18.75. Parts at the end may be left out. The printed sheet says it too.",
)
DEVICE = typer.Option("--device", metavar="WORDS", help="Whose lens it is, for the file.")
ZOOM = typer.Option("--zoom", metavar="WORDS", help="The zoom it holds for, for the file.")
TO = typer.Option("--to", metavar="FILE.toml", help="The lens file; never one that exists.")


def lens(
    sources: Annotated[list[Path] | None, SOURCES] = None,
    print_board: Annotated[Path | None, PRINT_BOARD] = None,
    board: Annotated[str, BOARD] = "checkerboard:9x6:25",
    device: Annotated[str, DEVICE] = "",
    zoom: Annotated[str, ZOOM] = "",
    to: Annotated[Path, TO] = Path("lens.toml"),
) -> None:
    """Measure a lens with a printed board, once for each zoom.

    Sharp and different views are chosen automatically. Name the lens file in a session's
    [camera]; it holds for every clip whose frames have the same shape.
    """
    from tracker.report.lens_words import lens_sentences
    from tracker.workflow.lens import measure_lens
    from tracker.workflow.lens import print_board as print_it

    screen = console()
    if print_board is not None:
        if sources:
            raise InputError(
                "a board is printed or measured, not both at once", remedy="print it first"
            )
        say(screen, [f"Board: {print_it(board, print_board)}"])
        show_json({"board": print_board})
        say(screen, ["Print it at 100 % and measure its ruler line: 100 mm must be 100 mm."])
        return
    if not sources:
        raise InputError(
            "there is nothing to measure",
            remedy="give a clip or pictures of the board, or print one with --print-board",
        )
    with progress_bar(console(to_stderr=True)) as progress:
        found = measure_lens(sources, board, to, (device, zoom), progress)
    say(screen, lens_sentences(found.measurement, found.looked_at))
    say(screen, sentences(found.notes))
    say(screen, [f"Lens file: {found.path}", "The figures after ± are standard uncertainties."])
    show_json({"file": found.path, "lens": found.measurement, "notes": found.notes})
