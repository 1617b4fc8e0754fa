"""Setups with the machine that made their shots, and what those shots say of others."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from tracker.comparison.carries import carry_factor
from tracker.comparison.setups import SetupShots, summarise
from tracker.launcher.carry import ANGLE_U_DEG, Release
from tracker.launcher.learning import Learned, LeftOut, Lesson, learn, leave_one_out
from tracker.launcher.machine import Machine
from tracker.launcher.prediction import Outdoors, Prediction, predict
from tracker.launcher.sweep import Sweep, changed, check_gaps
from tracker.records import Quality, Shot
from tracker.statistics.components import Estimate

PREDICTED = ("carry_m", "exit_speed_mps")
"""Quantities that the launcher's model predicts."""

ENOUGH_LESSONS = 2
"""Other setups that must be measured before they correct the prediction of one: with a single one
nobody knows how setups differ."""


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
    """

    shots: SetupShots
    machine: Machine | None
    outdoors: Outdoors

    @property
    def name(self) -> str:
        """Its name."""
        return self.shots.name

    def mean(self, quantity: str) -> Estimate | None:
        """Return the mean of a quantity, None for fewer than two shots."""
        return summarise(self.shots, quantity).mean


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
            known[name] = replace(first, setup=_with_shots(first.setup, one.setup.shots))
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


def _with_shots(setup: Setup, more: SetupShots) -> Setup:
    shots = SetupShots(
        setup.name,
        setup.shots.shots + more.shots,
        setup.shots.occasions + more.occasions,
        setup.shots.shared + more.shared,
    )
    return replace(setup, shots=shots)


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


def lessons_of(setups: Sequence[Setup]) -> list[Lesson]:
    """Return the mean exit speeds of the setups that have a machine and two shots or more."""
    lessons = []
    for setup in setups:
        mean = setup.mean("exit_speed_mps")
        if setup.machine is not None and mean is not None:
            lessons.append(Lesson(setup.name, setup.machine, mean.value, mean.u))
    return lessons


def learn_from(setups: Sequence[Setup]) -> tuple[Learned | None, tuple[LeftOut, ...]]:
    """Return what all measured setups teach, and each predicted from the others."""
    if not setups:
        return None, ()
    outdoors = setups[0].outdoors
    # One ball: the grip of a rim on another is not the same.
    lessons = lessons_of([setup for setup in setups if setup.outdoors.ball == outdoors.ball])
    if not lessons:
        return None, ()
    left_out = leave_one_out(lessons, outdoors.ball, outdoors.around) if len(lessons) > 2 else []
    return learn(lessons, outdoors.ball, outdoors.around), tuple(left_out)


def with_carry_factor(setups: Sequence[Setup]) -> tuple[Setup, ...]:
    """Return the setups with predicted carries corrected by their measured ones."""
    factor = carry_factor([(setup.shots, setup.outdoors) for setup in setups])
    return tuple(
        replace(setup, outdoors=replace(setup.outdoors, carry_factor=factor)) for setup in setups
    )


def predicted_by_others(setups: Sequence[Setup], quantity: str) -> dict[str, Estimate]:
    """Return each shot setup's prediction from its tables and the other setups' shots."""
    found = {}
    for setup in setups if quantity in PREDICTED else ():
        value = _predicted_by_others(setup, setups, quantity)
        if value is not None:
            found[setup.name] = value
    return found


def _predicted_by_others(setup: Setup, setups: Sequence[Setup], quantity: str) -> Estimate | None:
    if setup.machine is None or not setup.shots.shots:
        return None
    others = [other for other in setups if other.name != setup.name]
    lessons = lessons_of(others)
    factor = carry_factor([(other.shots, other.outdoors) for other in others])
    outdoors = replace(setup.outdoors, carry_factor=factor)
    learned = None
    if len(lessons) >= ENOUGH_LESSONS:
        learned = learn(lessons, outdoors.ball, outdoors.around)
    made = predict(setup.machine, outdoors, learned)
    return made.carry if quantity == "carry_m" else made.exit_speed


def predicted_along(base: Setup, sweep: Sweep, learned: Learned | None) -> tuple[Prediction, ...]:
    """Predict the machine of a setup at every value of a sweep."""
    assert base.machine is not None
    check_gaps(sweep, 1e3 * base.outdoors.ball.diameter_m)
    return tuple(
        predict(changed(base.machine, sweep.key, value), base.outdoors, learned)
        for value in sweep.values
    )
