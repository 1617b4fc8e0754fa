"""A video file that nobody wrote a ``session.toml`` for."""

from pathlib import Path

from calibration.errors import InputError
from tracker.flight.ball import ball_named
from tracker.session.entries import (
    AirEntry,
    BallEntry,
    CameraEntry,
    ClipEntry,
    ReleaseEntry,
    Session,
    SetupEntry,
)
from tracker.session.read import USUAL_RELEASE_M

USUAL_BALL = "tennis"


def bare_session(path: Path, ball: str | None = None, capture_fps: float | None = None) -> Session:
    """Return the session of one video file of which nothing else is known.

    Parameters
    ----------
    path : Path
    ball : str, optional
        A row of the ball table; a tennis ball when left out.
    capture_fps : float, optional
        True frame rate of a file that plays slower than life.

    Raises
    ------
    InputError
        Where the ball is not in the table or the rate cannot be.
    """
    if ball is not None:
        try:
            ball = ball_named(ball).name
        except InputError as error:
            raise InputError(error.what, where="--ball", remedy=error.remedy) from None
    if capture_fps is not None and not 1.0 <= capture_fps <= 100000.0:
        raise InputError(
            f"{capture_fps:g} frames a second is no camera's rate",
            where="--capture-fps",
            remedy="give the rate at which the frames were taken, 240 for instance",
        )
    return Session(
        folder=path.parent,
        name=path.stem,
        date=None,
        notes="",
        ball=BallEntry(type=ball or USUAL_BALL),
        air=AirEntry(),
        release=ReleaseEntry(height_m=USUAL_RELEASE_M, height_told=False),
        camera=CameraEntry(capture_fps=capture_fps),
        markers=(),
        setups=(SetupEntry(name=path.stem),),
        clips=(ClipEntry(path.name, path, path.stem, ()),),
        bare=True,
    )
