"""The results folder of a session: written whole, and read back."""

from typing import TYPE_CHECKING

from calibration.later import later
from tracker.results.alone import alone
from tracker.results.folder import (
    RESULTS,
    folder_of,
    list_computed,
    recover,
    replace_results,
    replaced_meanwhile,
)

if TYPE_CHECKING:
    from tracker.results.files import put_in_place
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

__getattr__ = later(
    __name__,
    {
        "files": "put_in_place",
        "frames": "ResultFrames read",
        "rows": "Provenance read_provenance read_shots",
    },
)
