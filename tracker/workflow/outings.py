"""Several sessions with their results, setup by setup."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from calibration.errors import InputError, InputErrors
from tracker.comparison.built import Built, Setup, joined, release_of
from tracker.comparison.setups import SetupShots
from tracker.launcher.machine import Machine
from tracker.launcher.prediction import Outdoors
from tracker.launcher.setup import machine_from_setup
from tracker.records import Shot
from tracker.results import folder_of
from tracker.results.digests import sha256_of
from tracker.results.rows import read_provenance, read_shots
from tracker.session import SESSION_FILE, Session, SetupEntry
from tracker.workflow.inputs import read_all
from tracker.workflow.stand import air_of, ball_of


@dataclass(frozen=True)
class Outings:
    """Several sessions together.

    Attributes
    ----------
    sessions : tuple of Session
    setups : tuple of Setup
        In the order in which they come first.
    notes : tuple of str
        Sentences that a person should read.
    """

    sessions: tuple[Session, ...]
    setups: tuple[Setup, ...]
    notes: tuple[str, ...]


def gather(folders: Sequence[Path], machines_needed: bool = False) -> Outings:
    """Read sessions and their results.

    Parameters
    ----------
    folders : sequence of Path
    machines_needed : bool
        True when a setup whose tables say too little is a fault, not a note.

    Raises
    ------
    InputErrors
        With every fault of every file.
    """
    sessions = read_all(folders)
    faults: list[InputError] = []
    notes: list[str] = []
    found: list[Built] = []
    for session, folder in zip(sessions, folders, strict=True):
        try:
            rows = _rows(session, folder, notes)
        except InputError as error:
            faults.extend(_each(error))
            continue
        for entry in session.setups:
            try:
                machine = _machine(session, folder, entry)
            except InputError as error:
                machine = None
                if machines_needed:
                    faults.extend(_each(error))
                elif entry.parts:
                    notes.append(f'No prediction for "{entry.name}": {error.sentences()[0]}')
            setup = _setup(session, folder, entry.name, rows, machine)
            found.append(Built(setup, entry.parts, str(folder)))
    if faults:
        raise InputErrors(faults)
    setups, renamed = joined(found)
    return Outings(tuple(sessions), setups, (*notes, *renamed))


def _rows(session: Session, folder: Path, notes: list[str]) -> list[Shot]:
    """Return the measured rows of a session, and note what is odd about them."""
    try:
        rows = read_shots(_results(session) / "shots.csv")
    except FileNotFoundError:
        notes.append(f"{folder} has no results yet: lobmeter measure {folder}")
        return []
    digest = read_provenance(_results(session) / "shots.json").inputs.get(SESSION_FILE)
    if rows and digest not in (None, sha256_of(session.folder / SESSION_FILE)):
        notes.append(
            f"{folder}: {SESSION_FILE} was edited after these results were made; if more than "
            "the launcher's tables changed, measure the session again."
        )
    strangers = sorted({row.setup for row in rows} - {entry.name for entry in session.setups})
    if strangers:
        listed = ", ".join(f'"{name}"' for name in strangers)
        notes.append(
            f"{folder}: results of {listed}, which {SESSION_FILE} no longer names, are left "
            f"out; measure the session again."
        )
    return rows


def _results(session: Session) -> Path:
    return folder_of(session.folder, session.name if session.bare else None)


def _machine(session: Session, folder: Path, entry: SetupEntry) -> Machine:
    where = f'{folder / SESSION_FILE}, [[setup]] "{entry.name}"'
    return machine_from_setup(entry.parts, where, ball_of(session).diameter_m)


def _setup(
    session: Session, folder: Path, name: str, rows: Sequence[Shot], machine: Machine | None
) -> Setup:
    mine = tuple(row for row in rows if row.setup == name)
    provenance = read_provenance(_results(session) / "shots.json")
    # A clip with markers of its own was filmed from a camera of its own.
    own = {clip.file for clip in session.clips if clip.markers != session.markers}
    occasions = tuple(f"{folder}/{row.clip}" if row.clip in own else str(folder) for row in mine)
    shared = tuple(provenance.shared_of(row) for row in mine)
    release = release_of(session.release.height_m, session.release.angle_deg, mine)
    outdoors = Outdoors(ball_of(session), air_of(session), release)
    return Setup(SetupShots(name, mine, occasions, shared), machine, outdoors)


def _each(error: InputError) -> list[InputError]:
    return list(error.errors) if isinstance(error, InputErrors) else [error]
