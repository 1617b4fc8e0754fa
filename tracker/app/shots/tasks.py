"""Work of the page of shots that runs in a worker process."""

from pathlib import Path

from tracker.app.work import Messenger


def look_for_added(messenger: Messenger, place: Path) -> None:
    """Measure the shots that a person added, so that they are kept."""
    from tracker.results.cache import cache_folder
    from tracker.workflow.kept import kept_session

    messenger.progress("added", 0, 1)
    kept = kept_session(place, cache_folder())
    if kept is not None:
        kept.now(quick=False)
