"""Sessions of the logbook with their results, setup by setup."""

from dataclasses import fields
from pathlib import Path

from calibration.errors import InputError, InputErrors
from tracker.logbook import Filter, LoggedSession, open_logbook
from tracker.results.rows import Provenance
from tracker.session import Session, SetupEntry
from tracker.session.entries import (
    AirEntry,
    BallEntry,
    CameraEntry,
    ClipEntry,
    MarkerEntry,
    ReleaseEntry,
)
from tracker.workflow.outings import Outing, Outings, assembled


def gather_logged(url: str | None, wanted: Filter, machines_needed: bool = False) -> Outings:
    """Read the logged sessions that fit a filter, with the setups that fit it.

    Parameters
    ----------
    url : str or None
        Which logbook.
    wanted : Filter
    machines_needed : bool
        As for `gather`.

    Raises
    ------
    InputError
        Where no session fits, or a setup's tables say too little.
    """
    with open_logbook(url) as book:
        logged = book.sessions(wanted)
    if not logged:
        raise InputError(
            "no session of the logbook fits",
            where="--from-log",
            remedy="lobmeter log list shows what there is",
        )
    faults: list[InputError] = []
    outings = [
        Outing(
            session_of(each),
            each.folder if each.filmed_on is None else f"{each.folder} ({each.filmed_on})",
            each.shots,
            Provenance(each.shared_u),
        )
        for each in logged
    ]
    setups, notes = assembled(outings, machines_needed, faults)
    if faults:
        raise InputErrors(faults)
    return Outings(tuple(each.session for each in outings), setups, notes)


def session_of(logged: LoggedSession) -> Session:
    """Return what a logged session says of ball, air, release, setups and clips."""
    given = logged.conditions
    markers = (MarkerEntry("own", (0.0, 0.0, 0.0)),)
    folder = Path(logged.folder)
    return Session(
        folder=folder,
        name=logged.name,
        date=logged.filmed_on,
        notes=logged.notes,
        ball=BallEntry(*(given[f"ball_{each.name}"] for each in fields(BallEntry))),  # type: ignore[arg-type]
        air=AirEntry(*(given[each.name] for each in fields(AirEntry))),  # type: ignore[arg-type]
        release=ReleaseEntry(
            height_m=given["release_height_m"],  # type: ignore[arg-type]
            angle_deg=given["release_angle_deg"],  # type: ignore[arg-type]
        ),
        camera=CameraEntry(),
        markers=(),
        setups=tuple(SetupEntry(each.name, each.parts) for each in logged.setups),
        clips=tuple(
            ClipEntry(each.file, folder / each.file, "", markers if each.own_markers else ())
            for each in logged.clips
        ),
    )
