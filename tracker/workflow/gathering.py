"""Several sessions read from their folders with their results, setup by setup."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from calibration.errors import InputError, InputErrors, typed
from tracker.comparison.built import Built, Setup, joined, release_of
from tracker.comparison.labels import Filmed, session_labels
from tracker.comparison.setups import SetupShots
from tracker.launcher.machine import Machine
from tracker.launcher.prediction import Outdoors
from tracker.launcher.setup import machine_from_setup
from tracker.records import Shot
from tracker.results.digests import sha256_of
from tracker.results.rows import Provenance, read_provenance, read_shots
from tracker.session import SESSION_FILE, Session, SetupEntry
from tracker.workflow.ball_and_air import air_of, ball_of, ground_under
from tracker.workflow.inputs import read_all, results_of
from tracker.workflow.outings import Outings


@dataclass(frozen=True)
class Outing:
    """One session with what was measured in it.

    Attributes
    ----------
    session : Session
    label : str
        Its folder, which keeps its shots apart from those of other outings.
    rows : sequence of Shot
    provenance : Provenance
        With the shared parts of the uncertainties.
    """

    session: Session
    label: str
    rows: Sequence[Shot]
    provenance: Provenance


EDITED = f"{SESSION_FILE} was edited after these results were made"
"""In the note on it; the page has a notice of its own, with a button."""


def gather(folders: Sequence[Path], machines_needed: bool = False, filmed: bool = True) -> Outings:
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
    sessions = read_all(folders, filmed=filmed)
    faults: list[InputError] = []
    notes: list[str] = []
    outings: list[Outing] = []
    for session, folder in zip(sessions, folders, strict=True):
        provenance = read_provenance(results_of(session) / "shots.json")
        try:
            rows = _rows(session, folder, provenance, notes)
        except InputError as error:
            faults.extend(_each(error))
            continue
        outings.append(Outing(session, str(folder), rows, provenance))
    setups, more = assembled(outings, machines_needed, faults)
    if faults:
        raise InputErrors(faults)
    return Outings(tuple(sessions), setups, (*notes, *more))


def assembled(
    outings: Iterable[Outing], machines_needed: bool, faults: list[InputError]
) -> tuple[tuple[Setup, ...], tuple[str, ...]]:
    """Return the setups of all outings and notes on them; faults are gathered."""
    notes: list[str] = []
    found: list[Built] = []
    listed = list(outings)
    names = [Filmed(one.session.name, one.session.date, one.label) for one in listed]
    for outing, called in zip(listed, session_labels(names), strict=True):
        for entry in outing.session.setups:
            machine = None
            try:
                machine = _machine(outing, entry)
            except InputError as error:
                if machines_needed:
                    faults.extend(_each(error))
                elif entry.parts:
                    notes.append(f'No prediction for "{entry.name}": {error.sentences()[0]}')
            found.append(Built(_setup(outing, entry.name, machine), entry.parts, called))
    setups, renamed = joined(found)
    return setups, (*notes, *renamed)


def _rows(session: Session, folder: Path, provenance: Provenance, notes: list[str]) -> list[Shot]:
    """Return the measured rows of a session, and note what is odd about them."""
    try:
        rows = read_shots(results_of(session) / "shots.csv")
    except FileNotFoundError:
        if session.clips:
            notes.append(f"{folder} has no results yet: lobmeter measure {typed(folder)}")
        return []
    digest = provenance.inputs.get(SESSION_FILE)
    written = session.folder / SESSION_FILE
    if rows and not session.bare and digest not in (None, sha256_of(written)):
        notes.append(
            f"{folder}: {EDITED}; if more than the launcher's tables changed, measure the session "
            "again."
        )
    strangers = sorted({row.setup for row in rows} - {entry.name for entry in session.setups})
    if strangers:
        listed = ", ".join(f'"{name}"' for name in strangers)
        notes.append(
            f"{folder}: results of {listed}, which {SESSION_FILE} no longer names, are left "
            f"out; measure the session again."
        )
    return rows


def _machine(outing: Outing, entry: SetupEntry) -> Machine:
    where = f'{Path(outing.label) / SESSION_FILE}, [[setup]] "{entry.name}"'
    return machine_from_setup(entry.parts, where, ball_of(outing.session).diameter_m)


def _setup(outing: Outing, name: str, machine: Machine | None) -> Setup:
    session, label = outing.session, outing.label
    mine = tuple(row for row in outing.rows if row.setup == name)
    # A clip with markers of its own was filmed from a camera of its own.
    own = {clip.file for clip in session.clips if clip.markers != session.markers}
    occasions = tuple(f"{label}/{row.clip}" if row.clip in own else label for row in mine)
    shared = tuple(outing.provenance.shared_of(row) for row in mine)
    given = session.release
    release = release_of(given.height_m, given.angle_deg, mine, ground_under(session.markers))
    outdoors = Outdoors(ball_of(session), air_of(session), release)
    evenings = (label,) * len(mine)
    shots = SetupShots(name, mine, occasions, shared, evenings)
    return Setup(shots, machine, outdoors, {label: outdoors})


def _each(error: InputError) -> list[InputError]:
    return list(error.errors) if isinstance(error, InputErrors) else [error]
