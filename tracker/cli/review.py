"""``lobmeter review``."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tracker.cli.options import grouped
from tracker.cli.screen import console, say, sentences, show_json

if TYPE_CHECKING:
    from tracker.workflow.review import Reviewed, Wanted


@dataclass(frozen=True)
class ReviewFlags:
    """The options of the command."""

    clip: Annotated[
        str | None,
        typer.Option(
            "--clip", metavar="FILE", help="As in session.toml; needed where it has several."
        ),
    ] = None
    shot: Annotated[
        int | None, typer.Option("--shot", metavar="NUMBER", help="Its number in the results.")
    ] = None
    at: Annotated[
        float | None,
        typer.Option(
            "--at",
            metavar="S",
            help="Its time of release instead, where it is no longer in the results.",
        ),
    ] = None
    reject: Annotated[
        str | None,
        typer.Option("--reject", metavar="REASON", help="The shot does not count, and why."),
    ] = None
    accept: Annotated[
        str | None,
        typer.Option("--accept", metavar="REASON", help="The shot counts as good, and why."),
    ] = None
    setup: Annotated[
        str | None,
        typer.Option("--setup", metavar="NAME", help="The shot belongs to this setup."),
    ] = None
    take_back: Annotated[
        bool, typer.Option("--take-back", help="Remove the decision about this shot.")
    ] = False
    undo: Annotated[
        bool, typer.Option("--undo", help="Take back the last change of this command.")
    ] = False


@grouped
def review(
    session: Annotated[
        Path, typer.Argument(metavar="SESSION", help="Folder of a measured session.")
    ],
    flags: ReviewFlags,
) -> None:
    """List the shots with your decisions about them, or decide about one.

    Decisions go into review.toml beside session.toml. A shot is recognised by its time of
    release, so a decision holds however often the session is measured again. One that fits no
    shot any more is reported and kept, and the exit code is then 1. review-journal.jsonl keeps
    every earlier state.
    """
    from tracker.report.documents import review_document
    from tracker.report.review_table import review_table

    screen = console()
    made = _done(session, flags)
    say(screen, [made.session.name, ""])
    screen.print(review_table(made.rows))
    say(screen, sentences(made.notes))
    show_json({"shots": review_document(made.rows), "notes": made.notes, "done": made.done})
    if made.done:
        say(screen, ["", *sentences([made.done])])
        say(screen, [f"To bring it into the results: lobmeter measure {session}"])
    if made.notes:
        raise typer.Exit(1)


def _done(folder: Path, flags: ReviewFlags) -> "Reviewed":
    """Do what the options ask for."""
    from calibration.errors import InputError
    from tracker.workflow.review import decide_shot, review_session, take_back, undo

    wanted = _wanted(flags)
    asked = [
        flags.undo,
        flags.take_back,
        wanted.verdict is not None or wanted.setup is not None,
    ]
    if sum(asked) > 1:
        raise InputError("one at a time", where="--undo, --take-back and a decision")
    if flags.undo:
        return undo(folder)
    if flags.take_back:
        return take_back(folder, wanted)
    if asked[2]:
        return decide_shot(folder, wanted)
    if flags.shot is not None or flags.at is not None:
        raise InputError(
            "what is decided about it?",
            where="--shot",
            remedy="give --reject, --accept, --setup or --take-back",
        )
    return review_session(folder)


def _wanted(flags: ReviewFlags) -> "Wanted":
    from calibration.errors import InputError
    from tracker.session import Verdict
    from tracker.workflow.review import Wanted

    if flags.reject is not None and flags.accept is not None:
        raise InputError("a shot is either rejected or accepted", where="--reject and --accept")
    verdict = None
    if flags.reject is not None:
        verdict = Verdict.REJECT
    elif flags.accept is not None:
        verdict = Verdict.ACCEPT
    return Wanted(
        clip=flags.clip,
        shot=flags.shot,
        release_s=flags.at,
        verdict=verdict,
        reason=flags.reject or flags.accept or "",
        setup=flags.setup,
    )
