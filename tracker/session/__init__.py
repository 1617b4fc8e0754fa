"""What a person wrote down about one filmed outing: ``session.toml``, read and checked."""

from tracker.session.bare import USUAL_BALL, bare_session
from tracker.session.entries import (
    AirEntry,
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
from tracker.session.read import SESSION_FILE, read_session

__all__ = [
    "SESSION_FILE",
    "USUAL_BALL",
    "AirEntry",
    "BallEntry",
    "CameraEntry",
    "ClipEntry",
    "MarkerEntry",
    "PlannedEntry",
    "ReleaseEntry",
    "Session",
    "SetupEntry",
    "bare_session",
    "lens_toml",
    "read_lens",
    "read_session",
]
