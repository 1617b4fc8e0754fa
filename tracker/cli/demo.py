"""``lobmeter demo``."""

from pathlib import Path
from typing import Annotated

import typer

from tracker.cli.screen import CAUTION, console, progress_bar, say, sentences


def demo(
    to: Annotated[
        Path | None,
        typer.Option(
            "--to", metavar="DIR", help="Folder for the copies; lobmeter-demo when left out."
        ),
    ] = None,
) -> None:
    """Measure the sample sessions and show each shot beside the truth.

    The samples are copied beside you first, and no file of yours is overwritten. They were
    drawn, not filmed, so that what is true of every shot is known.
    """
    from tracker.report.terminal import remarks, truth_table
    from tracker.workflow.demo import run_demo

    screen = console()
    with progress_bar(console(to_stderr=True)) as told:
        shown = run_demo(to, told)
    for session in shown:
        say(screen, [session.result.session.name])
        for clip in session.clips:
            count = len(clip.pairs) + len(clip.missed)
            found = f"{len(clip.pairs)} of {count} shots found" if count else "no shot in it"
            extra = f", {len(clip.invented)} too many" if clip.invented else ", none invented"
            say(screen, [f"{clip.file}: {found}{extra}"])
            if clip.pairs:
                screen.print(truth_table(clip.pairs))
            say(screen, sentences(remarks(shot for shot, _ in clip.pairs)))
        say(screen, [f"Results and pictures: {session.result.folder}", ""])
    say(screen, ["The figures after ± are standard uncertainties.", CAUTION])
