"""The options of ``lobmeter review``."""

from dataclasses import dataclass
from typing import Annotated

import typer

Pair = tuple[float, float]


@dataclass(frozen=True)
class ShotFlags:
    """Which shot is meant, and what is decided about it."""

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
    reason: Annotated[
        str | None,
        typer.Option(
            "--reason", metavar="TEXT", help="Why a shot was moved or added, for whoever reads it."
        ),
    ] = None


@dataclass(frozen=True)
class EndFlags:
    """Where and when the shot was released and came down."""

    landing_m: Annotated[
        Pair | None,
        typer.Option(metavar="ALONG ACROSS", help="Where it came down, as taped on the field."),
    ] = None
    landing_u_m: Annotated[
        float | None,
        typer.Option(metavar="M", help="Standard uncertainty of that; 0.1 m when left out."),
    ] = None
    landing_px: Annotated[
        Pair | None,
        typer.Option(metavar="COLUMN ROW", help="The ball in the frame in which it came down."),
    ] = None
    landing_at: Annotated[
        float | None, typer.Option(metavar="S", help="When it came down, in the clip.")
    ] = None
    release_px: Annotated[
        Pair | None,
        typer.Option(metavar="COLUMN ROW", help="The ball in the frame in which it was released."),
    ] = None
    release_at: Annotated[
        float | None, typer.Option(metavar="S", help="When it was released, in the clip.")
    ] = None
    px_u: Annotated[
        float | None,
        typer.Option(metavar="PX", help="Standard uncertainty of a pixel; 2 when left out."),
    ] = None


@dataclass(frozen=True)
class ChangeFlags:
    """Shots added, and changes taken back."""

    place: Annotated[
        list[str] | None,
        typer.Option(
            metavar="S,COLUMN,ROW",
            help="Add a shot that was missed: the ball at a time in the clip. Give it twice or "
            "more, within one flight.",
        ),
    ] = None
    candidate: Annotated[
        float | None,
        typer.Option(
            metavar="S", help="Add the rejected candidate that was released at this time."
        ),
    ] = None
    take_back: Annotated[
        bool,
        typer.Option("--take-back", help="Remove the decision about this shot, or its addition."),
    ] = False
    undo: Annotated[
        bool, typer.Option("--undo", help="Take back the last change of this command.")
    ] = False
