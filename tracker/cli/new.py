"""``lobmeter new``."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from calibration.errors import typed
from tracker.cli.screen import complain, console, say

if TYPE_CHECKING:
    from collections.abc import Iterable

    from tracker.workflow.new import Question

ASKING = (
    "Enter takes the value in brackets, or leaves the field out. Lengths may be written as 0.8, "
    "80 cm or 2 ft 7 1/2 in."
)


def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder of the new session.")],
    clip: Annotated[list[Path], typer.Argument(metavar="CLIP", help="Video files.")],
    copy: Annotated[
        bool, typer.Option("--copy", help="Copy the clips into DIR; else they stay where they are.")
    ] = False,
    ask: Annotated[
        bool, typer.Option("--ask/--no-ask", help="Ask for what the files do not state.")
    ] = True,
) -> None:
    """Begin a session: a folder with a session.toml for these clips.

    Size, frame rate, slow motion, device and date are read from the files. On a terminal you are
    asked for the rest: Enter takes the value in brackets, or leaves the field out; lengths may be
    in metres, centimetres, feet and inches. What is left out stands in the file as lines to fill
    in. A clip alone needs no session: lobmeter measure CLIP.
    """
    import sys

    from tracker.workflow.new import films, left_out, questions, start_session

    screen = console()
    filmed = films(clip)
    for one in filmed:
        say(screen, [f"{one.path.name}: {one.about}"])
    asked = questions(folder, filmed) if ask and sys.stdin.isatty() else ()
    if asked:
        say(screen, ["", ASKING])
    answers = _answers(asked)
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


def _answers(asked: "Iterable[Question]") -> dict[str, Any]:
    """Ask until every answer can be used."""
    from calibration.errors import InputError

    answers: dict[str, Any] = {}
    for question in asked:
        while question.key not in answers:
            text = typer.prompt(
                question.text, default=question.default, show_default=bool(question.default)
            )
            if not text.strip():
                answers[question.key] = None
                continue
            try:
                answers[question.key] = question.parse(text)
            except InputError as error:
                complain(error.sentences())
    return answers
