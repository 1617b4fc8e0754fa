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
    """Measure the sample sessions and show each shot beside its true values.

    The samples are copied into the current folder first; no file of yours is overwritten. They
    are drawn, not filmed, so that the true values of every shot are known.
    """
    from tracker.report.terminal import remarks, truth_table
    from tracker.workflow.demo import run_demo

    screen = console()
    with progress_bar(console(to_stderr=True)) as report:
        shown = run_demo(to, report)
    for session in shown:
        say(screen, [session.result.session.name])
        for clip in session.clips:
            count = len(clip.pairs) + len(clip.missed)
            found = f"{len(clip.pairs)} of {count} shots found" if count else "no shot"
            extra = f", {len(clip.invented)} false" if clip.invented else ", none false"
            say(screen, [f"{clip.file}: {found}{extra}"])
            if clip.pairs:
                screen.print(truth_table(clip.pairs))
            say(screen, sentences(remarks(shot for shot, _ in clip.pairs)))
        say(screen, [f"Results and pictures: {session.result.folder}", ""])
    say(screen, ["The figures after ± are standard uncertainties.", CAUTION])
