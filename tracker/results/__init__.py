"""The results folder of a session: written whole, and read back."""

from tracker.results.alone import alone
from tracker.results.files import put_in_place
from tracker.results.folder import (
    RESULTS,
    folder_of,
    list_computed,
    recover,
    replace_results,
    replaced_meanwhile,
)
from tracker.results.frames import ResultFrames, read
from tracker.results.rows import Provenance, read_provenance, read_shots

__all__ = [
    "RESULTS",
    "Provenance",
    "ResultFrames",
    "alone",
    "folder_of",
    "list_computed",
    "put_in_place",
    "read",
    "read_provenance",
    "read_shots",
    "recover",
    "replace_results",
    "replaced_meanwhile",
]
