"""Measured sessions entered into the logbook."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from calibration.errors import InputError, InputErrors, typed
from tracker.logbook import Added, LoggedClip, LoggedSession, LoggedSetup
from tracker.logbook.logbook import open_logbook
from tracker.results import read_provenance, read_shots
from tracker.session import Session
from tracker.workflow.ball_and_air import ground_under
from tracker.workflow.inputs import read_all, results_of


@dataclass(frozen=True)
class Entered:
    """What adding one session did."""

    name: str
    folder: Path
    done: Added
    shots: int


def add_sessions(places: Iterable[Path], url: str | None = None) -> tuple[Entered, ...]:
    """Add measured sessions to the logbook; none of them where one cannot be read.

    Parameters
    ----------
    places : iterable of Path
        Session folders, or bare video files that were measured.
    url : str, optional
        Which logbook.

    Raises
    ------
    InputErrors
        With every fault of every session.
    """
    listed = [place.absolute() for place in places]
    entries: list[LoggedSession] = []
    faults: list[InputError] = []
    for place, session in zip(listed, read_all(listed), strict=True):
        try:
            entries.append(entry_of(session, place))
        except InputError as error:
            faults.extend(error.errors if isinstance(error, InputErrors) else [error])
    if faults:
        raise InputErrors(faults)
    with open_logbook(url) as book:
        return tuple(
            Entered(entry.name, place, book.add(entry), len(entry.shots))
            for place, entry in zip(listed, entries, strict=True)
        )


def enter(session: Session, url: str | None = None) -> Entered:
    """Add one measured session to the logbook.

    Raises
    ------
    InputError
        Where it was not measured, or the logbook does not take it.
    """
    entry = entry_of(session, session.folder)
    with open_logbook(url) as book:
        return Entered(entry.name, session.folder, book.add(entry), len(entry.shots))


def entry_of(session: Session, place: Path) -> LoggedSession:
    """Return what the logbook keeps of a session that was measured.

    Raises
    ------
    InputError
        Where it has no results, or they lack what made them.
    """
    folder = results_of(session)
    made = read_provenance(folder / "shots.json")
    digests = {clip.file: made.inputs.get(clip.file, "") for clip in session.clips}
    try:
        shots = read_shots(folder / "shots.csv")
    except FileNotFoundError:
        shots = None
    if shots is None or not all(digests.values()):
        raise InputError(
            "has no results, or none of all its clips",
            where=str(place),
            remedy=f"measure it first: lobmeter measure {typed(place)}",
        )
    named = {setup.name for setup in session.setups}
    return LoggedSession(
        name=session.name,
        folder=str(session.folder),
        notes=session.notes,
        lobmeter_version=made.version or "unknown",
        filmed_on=session.date,
        conditions=_conditions(session) | ({"ball_type": made.ball} if made.ball else {}),
        setups=tuple(LoggedSetup(setup.name, setup.parts) for setup in session.setups),
        clips=tuple(
            LoggedClip(clip.file, digests[clip.file], clip.markers != session.markers)
            for clip in session.clips
        ),
        shots=tuple(row for row in shots if row.setup in named and row.clip in digests),
        shared_u=made.shared,
    )


def _conditions(session: Session) -> dict[str, float | str | None]:
    ball, air, release = session.ball, session.air, session.release
    ground = ground_under(session.markers)
    return {
        "ball_type": ball.type,
        "ball_mass_g": ball.mass_g,
        "ball_diameter_mm": ball.diameter_mm,
        "ball_drag_coefficient": ball.drag_coefficient,
        "temperature_c": air.temperature_c,
        "pressure_hpa": air.pressure_hpa,
        "altitude_m": air.altitude_m,
        "humidity_percent": air.humidity_percent,
        "wind_along_mps": air.wind_along_mps,
        "wind_across_mps": air.wind_across_mps,
        "wind_u_mps": air.wind_u_mps,
        "release_height_m": release.height_m,
        "release_angle_deg": release.angle_deg,
        "ground_rise_along_percent": 100.0 * ground.rise_along,
        "ground_rise_across_percent": 100.0 * ground.rise_across,
    }
