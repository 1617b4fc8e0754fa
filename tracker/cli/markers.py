"""``lobmeter markers``."""

from pathlib import Path
from typing import Annotated

import typer

from tracker.cli.screen import console, say, sentences, show_json, show_table


def markers(
    session: Annotated[
        Path,
        typer.Argument(metavar="SESSION", help="Folder that holds a session.toml and its clips."),
    ],
    tags: Annotated[
        bool,
        typer.Option(
            "--tags",
            help='Look for a printed AprilTag (36h11) where a marker\'s name holds "tag" and its '
            'number, for instance "tag 7"; for the others cones that look alike.',
        ),
    ] = False,
) -> None:
    """Propose the pixels of markers; you paste those that are right.

    The camera's taped position and field of view, or two picked markers, say roughly where each
    marker is. Cones of any colour that look alike are searched for there, all together: they must
    agree with one camera. A picture of each clip with the proposals close up goes into results/.
    Look at it, then paste the lines you agree with into session.toml, which is never changed.
    """
    from tracker.report.documents import proposals_document
    from tracker.report.markers_words import proposals_table, proposals_toml, warnings
    from tracker.workflow.markers import mark_session

    screen = console()
    read, clips = mark_session(session, tags)
    say(screen, [read.name])
    for one in clips:
        say(screen, ["", f"{one.clip.file}:"])
        show_table(screen, proposals_table(one.clip.markers, one.proposals))
        say(screen, sentences(warnings(one.calibration, one.clip.markers, one.proposals)))
        if len(one.proposals) < len(one.clip.markers):
            say(screen, ["Pick a marker that was not found by hand."])
        say(screen, [f"Picture: {one.picture}"])
        if one.proposals:
            say(screen, ["", "Look at the picture, then paste what is right into session.toml:"])
            screen.print(
                proposals_toml(one.proposals), markup=False, soft_wrap=True, highlight=False
            )
    say(screen, ["", "Score: how far a shape stands out, in the scatter of its surroundings;"])
    say(screen, ["of a tag, its side in pixels. session.toml has not been changed."])
    show_json(
        [
            {"clip": one.clip.file, "picture": one.picture}
            | {"proposals": proposals_document(one.proposals)}
            for one in clips
        ]
    )
