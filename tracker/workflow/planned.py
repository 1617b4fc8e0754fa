"""What a session states of shots still to be filmed, usual values for what it leaves out."""

from dataclasses import replace
from pathlib import Path

from calibration.errors import InputError
from tracker.comparison.knowledge import Knowledge
from tracker.flight.air import Weather
from tracker.session import (
    SESSION_FILE,
    BallEntry,
    CameraEntry,
    ClipEntry,
    ReleaseEntry,
    Session,
)
from tracker.statistics.components import Estimate
from tracker.vantage import (
    ANGLE_U_DEG,
    CLEAR_M,
    CONTRAST,
    NOISE,
    SPEED_U_SHARE,
    Assumption,
    Plan,
)
from tracker.workflow.gathering import gather
from tracker.workflow.inputs import inspected
from tracker.workflow.stand import request_of, site_of

SIZE_PX, FPS = (1920, 1080), 60.0
"""Frame and rate of a phone's film where none is stated (common practice, no source)."""

HEIGHT_M, ANGLE_DEG, SPEED_MPS = 0.8, 42.0, 20.0
"""Release, launch angle and exit speed of a catch-practice feeder where none is stated (common
practice, no source)."""


def plan_of(session: Session) -> tuple[Plan, tuple[Assumption, ...]]:
    """Return the plan that a session's fields make, and what was assumed for missing ones."""
    stated, camera = session.planned, session.camera
    size_px, fps, assumed = _film(session)
    clip = session.clips[0] if session.clips else ClipEntry("", Path(), "", session.markers)
    speed, angle = _speed(session, assumed), session.release.angle_deg
    if not session.release.height_known:
        assumed.append(Assumption("[release]", f"height_m {session.release.height_m:g}"))
    if angle is None:
        angle = ANGLE_DEG
        assumed.append(Assumption("[release]", f"angle_deg {angle:g}"))
    if camera.lens is None and camera.field_of_view_deg is None:
        assumed.append(Assumption("[camera]", "field_of_view_deg 65, give or take 40 %"))
    contrast, noise = stated.contrast_luma or CONTRAST, stated.noise_luma or NOISE
    if stated.contrast_luma is None or stated.noise_luma is None:
        text = f"contrast_luma {contrast:g}, noise_luma {noise:g}"
        assumed.append(Assumption("[planned]", text))
    angle_u = stated.launch_angle_u_deg
    plan = Plan(
        site=site_of(session, clip, size_px),
        conditions=request_of(session, clip),
        speed_mps=speed,
        angle_deg=Estimate(angle, ANGLE_U_DEG if angle_u is None else angle_u),
        fps=fps,
        position_m=camera.position_m,
        position_taped=stated.position_taped,
        aim_m=stated.aim_m,
        shutter_s=stated.shutter_s,
        contrast=contrast,
        noise=noise,
        clear_m=CLEAR_M if stated.clear_m is None else stated.clear_m,
    )
    return plan, tuple(assumed)


def _film(session: Session) -> tuple[tuple[int, int], float, list[Assumption]]:
    """Return the size of the frames and their true rate: as planned, as filmed, or as usual."""
    frame, fps = session.planned.frame_px, session.planned.fps
    size_px = None if frame is None else (round(frame[0]), round(frame[1]))
    filmed = [clip for clip in session.clips if clip.path.is_file()]
    if filmed and (size_px is None or fps is None):
        facts = inspected(session, filmed[0])
        size_px, fps = size_px or facts.size_px, fps or facts.file_fps * facts.pace
    fps = fps or session.camera.capture_fps
    if size_px is not None and fps is not None:
        return size_px, fps, []
    size_px, fps = size_px or SIZE_PX, fps or FPS
    text = f"frame_px [{size_px[0]}, {size_px[1]}], fps {fps:g}"
    return size_px, fps, [Assumption("[planned]", text)]


def _speed(session: Session, assumed: list[Assumption]) -> Estimate:
    """Return the exit speed: as planned, as the launcher model predicts, or as usual."""
    value, u = session.planned.exit_speed_mps, session.planned.exit_speed_u_mps
    entries = [one for one in session.setups if one.name == session.planned.setup or one.parts]
    if value is None and entries:
        found, source = predicted_speed(session)
        text = f"exit_speed_mps {found.value:.1f} ({source})"
        assumed.append(Assumption("[planned]", text))
        return found if u is None else replace(found, u=u)
    if value is None:
        value = SPEED_MPS
        assumed.append(Assumption("[planned]", f"exit_speed_mps {value:g}"))
    return Estimate(value, SPEED_U_SHARE * value if u is None else u)


def predicted_speed(session: Session) -> tuple[Estimate, str]:
    """Return the exit speed that the launcher model predicts, and its source.

    Of the planned setup, or of the fastest whose tables say enough.

    Raises
    ------
    InputError
        Where no setup's tables say enough.
    """
    wanted = session.planned.setup
    setups = gather([session.folder], machines_needed=not wanted, filmed=False).setups
    known = Knowledge([setup for setup in setups if wanted in ("", setup.name)] or setups)
    found = known.predictions()
    if not found:
        gather([session.folder], machines_needed=True, filmed=False)
        raise InputError(
            "no setup says enough of its machine",
            where=str(session.folder / SESSION_FILE),
            remedy="give one setup [setup.wheel] and [setup.motor], or [planned] exit_speed_mps",
        )
    name = max(found, key=lambda one: found[one].exit_speed.value)
    source = "the launcher model corrected by shots" if known.lessons else "the launcher model"
    return found[name].exit_speed, f'{source}, "{name}"'


def usual_session() -> Session:
    """Return a planned session of which nothing is stated."""
    release = ReleaseEntry(height_m=HEIGHT_M, height_known=False)
    ball, air, camera = BallEntry(), Weather(), CameraEntry()
    return Session(Path(), "", None, "", ball, air, release, camera, (), (), ())
