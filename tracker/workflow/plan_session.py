"""A planned session: its field written down before filming."""

from collections.abc import Sequence
from pathlib import Path

from calibration.errors import InputError
from tracker.results import put_in_place
from tracker.session import (
    SESSION_FILE,
    Draft,
    FieldChange,
    MarkerEntry,
    Session,
    draft_toml,
    parse_session,
    revised,
)
from tracker.vantage import Triple
from tracker.workflow.incoming import free_name, safe_name
from tracker.workflow.planned import usual_session

LENS_FILE = "lens.toml"

ENDING = ".plan"
"""Put behind a name while it is made one that every system takes."""

USUAL_M = usual_session().release.height_m
"""Height of release with which a plan of which nothing is known was judged, m."""


def is_planned(session: Session) -> bool:
    """Return whether a session is not filmed yet: no clip is there, and no marker is picked."""
    picked = any(marker.pixel is not None for marker in session.markers)
    return not picked and not any(clip.path.is_file() for clip in session.clips)


def field_changes(
    session: Session | None, position_m: Triple, markers: Sequence[MarkerEntry]
) -> list[FieldChange]:
    """Return the changes of ``session.toml`` that write a planned field down.

    Parameters
    ----------
    session : Session or None
        As the file has it; None for an empty file.
    position_m : tuple of float
        Along, across, up of the camera; centimetres are kept.
    markers : sequence of MarkerEntry
    """
    found = [FieldChange(("camera", "position_m"), [round(value, 2) for value in position_m])]
    if session is None or not session.release.height_known:
        # Markers need a height of release; the plan is judged with this one.
        height = USUAL_M if session is None else session.release.height_m
        found.insert(0, FieldChange(("release", "height_m"), height))
    before = [] if session is None else list(session.markers)
    names = {marker.name for marker in markers}
    for number in reversed(range(len(before))):
        # Its own table goes: the others keep what else is stated of them.
        if before[number].name not in names:
            found.append(FieldChange(("marker", number), None))
            del before[number]
    numbers = {marker.name: number for number, marker in enumerate(before)}
    for marker in markers:
        place = [round(value, 2) for value in marker.ground_m]
        number = numbers.setdefault(marker.name, len(numbers))
        if number >= len(before):
            found.append(FieldChange(("marker", number), {"name": marker.name, "ground_m": place}))
        elif before[number].ground_m != tuple(place):
            found.append(FieldChange(("marker", number, "ground_m"), place))
    return found


def save_plan(
    home: Path,
    name: str,
    source: Session | None,
    position_m: Triple,
    markers: Sequence[MarkerEntry],
) -> Path:
    """Write a planned session into a new folder; return the folder.

    Parameters
    ----------
    home : Path
        The folder of all sessions.
    name : str
    source : Session or None
        A session whose ball, launcher and camera are taken over, without its clips and picks.
    position_m : tuple of float
    markers : sequence of MarkerEntry

    Raises
    ------
    InputError
        Where the name is empty, or a value cannot be.
    """
    if not name.strip():
        raise InputError("is empty", where="the plan's name", remedy="give it one")
    if source is None:
        text = draft_toml(Draft(name.strip(), clips=()))
    else:
        text = revised(_without_film(source), [FieldChange(("name",), name.strip())])
    written = None if source is None else parse_session(text, source.folder, filmed=False)
    text = revised(text, field_changes(written, position_m, markers))
    parse_session(text, home if source is None else source.folder, filmed=False)
    files = {}
    if source is not None and source.camera.lens is not None:
        text = revised(text, [FieldChange(("camera", "lens"), LENS_FILE)])
        files[LENS_FILE] = source.camera.lens.read_bytes()
    folder = free_name(home / safe_name(f"{name.strip()}{ENDING}").removesuffix(ENDING))
    put_in_place(folder, {**files, SESSION_FILE: text.encode("utf-8")})
    return folder


def _without_film(source: Session) -> str:
    """Return the text of a session without its clips, its picks and its day."""
    text = (source.folder / SESSION_FILE).read_bytes().decode("utf-8-sig")
    gone = [FieldChange(("clip",), None), FieldChange(("date",), None)]
    for number, marker in enumerate(source.markers):
        if marker.pixel is not None:
            gone.append(FieldChange(("marker", number, "pixel"), None))
        gone.append(FieldChange(("marker", number, "pixel_u"), None))
    return revised(text, gone)
