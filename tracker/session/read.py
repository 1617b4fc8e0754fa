"""Reading ``session.toml``: every field checked, every fault reported at once."""

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from calibration.errors import InputError, meant, typed
from tracker.flight.air import Weather
from tracker.session.checks import check_session, has_markers
from tracker.session.document import Document, Faults, parse_document, read_document
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
from tracker.session.lines import Place
from tracker.session.schema import MarkerSchema, SessionSchema, session_schema
from tracker.session.validate import validated

SESSION_FILE = "session.toml"

USUAL_RELEASE_M = 1.0
"""Height of a release that nobody measured, m. Common practice, no source."""


def read_session(folder: Path, filmed: bool = True) -> Session:
    """Read and check a session.

    Parameters
    ----------
    folder : Path
        The session's folder, or the ``session.toml`` in it.
    filmed : bool
        Whether its clips must be there; false for a session that is only being planned.

    Returns
    -------
    Session

    Raises
    ------
    InputError
        Where the file is missing or is not TOML.
    InputErrors
        With every field that is not as docs/formats.md has it.
    """
    folder = Path(folder)
    if folder.name == SESSION_FILE and folder.is_file():
        folder = folder.parent
    _refuse_missing(folder)
    return _checked(read_document(folder / SESSION_FILE), folder, filmed)


def parse_session(text: str, folder: Path, filmed: bool = True) -> Session:
    """Return the session that a text would be as ``session.toml`` of a folder.

    Raises
    ------
    InputErrors
        As `read_session`.
    """
    return _checked(parse_document(text, SESSION_FILE), folder, filmed)


def _checked(document: Document, folder: Path, filmed: bool) -> Session:
    """Return the session of a document that was read."""
    faults = Faults(document)
    written = validated(session_schema(), document, faults)
    check_session(document.values, folder, filmed, faults)
    faults.raise_any()
    assert written is not None
    return _session(written, document, folder)


def _refuse_missing(folder: Path) -> None:
    where, remedy = str(folder), f"give the folder that holds {SESSION_FILE}"
    if not folder.exists():
        # What ends as files do was meant as one: a clip is measured without a session, too.
        kind = "file or folder" if folder.suffix else "folder"
        either = f"{remedy}, or a clip" if folder.suffix else remedy
        raise InputError(f"there is no such {kind}", where=where, remedy=meant(folder, either))
    if not folder.is_dir():
        raise InputError(
            "is not a folder",
            where=where,
            remedy=f"{remedy}; a clip without one is measured by lobmeter measure {typed(folder)}",
        )
    if (folder / SESSION_FILE).is_file():
        return
    if (folder / "shots.csv").is_file():
        raise InputError(
            "is a folder of results",
            where=where,
            remedy="give the session's folder, or the clip, that they were made from",
        )
    raise InputError(
        f"the folder holds no {SESSION_FILE}",
        where=where,
        remedy=f"point at another folder, or begin one: lobmeter new {typed(folder)} CLIP, or the "
        "page that lobmeter open shows",
    )


def _session(written: SessionSchema, document: Document, folder: Path) -> Session:
    """Return the entries of a session without faults, what was left out by its default."""
    markers = tuple(_markers(written.marker, (), ("marker",), document))
    ball = {name: value for name, value in written.ball.given().items() if value != ""}
    return Session(
        folder=folder,
        name=written.name or folder.resolve().name,
        date=written.date,
        notes=written.notes or "",
        ball=BallEntry(**ball),
        air=Weather(**written.air.given()),
        release=_release(written.release.given(), has_markers(document.values)),
        camera=_camera(written.camera.given(), folder),
        planned=PlannedEntry(**written.planned.given()),
        markers=markers,
        setups=tuple(SetupEntry(setup.name, setup.parts()) for setup in written.setup),
        clips=tuple(
            ClipEntry(
                clip.file,
                folder / clip.file,
                clip.setup,
                tuple(_markers(clip.marker, markers, ("clip", index, "marker"), document))
                or markers,
            )
            for index, clip in enumerate(written.clip)
        ),
    )


def _release(given: dict[str, Any], needed: bool) -> ReleaseEntry:
    known = needed or "height_m" in given
    return ReleaseEntry(**{"height_m": USUAL_RELEASE_M, **given}, height_known=known)


def _camera(given: dict[str, Any], folder: Path) -> CameraEntry:
    if "lens" in given:
        given = {**given, "lens": folder / given["lens"]}
    return CameraEntry(**given)


def _markers(
    written: Sequence[MarkerSchema],
    known: Iterable[MarkerEntry],
    place: Place,
    document: Document,
) -> list[MarkerEntry]:
    """Return markers; one with the name of a known one takes from it what was left out."""
    by_name = {marker.name: marker for marker in known}
    found = []
    for index, marker in enumerate(written):
        given = marker.given()
        same = by_name.get(marker.name)
        if same is not None:
            given = {"ground_m": same.ground_m, "u_m": same.u_m, **given}
        found.append(MarkerEntry(**given, where=document.table((*place, index))))
    return found
