"""Long work of the page, each a function that runs in a worker process."""

import os
from dataclasses import dataclass
from pathlib import Path

from tracker.app.work import Messenger

MOST_JOBS = 4
"""Clips that are measured at the same time, as in `tracker.cli.measure`."""


@dataclass(frozen=True)
class Measurement:
    """What a measurement says beyond its rows.

    Attributes
    ----------
    notes : tuple of str
        Sentences about the session as a whole; those of its clips are in the results.
    kept : tuple of str
        Results that a person had edited, under the names they have now.
    """

    notes: tuple[str, ...]
    kept: tuple[str, ...]


def measure(messenger: Messenger, place: Path) -> Measurement:
    """Measure a session, from anywhere where its results were so measured."""
    messenger.stage("reading the clips")
    from tracker.results import read_provenance
    from tracker.results.cache import cache_folder
    from tracker.workflow.look import results_of
    from tracker.workflow.measure import MeasureOptions, measure_session
    from tracker.workflow.steps import keep_step

    keep_step(place)
    options = MeasureOptions(
        jobs=min(os.cpu_count() or 1, MOST_JOBS),
        cache=cache_folder(),
        from_anywhere=read_provenance(results_of(place) / "shots.json").from_anywhere,
        on_shot=messenger.arrived,
        on_note=messenger.arrived,
    )
    result = measure_session(place, messenger.progress, options)
    keep_step(place)
    return Measurement((*result.notes, *result.gone_notes), result.kept)


def report(messenger: Messenger, place: Path, pdf: bool = False) -> tuple[str, ...]:
    """Write a session's report; return the names of its files."""
    from tracker.workflow.report import report_sessions

    messenger.progress("report", 0, 1)
    made = report_sessions([place], None, pdf)
    return tuple(path.name for path in (made.page, made.pdf) if path is not None)


def overlay(messenger: Messenger, place: Path) -> tuple[str, ...]:
    """Make the films with the flights drawn in; return their names."""
    from tracker.workflow.overlay import overlay_sessions

    made = overlay_sessions([place], progress=messenger.progress)
    return tuple(each.film.name for each in made if each.film is not None)
