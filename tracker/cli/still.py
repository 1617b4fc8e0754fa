"""``lobmeter still``."""

from pathlib import Path
from typing import Annotated

import typer

from tracker.cli.screen import console, say


def still(
    clip: Annotated[Path, typer.Argument(metavar="CLIP", help="A video file.")],
    at: Annotated[
        float, typer.Option("--at", metavar="S", help="Playing time of the frame, s.")
    ] = 0.0,
    to: Annotated[
        Path | None,
        typer.Option("--to", metavar="DIR", help="Folder; CLIP-still beside the clip if left out."),
    ] = None,
) -> None:
    """Write a frame with a grid of pixel coordinates, to read markers from.

    whole.jpg is the frame with a line every 100 pixels; A1.jpg to C4.jpg are its parts, enlarged
    four times, with a line every 10 pixels. Any picture viewer will do: read column and row of
    each marker and write them as pixel = [column, row]. Where the camera moves, take the first
    frame.
    """
    from tracker.workflow.still import write_still

    folder, time_s = write_still(clip, at, to)
    say(
        console(),
        [
            f"Frame at {time_s:.3f} s: {folder / 'whole.jpg'}",
            "Enlarged parts, to read a marker's column and row from: A1.jpg to C4.jpg beside it.",
        ],
    )
