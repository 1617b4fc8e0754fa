"""The results folder of a session: written whole, and read back."""

from pathlib import Path

from tracker.results.files import put_in_place
from tracker.results.frames import RESULTS, ResultFrames, read
from tracker.results.rows import Provenance, earlier_pictures, read_provenance, read_shots


def folder_of(session: Path, bare: str | None = None) -> Path:
    """Return the results folder of a session's folder, or of the bare video file of that name."""
    return session / (RESULTS if bare is None else f"{bare}-{RESULTS}")


__all__ = [
    "RESULTS",
    "Provenance",
    "ResultFrames",
    "earlier_pictures",
    "folder_of",
    "put_in_place",
    "read",
    "read_provenance",
    "read_shots",
]
