"""What a person wrote down about one filmed outing: ``session.toml``, read and checked."""

from typing import TYPE_CHECKING

from calibration.later import later
from tracker.session.answers import length_m, number, speed_mps, to_millimetre
from tracker.session.bare import USUAL_BALL, bare_session
from tracker.session.entries import (
    BallEntry,
    CameraEntry,
    ClipEntry,
    MarkerEntry,
    PlannedEntry,
    ReleaseEntry,
    Session,
    SetupEntry,
)
from tracker.session.lens import lens_toml, read_lens
from tracker.session.read import SESSION_FILE, parse_session, read_session
from tracker.session.stated import AddedShot, Place, StatedEnds

if TYPE_CHECKING:
    from tracker.session.draft import Draft, DraftClip, draft_toml
    from tracker.session.editing import (
        with_added,
        with_decision,
        without_added,
        without_decision,
    )
    from tracker.session.review import (
        REVIEW_FILE,
        Decision,
        Review,
        Verdict,
        parse_review,
        read_review,
        review_path,
    )
    from tracker.session.revising import FieldChange, revised

__all__ = [
    "REVIEW_FILE",
    "SESSION_FILE",
    "USUAL_BALL",
    "AddedShot",
    "BallEntry",
    "CameraEntry",
    "ClipEntry",
    "Decision",
    "Draft",
    "DraftClip",
    "FieldChange",
    "MarkerEntry",
    "Place",
    "PlannedEntry",
    "ReleaseEntry",
    "Review",
    "Session",
    "SetupEntry",
    "StatedEnds",
    "Verdict",
    "bare_session",
    "draft_toml",
    "length_m",
    "lens_toml",
    "number",
    "parse_review",
    "parse_session",
    "read_lens",
    "read_review",
    "read_session",
    "review_path",
    "revised",
    "speed_mps",
    "to_millimetre",
    "with_added",
    "with_decision",
    "without_added",
    "without_decision",
]

__getattr__ = later(
    __name__,
    {
        "draft": "Draft DraftClip draft_toml",
        "editing": "with_added with_decision without_added without_decision",
        "review": "REVIEW_FILE Decision Review Verdict parse_review read_review review_path",
        "revising": "FieldChange revised",
    },
)
