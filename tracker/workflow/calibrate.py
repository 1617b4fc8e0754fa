"""The calibration of every clip of a session, reported and drawn."""

from dataclasses import dataclass
from pathlib import Path

from calibration.errors import InputError, InputErrors
from calibration.site import Calibration
from tracker.report.calibration_picture import calibration_picture
from tracker.results import folder_of
from tracker.results.files import put_in_place
from tracker.session import ClipEntry, Session, read_session
from tracker.video import first_picture
from tracker.workflow.ball_and_air import ground_under
from tracker.workflow.inputs import inspected, picture_names
from tracker.workflow.stand import calibrate


@dataclass(frozen=True)
class CalibratedClip:
    """The camera of one clip.

    Attributes
    ----------
    clip : ClipEntry
    calibration : Calibration
    not_picked : tuple of str
        Names of markers that have no pixel yet.
    notes : tuple of str
        Sentences that a person should read.
    picture : Path
    """

    clip: ClipEntry
    calibration: Calibration
    not_picked: tuple[str, ...]
    notes: tuple[str, ...]
    picture: Path


def calibrate_session(folder: Path) -> tuple[Session, tuple[CalibratedClip, ...]]:
    """Calibrate the camera of every clip and draw each into the session's results.

    Other results stay as they are.

    Parameters
    ----------
    folder : Path
        The session's folder.

    Raises
    ------
    InputError
        With every fault of the session file, or of every clip, at once; then nothing is written.
    """
    session = read_session(folder)
    names = picture_names(session.clips)
    found: list[CalibratedClip] = []
    drawn: dict[str, bytes] = {}
    faults: list[InputError] = []
    results = folder_of(session.folder)
    for clip in session.clips:
        try:
            facts = inspected(session, clip)
            calibration = calibrate(session, clip, facts.size_px)
        except InputError as error:
            faults.extend(error.parts)
            continue
        if faults:
            continue
        name = f"{names[clip.file]}-calibration.jpg"
        drawn[name] = calibration_picture(
            calibration, first_picture(facts), clip.file, ground_under(clip.markers)
        )
        unpicked = tuple(entry.name for entry in clip.markers if entry.pixel is None)
        found.append(CalibratedClip(clip, calibration, unpicked, calibration.notes, results / name))
    if faults:
        raise InputErrors(faults)
    put_in_place(results, drawn)
    return session, tuple(found)
