"""``lobmeter new``."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from calibration.errors import InputError, typed
from tracker.cli.screen import complain, console, say

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from tracker.workflow.new import Question

ASKING = (
    "Enter takes the value in brackets, or leaves the field out. Lengths may be written as 0.8, "
    "80 cm or 2 ft 7 1/2 in."
)

INTERRUPTED_CODE = 130
"""Exit code of a command that was interrupted, as shells have it: 128 and the signal's number."""


def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder of the new session.")],
    clip: Annotated[list[Path], typer.Argument(metavar="CLIP", help="Video files.")],
    copy: Annotated[
        bool, typer.Option("--copy", help="Copy the clips into DIR; else they stay where they are.")
    ] = False,
    ask: Annotated[
        bool | None,
        typer.Option(
            "--ask/--no-ask",
            help="Ask for what the files do not state, or do not; on a terminal it asks by itself. "
            "With --ask the lines of a pipe are the answers.",
            show_default=False,
        ),
    ] = None,
) -> None:
    """Begin a session: a folder with a session.toml for these clips.

    Size, frame rate, slow motion, device and date are read from the files. On a terminal you are
    asked for the rest: Enter takes the value in brackets, or leaves the field out; lengths may be
    in metres, centimetres, feet and inches. What is left out stands in the file as lines to fill
    in. Ctrl-C and Ctrl-D keep what was answered until then. A clip alone needs no session:
    lobmeter measure CLIP.
    """
    import sys

    from tracker.workflow.new import films, left_out, place_for_session, questions, start_session

    screen = console()
    place_for_session(folder, clip)
    filmed = films(clip)
    for one in filmed:
        say(screen, [f"{one.path.name}: {one.about}"])
    terminal = sys.stdin.isatty()
    asked = questions(folder, filmed) if ask or (ask is None and terminal) else ()
    answers: dict[str, Any] = {}
    interrupted = False
    if asked and terminal:
        say(screen, ["", ASKING])
        interrupted = _interrupted(asked, answers)
    elif asked:
        say(screen, _taken(asked, answers, sys.stdin))
    path = start_session(folder, filmed, answers, copy)
    lacking = left_out(answers)
    say(
        screen,
        [
            "",
            *([] if lacking is None else [lacking, ""]),
            f"Written: {path}",
            "Fill in what you taped, then see what is missing:",
            f"  lobmeter check {typed(folder)}",
            "Markers need pixels; this writes a frame with a grid to read them from:",
            f"  lobmeter still {typed(filmed[0].path)}",
        ],
    )
    if interrupted:
        many = f"{len(answers)} of {len(asked)}"
        complain([f"Interrupted: {many} questions are answered; the rest are lines to fill in."])
        raise typer.Exit(INTERRUPTED_CODE)


def _interrupted(asked: "Sequence[Question]", answers: dict[str, Any]) -> bool:
    """Ask until every answer can be used; whether a person interrupted it with some answered."""
    try:
        for question in asked:
            while question.key not in answers:
                text = typer.prompt(
                    question.text, default=question.default, show_default=bool(question.default)
                )
                try:
                    answers[question.key] = _parsed(question, text)
                except InputError as error:
                    complain(error.sentences())
    except (typer.Abort, KeyboardInterrupt):
        if answers:
            return True
        complain(["", "Interrupted. Nothing was written."])
        raise typer.Exit(INTERRUPTED_CODE) from None
    return False


def _taken(
    asked: "Sequence[Question]", answers: dict[str, Any], lines: "Iterable[str]"
) -> list[str]:
    """Take a line for each question; return the answers in words.

    Raises
    ------
    InputError
        For an answer that cannot be used: to ask again would take the next question's answer.
    """
    said = [""]
    for number, (question, line) in enumerate(zip(asked, lines), start=1):  # noqa: B905, a pipe may be short
        try:
            answers[question.key] = _parsed(question, line.strip() or question.default)
        except InputError as error:
            where = f"answer {number}, {question.text}"
            raise InputError(error.what, where=where, remedy=error.remedy) from None
        said.append(f"{question.text}: {line.strip() or question.default or 'left out'}")
    if len(answers) < len(asked):
        said.append(
            f"The answers ended after {len(answers)} of {len(asked)} questions; the rest are lines "
            "to fill in."
        )
    return said


def _parsed(question: "Question", text: str) -> Any:
    """Return the value of an answer, None for one that leaves the field out."""
    return question.parse(text) if text.strip() else None
