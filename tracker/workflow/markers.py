"""Proposed pixels for the markers of every clip of a session, and their pictures."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from calibration.camera import Camera
from calibration.errors import InputError, InputErrors, Undetermined
from calibration.markers import Look, Proposal, find_markers
from calibration.site import Calibration
from calibration.site.presumed import expected_camera, loosened
from tracker.report.markers_picture import markers_picture
from tracker.results import folder_of
from tracker.results.files import put_in_place
from tracker.session import SESSION_FILE, ClipEntry, MarkerEntry, Session, read_session
from tracker.video import first_picture
from tracker.workflow.inputs import inspected, picture_names
from tracker.workflow.stand import calibrate, site_of

TAG = re.compile(r"\btag\s*(\d{1,6})\b", re.IGNORECASE)


@dataclass(frozen=True)
class MarkedClip:
    """What was proposed for one clip.

    Attributes
    ----------
    clip : ClipEntry
    calibration : Calibration or None
        From what had been picked before; None where that was too little.
    proposals : tuple of Proposal
        In the order of the clip's markers, those that were not found left out.
    picture : Path
    """

    clip: ClipEntry
    calibration: Calibration | None
    proposals: tuple[Proposal, ...]
    picture: Path


def mark_session(folder: Path, tags: bool = False) -> tuple[Session, tuple[MarkedClip, ...]]:
    """Propose pixels for the markers of every clip and draw them into the session's results.

    ``session.toml`` stays as it is.

    Parameters
    ----------
    folder : Path
        The session's folder.
    tags : bool
        Look for a printed tag where a marker's name holds one's number.

    Raises
    ------
    InputError
        With every fault of the session file or of every clip at once; then nothing is written.
    """
    session = read_session(folder)
    names = picture_names(session.clips)
    results = folder_of(session.folder)
    found: list[MarkedClip] = []
    drawn: dict[str, bytes] = {}
    faults: list[InputError] = []
    for clip in session.clips:
        try:
            numbers = tag_numbers(clip.markers) if tags else {}
            facts = inspected(session, clip)
            calibration, camera = search_camera(session, clip, facts.size_px)
            frame = first_picture(facts)
            site = site_of(session, clip, facts.size_px)
            proposals = find_markers(frame, camera, site.markers, Look(), numbers)
        except InputError as error:
            faults.extend(error.parts)
            continue
        name = f"{names[clip.file]}-markers.jpg"
        drawn[name] = markers_picture(clip.markers, proposals, frame, clip.file)
        found.append(MarkedClip(clip, calibration, proposals, results / name))
    if faults:
        raise InputErrors(faults)
    put_in_place(results, drawn)
    return session, tuple(found)


def search_camera(
    session: Session, clip: ClipEntry, size_px: tuple[int, int]
) -> tuple[Calibration | None, Camera]:
    """Return the calibration from the picks so far, and the camera to search with.

    Where nothing was picked, or too little, that is the camera expected at its taped position.

    Raises
    ------
    InputErrors
        Where neither is known, or the picks contradict each other.
    """
    try:
        calibration = calibrate(session, clip, size_px)
    except InputErrors as faults:
        expected = expected_camera(site_of(session, clip, size_px))
        if expected is None or not all(isinstance(one, Undetermined) for one in faults.parts):
            raise
        return None, expected
    return calibration, loosened(calibration.camera)


def tag_numbers(markers: Sequence[MarkerEntry]) -> dict[int, str]:
    """Return the names of the markers that carry a tag, by the tag's number.

    Raises
    ------
    InputError
        If no marker is named after a tag, or two after the same one.
    """
    numbers: dict[int, str] = {}
    for marker in markers:
        match = TAG.search(marker.name)
        if match is None:
            continue
        number = int(match[1])
        if number in numbers:
            raise InputError(
                f'names tag {number}, as "{numbers[number]}" does',
                where=marker.where,
                remedy="print each tag only once",
            )
        numbers[number] = marker.name
    if not numbers:
        raise InputError(
            "no marker is named after its tag",
            where=f"{SESSION_FILE}, [[marker]]",
            remedy='name it with the tag\'s number, for instance "tag 7", or leave out --tags',
        )
    return numbers
