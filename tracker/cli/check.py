"""``lobmeter check``."""

from pathlib import Path
from typing import Annotated

import typer

from calibration.errors import typed
from tracker.cli.screen import complain, console, say, show_json


def check(
    session: Annotated[
        Path,
        typer.Argument(metavar="SESSION", help="Folder that holds a session.toml and its clips."),
    ],
) -> None:
    """Check whether a session can be measured, and what to add.

    Each fault is named with its file and field; with a fault the exit code is 2. Questions name
    what is likely a slip, and make it 1; advice, what would make the figures more certain. Nothing
    is measured and nothing is written.
    """
    from tracker.workflow.check import Kind, check_session

    screen = console()
    findings = check_session(session)
    faults = [one.sentence for one in findings if one.kind == Kind.FAULT]
    advice = [one.sentence for one in findings if one.kind == Kind.ADVICE]
    say(screen, [one.sentence for one in findings if one.kind == Kind.FACT])
    questions = [one.sentence for one in findings if one.kind == Kind.QUESTION]
    if questions:
        say(screen, ["", "Questions:"])
        say(screen, [f"- {sentence}" for sentence in questions])
    if advice:
        say(screen, ["", "What would help:"])
        say(screen, [f"- {sentence}" for sentence in advice])
    show_json({"session": session, "ready": not faults and not questions, "findings": findings})
    if faults:
        complain(faults)
        raise typer.Exit(2)
    ready = "Once these questions are answered" if questions else "Ready"
    say(screen, ["", f"{ready}: lobmeter measure {typed(session)}"])
    if questions:
        raise typer.Exit(1)
