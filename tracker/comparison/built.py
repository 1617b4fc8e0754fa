"""Setups with the machine that made their shots."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

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
        return summarise(self.shots, quantity, landings=False).sample

    def mean(self, quantity: str) -> Estimate | None:
        """Return the mean of a quantity, None for fewer than two shots."""
        return summarise(self.shots, quantity, landings=False).mean


@dataclass(frozen=True)
class Built:
    """A setup of one outing with the tables that describe it.

    Attributes
    ----------
    setup : Setup
    tables : mapping
        As in session.toml.
    place : str
        The outing, for notes.
    """

    setup: Setup
    tables: Mapping[str, Mapping[str, float | str]]
    place: str


def joined(outings: Sequence[Built]) -> tuple[tuple[Setup, ...], tuple[str, ...]]:
    """Return setups with their shots of all outings, and notes.

    Setups of one name and the same tables are one; a setup of the same name that is built
    differently keeps apart under a name with its outing.
    """
    known: dict[str, Built] = {}
    notes = []
    for one in outings:
        name = one.setup.name
        if name not in known:
            known[name] = one
        elif _tables(known[name]) == _tables(one):
            first = known[name]
            known[name] = replace(first, setup=_with_shots(first.setup, one.setup))
        else:
            other = f"{name} ({one.place})"
            notes.append(
                f'"{name}" is built differently in {one.place}; there it is called "{other}" here.'
            )
            shots = replace(one.setup.shots, name=other)
            known[other] = replace(one, setup=replace(one.setup, shots=shots))
    return tuple(one.setup for one in known.values()), tuple(notes)


def _tables(one: Built) -> dict[str, dict[str, float | str]]:
    return {name: dict(table) for name, table in one.tables.items()}


def _with_shots(setup: Setup, other: Setup) -> Setup:
    more = other.shots
    shots = SetupShots(
        setup.name,
        setup.shots.shots + more.shots,
        setup.shots.occasions + more.occasions,
        setup.shots.shared + more.shared,
        setup.shots.evenings + more.evenings,
    )
    return replace(setup, shots=shots, airs={**setup.airs, **other.airs})


def release_of(height_m: float, angle_deg: float | None, shots: Sequence[Shot]) -> Release | None:
    """Return the release of a setup: the angle as set, else the mean of the measured ones.

    None where neither is known.
    """
    if angle_deg is not None:
        return Release(height_m, angle_deg)
    measured = [
        (shot.launch_angle_deg, shot.launch_angle_u_deg or ANGLE_U_DEG)
        for shot in shots
        if shot.launch_angle_deg is not None and shot.quality is not Quality.REJECTED
    ]
    if not measured:
        return None
    angles, u = zip(*measured, strict=True)
    return Release(height_m, sum(angles) / len(angles), sum(u) / len(u))
