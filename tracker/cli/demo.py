"""``lobmeter demo``."""

import os
import shlex
import shutil
import sys
from pathlib import Path
from typing import Annotated

import typer

from tracker.cli.progress import progress_bar
from tracker.cli.screen import (
    CAUTION,
    console,
    say,
    sentences,
    show_json,
    show_table,
    uncertainty_words,
)


def demo(
    to: Annotated[
        Path | None,
        typer.Option(
            "--to", metavar="DIR", help="Folder for the copy; lobmeter-demo when left out."
        ),
    ] = None,
) -> None:
    """Take a sample session through the whole job: measure, compare, predict, report.

    Three wheels of the club's catch-practice feeder, five shots each. The session is copied into
    the current folder first; no file of yours is overwritten. It is drawn, not filmed, so that
    the true values of every shot are known and shown beside the measured ones.
    """
    from tracker.report.documents import comparison_document, truth_document
    from tracker.report.launcher_tables import sweep_table
    from tracker.report.terminal import remarks, truth_table
    from tracker.workflow.demo import run_demo

    screen = console()
    with progress_bar(console(to_stderr=True)) as report:
        shown = run_demo(to, report)
    say(screen, [shown.result.session.name, "", "Measured, beside what is true:"])
    for clip in shown.clips:
        count = len(clip.pairs) + len(clip.missed)
        extra = f", {len(clip.invented)} false" if clip.invented else ", none false"
        say(screen, ["", f"{clip.file}: {len(clip.pairs)} of {count} shots found{extra}"])
        if clip.pairs:
            show_table(screen, truth_table(clip.pairs))
        say(screen, sentences(remarks(shot for shot, _ in clip.pairs)))
    say(screen, [*uncertainty_words([shown.result]), "", "Compared:"])
    say(screen, [f"- {sentence}" for sentence in shown.comparison.sentences])
    along = shown.untested
    say(screen, ["", f'Predicted, 120 and 160 mm never shot, the rest as in "{along.base}":'])
    show_table(screen, sweep_table(along.sweep.key, along.sweep.values, along.predictions))
    say(screen, [f"Report, to open in a browser: {_below_here(shown.report)}", "", "Next:"])
    for words, line in next_steps(shown.report.parent.parent):
        say(screen, [words])
        screen.print(f"  {line}", markup=False, soft_wrap=True)
    say(screen, ["", CAUTION])
    show_json(
        {
            "clips": [
                {"file": clip.file, **truth_document(clip.pairs, clip.missed, clip.invented)}
                for clip in shown.clips
            ],
            "comparison": comparison_document(shown.comparison.comparison),
            "report": shown.report,
        }
    )


def next_steps(session: Path) -> list[tuple[str, str]]:
    """Return what to do next in words, each with the line to type in this very console."""
    here = _quoted(session)
    command = command_here()
    return [
        ("See the flights drawn into the clips:", f"{command} overlay {here}"),
        ("Have a session of your own judged before it is measured:", f"{command} check FOLDER"),
        ("Measure a clip of your own with nothing taped:", f"{command} measure CLIP.mp4"),
    ]


def command_here() -> str:
    """Return how this program is started again: by its name where that finds it, else in full.

    A full path is shown from the current folder where it lies below it.
    """
    started = Path(sys.argv[0])
    if started.stem.lower() != "lobmeter":
        return f"{_quoted(Path(sys.executable))} -m tracker.cli"
    found = shutil.which("lobmeter")
    if found is not None and started.exists() and Path(found).samefile(started):
        return "lobmeter"
    return _quoted(started)


def _below_here(path: Path) -> Path:
    """Return a path from the current folder where it lies below it, else in full."""
    whole = path.absolute()
    return whole.relative_to(Path.cwd()) if whole.is_relative_to(Path.cwd()) else whole


def _quoted(path: Path) -> str:
    shown = str(_below_here(path))
    if os.name == "nt":
        return f'"{shown}"' if " " in shown else shown
    return shlex.quote(shown)
