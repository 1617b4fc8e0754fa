"""Setups with the machine that made their shots."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain

from calibration.ground import LEVEL, Ground
from tracker.comparison.setups import SetupShots, summarise
from tracker.launcher.carry import ANGLE_U_DEG, Release
from tracker.launcher.machine import Machine
from tracker.launcher.prediction import Outdoors
from tracker.records import Quality, Shot
from tracker.statistics.components import Estimate
from tracker.statistics.means import Sample


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
        Ball, air and release of the first outing.
    airs : mapping of str to Outdoors
        Those of every outing by its name.
    """

    shots: SetupShots
    machine: Machine | None
    outdoors: Outdoors
    airs: Mapping[str, Outdoors] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """Its name."""
        return self.shots.name

    def sample(self, quantity: str) -> Sample | None:
        """Return count, mean and scatter of a quantity, None without a shot."""
        return summarise(self.shots, quantity, remarks=False).sample

    def mean(self, quantity: str) -> Estimate | None:
        """Return the mean of a quantity, None for fewer than two shots."""
        return summarise(self.shots, quantity, remarks=False).mean


@dataclass(frozen=True)
class Built:
    """A setup of one outing with the tables that describe it.

    Attributes
    ----------
    setup : Setup
    tables : mapping
        As in session.toml.
    place : str
        What the outing is called.
    """

    setup: Setup
    tables: Mapping[str, Mapping[str, float | str]]
    place: str


def joined(outings: Sequence[Built]) -> tuple[tuple[Setup, ...], tuple[str, ...]]:
    """Return setups with their shots of all outings, and notes.

    Setups of one name and the same tables are one; those of one name that are built differently,
    or of which one outing states no build, keep apart under a name with their first outing.
    """
    known: dict[str, list[list[Built]]] = {}
    for one in outings:
        variants = known.setdefault(one.setup.name, [])
        alike = next((each for each in variants if each[0].tables == one.tables), None)
        if alike is None:
            variants.append([one])
        else:
            alike.append(one)
    setups, notes = [], []
    for name, variants in known.items():
        for place, variant in enumerate(variants):
            setup = _together([one.setup for one in variant])
            if place:
                other = f"{name} ({variant[0].place})"
                notes.append(_kept_apart(variants[0][0], variant[0], other))
                setup = replace(setup, shots=replace(setup.shots, name=other))
            setups.append(setup)
    return tuple(setups), tuple(notes)


def _kept_apart(first: Built, later: Built, called: str) -> str:
    """Return why setups of one name are two, and what the later one is called."""
    name = first.setup.name
    if first.tables and later.tables:
        return (
            f'"{name}" is built differently in {later.place}; there it is called "{called}" here.'
        )
    silent, other = (first, later) if later.tables else (later, first)
    return (
        f'{silent.place}, states no build of "{name}", so whether it is that of {other.place}, is '
        f'unknown: that of {later.place}, is kept apart as "{called}".'
    )


def _together(setups: Sequence[Setup]) -> Setup:
    """Return the first of the setups with the shots of all."""
    if len(setups) == 1:
        return setups[0]
    parts = [setup.shots for setup in setups]
    shots = SetupShots(
        setups[0].name,
        tuple(chain.from_iterable(part.shots for part in parts)),
        tuple(chain.from_iterable(part.occasions for part in parts)),
        tuple(chain.from_iterable(part.shared for part in parts)),
        tuple(chain.from_iterable(part.evenings for part in parts)),
    )
    airs = {name: outdoors for setup in setups for name, outdoors in setup.airs.items()}
    return replace(setups[0], shots=shots, airs=airs)


def release_of(
    height_m: float, angle_deg: float | None, shots: Sequence[Shot], ground: Ground = LEVEL
) -> Release | None:
    """Return the release of a setup: the angle as set, else the mean of the measured ones.

    None where neither is known.
    """
    if angle_deg is not None:
        return Release(height_m, angle_deg, ground=ground)
    measured = [
        (shot.launch_angle_deg, shot.launch_angle_u_deg or ANGLE_U_DEG)
        for shot in shots
        if shot.launch_angle_deg is not None and shot.quality is not Quality.REJECTED
    ]
    if not measured:
        return None
    angles, u = zip(*measured, strict=True)
    return Release(height_m, sum(angles) / len(angles), sum(u) / len(u), ground)
