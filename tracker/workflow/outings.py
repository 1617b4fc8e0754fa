"""Sessions with what was measured in them, brought together setup by setup."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from calibration.errors import InputError, InputErrors
from tracker.comparison.setups import SetupShots
from tracker.launcher.carry import Release
from tracker.launcher.machine import Machine
from tracker.launcher.prediction import Outdoors
from tracker.launcher.setup import machine_from_setup
from tracker.records import Quality, Shot
from tracker.results import RESULTS
from tracker.results.digests import sha256_of
from tracker.results.rows import Provenance, read_provenance, read_shots
from tracker.session import SESSION_FILE, Session, SetupEntry
from tracker.workflow.inputs import read_all
from tracker.workflow.stand import air_of, ball_of


@dataclass(frozen=True)
class Setup:
    """One way the launcher was built, with its shots from every outing.

    Attributes
    ----------
    shots : SetupShots
        Its name, its shots, and the outing of each.
    machine : Machine or None
        None where its tables do not say enough.
    outdoors : Outdoors
        Ball, air and release of the outing in which it came first.
    """

    shots: SetupShots
    machine: Machine | None
    outdoors: Outdoors

    @property
    def name(self) -> str:
        """Its name."""
        return self.shots.name


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
    known: dict[str, tuple[SetupEntry, Setup]] = {}
    for session, folder in zip(sessions, folders, strict=True):
        provenance = read_provenance(session.folder / RESULTS / "shots.json")
        try:
            rows = read_shots(session.folder / RESULTS / "shots.csv")
        except FileNotFoundError:
            rows = []
            notes.append(f"{folder} has no results yet: lobmeter measure {folder}")
        except InputError as error:
            faults.extend(_each(error))
            continue
        digest = provenance.inputs.get(SESSION_FILE)
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
        for entry in session.setups:
            try:
                setup = _setup(session, folder, entry, (rows, provenance), machines_needed, notes)
            except InputError as error:
                faults.extend(_each(error))
                continue
            _add(known, entry, setup, folder, notes)
    if faults:
        raise InputErrors(faults)
    return Outings(tuple(sessions), tuple(setup for _, setup in known.values()), tuple(notes))


def _setup(
    session: Session,
    folder: Path,
    entry: SetupEntry,
    results: tuple[Sequence[Shot], Provenance],
    machines_needed: bool,
    notes: list[str],
) -> Setup:
    ball = ball_of(session)
    rows, provenance = results
    mine = tuple(row for row in rows if row.setup == entry.name)
    machine = None
    where = f'{folder / SESSION_FILE}, [[setup]] "{entry.name}"'
    try:
        machine = machine_from_setup(entry.parts, where, ball.diameter_m)
    except InputError as error:
        if machines_needed:
            raise
        if entry.parts:
            notes.append(f'No prediction for "{entry.name}": {error.sentences()[0]}')
    release = None
    angle = _angle(session, mine)
    if angle is not None:
        release = Release(session.release.height_m, *angle)
    # A clip with markers of its own was filmed from a camera of its own.
    own = {clip.file for clip in session.clips if clip.markers != session.markers}
    occasions = tuple(f"{folder}/{row.clip}" if row.clip in own else str(folder) for row in mine)
    return Setup(
        SetupShots(entry.name, mine, occasions, tuple(provenance.shared_of(row) for row in mine)),
        machine,
        Outdoors(ball, air_of(session), release),
    )


def _angle(session: Session, rows: Iterable[Shot]) -> tuple[float, float] | None:
    """Return the launch angle and its standard uncertainty: as set, else as measured."""
    if session.release.angle_deg is not None:
        return session.release.angle_deg, 1.0
    measured = [
        (row.launch_angle_deg, row.launch_angle_u_deg or 1.0)
        for row in rows
        if row.launch_angle_deg is not None and row.quality is not Quality.REJECTED
    ]
    if not measured:
        return None
    return (
        sum(angle for angle, _ in measured) / len(measured),
        sum(u for _, u in measured) / len(measured),
    )


def _add(
    known: dict[str, tuple[SetupEntry, Setup]],
    entry: SetupEntry,
    setup: Setup,
    folder: Path,
    notes: list[str],
) -> None:
    """Add a setup, its shots to those of the same setup of an earlier outing."""
    name = entry.name
    if name in known and _same(known[name][0].parts, entry.parts):
        first, earlier = known[name]
        shots = SetupShots(
            name,
            earlier.shots.shots + setup.shots.shots,
            earlier.shots.occasions + setup.shots.occasions,
            earlier.shots.shared + setup.shots.shared,
        )
        known[name] = (first, Setup(shots, earlier.machine, earlier.outdoors))
        return
    if name in known:
        other = f"{name} ({folder})"
        notes.append(
            f'"{name}" is built differently in {folder}; there it is called "{other}" here.'
        )
        renamed = replace(setup.shots, name=other)
        known[other] = (entry, Setup(renamed, setup.machine, setup.outdoors))
        return
    known[name] = (entry, setup)


def _same(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    return {k: dict(v) for k, v in one.items()} == {k: dict(v) for k, v in other.items()}


def _each(error: InputError) -> list[InputError]:
    return list(error.errors) if isinstance(error, InputErrors) else [error]
