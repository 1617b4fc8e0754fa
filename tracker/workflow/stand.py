"""From a session's entries to the camera that filmed a clip."""

from typing import TYPE_CHECKING

from calibration.camera import Camera
from calibration.errors import CameraField, InputError, InputErrors, MarkerField, Undetermined
from calibration.markers import Marker, point
from calibration.site import Calibration, Site, solve
from tracker.flight.gravity import STANDARD_GRAVITY, STANDARD_GRAVITY_U
from tracker.session import SESSION_FILE, ClipEntry, MarkerEntry, Session, read_lens
from tracker.workflow.ball_and_air import air_of, ball_of, ground_under

if TYPE_CHECKING:
    from tracker.measurement.request import ClipRequest

MARKERS = f"{SESSION_FILE}, [[marker]]"


def site_of(session: Session, clip: ClipEntry, size_px: tuple[int, int]) -> Site:
    """Return everything that the session says of the camera that filmed a clip.

    Parameters
    ----------
    session : Session
    clip : ClipEntry
    size_px : tuple of int
        Width and height of the clip's frames as shown.
    """
    camera = session.camera
    position = camera.position_m
    return Site(
        size_px=size_px,
        markers=tuple(_marker(entry) for entry in clip.markers),
        position_m=None if position is None else point(position),
        position_u_m=camera.position_u_m,
        field_of_view_deg=camera.field_of_view_deg,
        field_of_view_u_deg=camera.field_of_view_u_deg,
        lens=None if camera.lens is None else read_lens(camera.lens),
        level_u_deg=camera.level_u_deg if camera.level else None,
    )


def calibrate(session: Session, clip: ClipEntry, size_px: tuple[int, int]) -> Calibration:
    """Return the calibrated camera of a clip.

    Raises
    ------
    InputErrors
        Each fault with the file and the table where it stands.
    """
    try:
        return solve(site_of(session, clip, size_px))
    except InputError as error:
        raise InputErrors(_located(fault, clip) for fault in error.parts) from None


def leaves_gravity(clip: ClipEntry, faults: InputErrors) -> bool:
    """Return whether a calibration fails only because too little was measured.

    A marker that is not picked yet is a fault all the same: with it the camera may be determined.
    """
    picked = all(entry.pixel is not None for entry in clip.markers)
    return picked and all(isinstance(fault, Undetermined) for fault in faults.errors)


def calibrate_if_fixed(
    session: Session, clip: ClipEntry, size_px: tuple[int, int]
) -> Calibration | None:
    """Return the calibrated camera of a clip, None where too little was measured.

    Raises
    ------
    InputErrors
        Each fault with the file and the table where it stands; also where something is wrong and
        several mistakes explain it.
    """
    try:
        calibration = calibrate(session, clip, size_px)
    except InputErrors as faults:
        if leaves_gravity(clip, faults):
            return None
        raise
    refuse_competing(clip, calibration)
    return calibration


def refuse_competing(clip: ClipEntry, calibration: Calibration) -> None:
    """Raise `InputErrors` where something is wrong and several mistakes explain it."""
    if calibration.competing:
        remedy = "look at these, and pick one more marker"
        raise InputErrors([_located(InputError(calibration.competing, remedy=remedy), clip)])


def request_of(session: Session, clip: ClipEntry) -> "ClipRequest":
    """Return what is known about a clip besides its pixels and its camera."""
    # Only what measures needs the fit, which takes a while to import.
    from tracker.measurement.request import ClipRequest

    release = session.release
    return ClipRequest(
        clip=clip.file,
        setup=clip.setup,
        ball=ball_of(session),
        air=air_of(session),
        gravity_mps2=STANDARD_GRAVITY,
        gravity_u_mps2=STANDARD_GRAVITY_U,
        release_m=point((release.along_m, release.across_m, release.height_m)),
        release_u_m=release.u_m,
        readout_s=session.camera.readout_s,
        ground=ground_under(clip.markers),
    )


def marker_pixels(clip: ClipEntry, camera: Camera) -> tuple[tuple[str, tuple[float, float]], ...]:
    """Return each marker's name and where the camera sees its taped place."""
    pixels = camera.project([entry.ground_m for entry in clip.markers])
    return tuple(
        (entry.name, (float(column), float(row)))
        for entry, (column, row) in zip(clip.markers, pixels, strict=True)
    )


def _marker(entry: MarkerEntry) -> Marker:
    return Marker(
        name=entry.name,
        ground_m=point(entry.ground_m),
        u_m=entry.u_m,
        pixel=None if entry.pixel is None else point(entry.pixel),
        pixel_u=entry.pixel_u,
    )


def _located(fault: InputError, clip: ClipEntry) -> InputError:
    """Return a fault of the calibration with the table of `session.toml` that causes it."""
    match fault.place:
        case CameraField(field):
            return fault.at(f"{SESSION_FILE}, [camera]" + (f", {field}" if field else ""))
        case MarkerField(name):
            table = next((entry.where for entry in clip.markers if entry.name == name), "")
            return fault.at(f"{table or MARKERS}, for {clip.file}")
    return fault if fault.where else fault.at(f"{MARKERS}, for {clip.file}")
