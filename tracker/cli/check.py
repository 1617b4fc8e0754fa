"""``lobmeter check``."""

from pathlib import Path
from typing import Annotated

import typer

from calibration.errors import typed
from tracker.cli.screen import complain, console, say, show_json

MOST = 3
"""Pieces of advice that are shown: more are not read (common practice, no source)."""

HELP = "What would help, the most first:"


def check(
    session: Annotated[
        Path,
        typer.Argument(metavar="SESSION", help="Folder that holds a session.toml and its clips."),
    ],
    everything: Annotated[
        bool, typer.Option("--all", help=f"List all that would help, not the first {MOST}.")
    ] = False,
) -> None:
    """Check whether a session can be measured, and what to add.

    Each fault is named with its file and field; with a fault the exit code is 2. Questions name
    what is likely a slip, and make it 1. What would help follows by what it gains, the best first:
    in a measured session by the shares that its shots' uncertainties have from each source.
    Nothing is measured and nothing is written.
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
    shown = advice if everything else advice[:MOST]
    for head, sentences in (("Questions:", questions), (HELP, shown)):
        if sentences:
            say(screen, ["", head, *(f"- {sentence}" for sentence in sentences)])
    if len(advice) > len(shown):
        say(screen, [f"{len(advice) - len(shown)} more: lobmeter check {typed(session)} --all"])
    listed = [{"kind": one.kind, "sentence": one.sentence} for one in findings]
    show_json({"session": session, "ready": not faults and not questions, "findings": listed})
    if faults or questions:
        raise typer.Exit(2 if faults else 1)
