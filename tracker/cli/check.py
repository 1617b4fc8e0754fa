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
    faults, questions, advice, facts = (
        [one.sentence for one in findings if one.kind == kind]
        for kind in (Kind.FAULT, Kind.QUESTION, Kind.ADVICE, Kind.FACT)
    )
    complain(faults)
    if not faults:
        many = "questions" if len(questions) > 1 else "question"
        ready = f"Answer the {many} below, then" if questions else "Ready"
        say(screen, [f"{ready}: lobmeter measure {typed(session)}", ""])
    say(screen, facts)
    for head, sentences in (("Questions:", questions), ("What would help:", advice)):
        if sentences:
            say(screen, ["", head, *(f"- {sentence}" for sentence in sentences)])
    show_json({"session": session, "ready": not faults and not questions, "findings": findings})
    if faults or questions:
        raise typer.Exit(2 if faults else 1)
