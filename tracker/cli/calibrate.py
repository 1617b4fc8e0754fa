"""``lobmeter calibrate``."""

from pathlib import Path
from typing import Annotated

import typer

from tracker.cli.screen import console, say, sentences, show_json, show_table


def calibrate(
    session: Annotated[
        Path,
        typer.Argument(metavar="SESSION", help="Folder that holds a session.toml and its clips."),
    ],
) -> None:
    """Report how well the markers determine the camera, and draw it.

    For each clip: whether all agrees, what the calibration allows, every marker's residual, the
    camera, and what is known worst with the measurements that would improve it. A picture of each
    goes into results/; other results stay as they are.
    """
    from tracker.report.calibration_words import (
        camera_sentences,
        markers_table,
        remedy_sentences,
        verdict_sentence,
    )
    from tracker.report.documents import calibration_document
    from tracker.workflow.calibrate import calibrate_session

    screen = console()
    read, clips = calibrate_session(session)
    say(screen, [read.name])
    for one in clips:
        found = one.calibration
        say(screen, ["", f"{one.clip.file}: {verdict_sentence(found)}"])
        say(screen, sentences([found.summary]))
        show_table(screen, markers_table(found))
        say(screen, [f'Not picked yet: "{name}".' for name in one.not_picked])
        say(screen, camera_sentences(found))
        say(screen, sentences(one.notes))
        say(screen, ["", *sentences([found.weakest.text])])
        others = sentences(remedy_sentences(found))
        say(screen, ["What else would help:"] if others else [])
        say(screen, [f"- {text}" for text in others])
        say(screen, [f"Picture: {one.picture}"])
    say(screen, ["", "The figures after ± are standard uncertainties."])
    show_json(
        [
            {"clip": one.clip.file, "not_picked": one.not_picked, "picture": one.picture}
            | calibration_document(one.calibration)
            for one in clips
        ]
    )
