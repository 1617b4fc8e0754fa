"""A video file that nobody wrote a ``session.toml`` for."""

from pathlib import Path

from tracker.flight.air import Weather
from tracker.flight.ball import ball_named
from tracker.session.entries import (
    BallEntry,
    CameraEntry,
    ClipEntry,
    ReleaseEntry,
    Session,
    SetupEntry,
)
from tracker.session.read import USUAL_RELEASE_M
from tracker.session.schema import BallSchema, CameraSchema
from tracker.session.validate import checked

USUAL_BALL = "tennis"


def bare_session(path: Path, ball: str | None = None, capture_fps: float | None = None) -> Session:
    """Return the session of one video file of which nothing else is known.

    Parameters
    ----------
    path : Path
    ball : str, optional
        A row of the ball table; when left out, a tennis ball, or what falls as another does.
    capture_fps : float, optional
        True frame rate of a file that plays slower than life.

    Raises
    ------
    InputError
        Where the ball is not in the table or the rate cannot be.
    """
    if ball is not None:
        ball = ball_named(checked(BallSchema, "type", ball, "--ball")).name
    if capture_fps is not None:
        capture_fps = checked(CameraSchema, "capture_fps", capture_fps, "--capture-fps")
    return Session(
        folder=path.parent,
        name=path.stem,
        date=None,
        notes="",
        ball=BallEntry(type=ball or USUAL_BALL, known=ball is not None),
        air=Weather(),
        release=ReleaseEntry(height_m=USUAL_RELEASE_M, height_known=False),
        camera=CameraEntry(capture_fps=capture_fps),
        markers=(),
        setups=(SetupEntry(name=path.stem),),
        clips=(ClipEntry(path.name, path, path.stem, ()),),
        bare=True,
    )
