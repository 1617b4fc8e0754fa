"""What is known about a clip's shots before a frame of it is looked at."""

from dataclasses import dataclass

from calibration.camera import Camera
from tracker.fitting import Circumstances, Conditions
from tracker.following import SearchContext


@dataclass(frozen=True, kw_only=True)
class ClipRequest(Conditions):
    """The conditions of a clip's shots, and the names of the clip and its setup.

    Attributes
    ----------
    clip, setup : str
        As the session names them.
    """

    clip: str
    setup: str


def stage_of(known: Circumstances, frame_s: float, camera: Camera | None = None) -> SearchContext:
    """Return what the flights of a clip are played on.

    Parameters
    ----------
    known : Circumstances
    frame_s : float
        True time from one frame to the next.
    camera : Camera, optional
        In place of the one in `known`.
    """
    return SearchContext(
        camera=known.camera if camera is None else camera,
        release_m=known.release_m,
        forces=known.forces,
        drag=known.drag,
        drag_u=known.drag_u,
        ball_radius_m=known.ball_radius_m,
        frame_s=frame_s,
        wind_mps=known.wind_mps,
    )
