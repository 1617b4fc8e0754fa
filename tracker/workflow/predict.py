"""What to expect of the machines of one or several sessions, tested or not."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from calibration.errors import InputError
from tracker.comparison.carries import carry_factor
from tracker.comparison.setups import summarise
from tracker.flight.energy import harm
from tracker.launcher.fields import NUMBERS, Number, number_at
from tracker.launcher.learning import Learned, LeftOut, Lesson, learn, leave_one_out
from tracker.launcher.prediction import Outdoors, Prediction, predict, swept
from tracker.launcher.setup import gap_fault
from tracker.report.sweep_picture import Measured, axis_label, sweep_picture
from tracker.results import RESULTS
from tracker.results.files import put_in_place
from tracker.statistics.components import Estimate
from tracker.workflow.outings import Outings, Setup, gather

STEPS = 15
"""Machines along a sweep when nobody says how many."""

MOST_STEPS = 200


@dataclass(frozen=True)
class Sweep:
    """One number of a setup from one value to another.

    Attributes
    ----------
    key : str
    values : tuple of float
    """

    key: str
    values: tuple[float, ...]


@dataclass(frozen=True)
class Foretold:
    """One machine and what to expect of it.

    Attributes
    ----------
    name : str
    prediction : Prediction
    measured_speed, measured_carry : Estimate or None
        Mean of its shots where it has two or more.
    cautions : tuple of str
    """

    name: str
    prediction: Prediction
    measured_speed: Estimate | None
    measured_carry: Estimate | None
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class Foresight:
    """Everything that `predict` says.

    Attributes
    ----------
    setups : tuple of Foretold
    sweep : Sweep or None
    along : tuple of Prediction
        For each value of the sweep, None left out.
    base : str
        Name of the setup that is swept.
    learned : Learned or None
    left_out : tuple of LeftOut
        Each measured setup's exit speed foretold from the others.
    notes : tuple of str
    picture : Path or None
        Of the sweep.
    """

    setups: tuple[Foretold, ...]
    sweep: Sweep | None
    along: tuple[Prediction, ...]
    base: str
    learned: Learned | None
    left_out: tuple[LeftOut, ...]
    notes: tuple[str, ...]
    picture: Path | None = None


def foresee(
    folders: Sequence[Path], setup: str = "", sweep: str = "", learning: bool = True
) -> Foresight:
    """Predict the setups of sessions, with what their shots have taught.

    Parameters
    ----------
    folders : sequence of Path
    setup : str
        Name of a single setup; all when empty.
    sweep : str
        ``"wheel.diameter_mm=80:220"``, with a third number for how many.
    learning : bool
        Whether the shots may correct what nobody can look up.

    Raises
    ------
    InputError
        For faults of the sessions, an unknown setup, a sweep that makes no sense.
    """
    outings = gather(folders, machines_needed=True)
    chosen = _chosen(outings, setup)
    along_of = parse_sweep(sweep) if sweep else None
    learned: Learned | None = None
    left_out: tuple[LeftOut, ...] = ()
    if learning:
        learned, left_out = taught(outings)
        outings = with_carry_factor(outings, outings.setups)
        chosen = _chosen(outings, setup)
    base = _base(chosen, outings)
    along: tuple[Prediction, ...] = ()
    picture = None
    if along_of is not None:
        along = sweep_along(base, along_of, learned)
        drawn = sweep_picture(
            f"{axis_label(along_of.key)}; the rest as in {base.name}",
            along_of.values,
            along,
            _measured_along(outings, along_of),
        )
        folder = outings.sessions[0].folder / RESULTS
        picture = folder / f"sweep-{along_of.key.replace('.', '-').replace('_', '-')}.png"
        put_in_place(folder, {picture.name: drawn})
    return Foresight(
        tuple(_foretold(one, learned) for one in chosen),
        along_of,
        along,
        base.name,
        learned,
        left_out,
        outings.notes,
        picture,
    )


def lessons_of(setups: Sequence[Setup]) -> list[Lesson]:
    """Return what the measured setups teach: mean exit speed of two shots or more."""
    lessons = []
    for setup in setups:
        if setup.machine is None:
            continue
        mean = summarise(setup.shots, "exit_speed_mps").mean
        if mean is not None:
            lessons.append(Lesson(setup.name, setup.machine, mean.value, mean.u))
    return lessons


def taught(outings: Outings) -> tuple[Learned | None, tuple[LeftOut, ...]]:
    """Return what all measured setups teach, and each foretold from the others."""
    if not outings.setups:
        return None, ()
    outdoors = outings.setups[0].outdoors
    # One ball: what a rim does to another is another matter.
    lessons = lessons_of([s for s in outings.setups if s.outdoors.ball == outdoors.ball])
    if not lessons:
        return None, ()
    left_out = leave_one_out(lessons, outdoors.ball, outdoors.around) if len(lessons) > 2 else []
    return learn(lessons, outdoors.ball, outdoors.around), tuple(left_out)


def with_carry_factor(outings: Outings, shown_by: Sequence[Setup]) -> Outings:
    """Return the outings with predicted carries corrected by what some setups have shown."""
    factor = carry_factor([(setup.shots, setup.outdoors) for setup in shown_by])
    setups = tuple(
        replace(setup, outdoors=replace(setup.outdoors, carry_factor=factor))
        for setup in outings.setups
    )
    return replace(outings, setups=setups)


def sweep_along(base: Setup, sweep: Sweep, learned: Learned | None) -> tuple[Prediction, ...]:
    """Predict the machine of a setup at every value of a sweep."""
    assert base.machine is not None
    if sweep.key == "grip.gap_mm":
        for value in sweep.values:
            fault = gap_fault(value, 1e3 * base.outdoors.ball.diameter_m)
            if fault:
                raise InputError(fault[0], where=f"--sweep {sweep.key}", remedy=fault[1])
    return tuple(
        predict(swept(base.machine, sweep.key, value), base.outdoors, learned)
        for value in sweep.values
    )


def parse_sweep(text: str) -> Sweep:
    """Read ``"wheel.diameter_mm=80:220"`` or ``"wheel.diameter_mm=80:220:8"``.

    Raises
    ------
    InputError
        With what would have been right.
    """
    where = f"--sweep {text}"
    key, equals, span = text.partition("=")
    number = number_at(key.strip())
    if number is None:
        known = ", ".join(field.key for field in NUMBERS)
        raise InputError(
            f"{key.strip()!r} is no number of a setup", where=where, remedy=f"use one of {known}"
        )
    try:
        parts = [float(part) for part in span.split(":")] if equals else []
    except ValueError:
        parts = []
    if len(parts) not in (2, 3) or not np.isfinite(parts).all():
        raise InputError(
            "is no range", where=where, remedy=f"write it as {number.key}=from:to or from:to:count"
        )
    low, high = sorted(parts[:2])
    count = int(parts[2]) if len(parts) == 3 else STEPS
    _check_span(number, low, high, count, where)
    return Sweep(number.key, tuple(float(value) for value in np.linspace(low, high, count)))


def _check_span(number: Number, low: float, high: float, count: int, where: str) -> None:
    if low < number.low or high > number.high:
        raise InputError(
            f"{low:g} to {high:g} is out of range",
            where=where,
            remedy=f"stay within {number.low:g} to {number.high:g}",
        )
    if low == high or not 2 <= count <= MOST_STEPS:
        raise InputError(
            f"has no way to go from {low:g} to {high:g} in {count} steps",
            where=where,
            remedy=f"give two different ends and 2 to {MOST_STEPS} steps",
        )


def _chosen(outings: Outings, name: str) -> list[Setup]:
    if not outings.setups:
        raise InputError(
            "there is no [[setup]]",
            where="session.toml",
            remedy="describe the launcher in a [[setup]] with [setup.wheel] and [setup.motor]",
        )
    if not name:
        return list(outings.setups)
    found = [setup for setup in outings.setups if setup.name == name]
    if not found:
        known = ", ".join(f'"{setup.name}"' for setup in outings.setups)
        raise InputError(
            f'"{name}" is the name of no setup', where="--setup", remedy=f"use one of {known}"
        )
    return found


def _base(chosen: Sequence[Setup], outings: Outings) -> Setup:
    """Return the setup that a sweep starts from: the one chosen, else the best measured."""
    if len(chosen) == 1:
        return chosen[0]

    def carry(setup: Setup) -> float:
        mean = summarise(setup.shots, "carry_m").mean
        return -1.0 if mean is None else mean.value

    return max(chosen, key=carry)


def _measured_along(outings: Outings, sweep: Sweep) -> list[Measured]:
    """Return the measured setups that lie on the way of a sweep, for the eye to compare."""
    found = []
    for setup in outings.setups:
        at = None if setup.machine is None else setup.machine.number(sweep.key)
        if at is None or not sweep.values[0] <= at <= sweep.values[-1]:
            continue
        speed = summarise(setup.shots, "exit_speed_mps").mean
        carry = summarise(setup.shots, "carry_m").mean
        if speed is not None or carry is not None:
            found.append(Measured(setup.name, at, speed, carry))
    return found


def _foretold(setup: Setup, learned: Learned | None) -> Foretold:
    assert setup.machine is not None
    found = predict(setup.machine, setup.outdoors, learned)
    return Foretold(
        setup.name,
        found,
        summarise(setup.shots, "exit_speed_mps").mean,
        summarise(setup.shots, "carry_m").mean,
        cautions(found, setup.outdoors),
    )


def cautions(found: Prediction, outdoors: Outdoors) -> tuple[str, ...]:
    """Return what to beware of with this machine: the ball's energy, the wheels' energy."""
    shot = found.launch
    ball = found.ball_energy_j(outdoors.ball)
    said = [
        f"The ball leaves with {ball:.1f} J, the wheels hold {shot.stored_j:.0f} J and coast after "
        "the switch is off: guard the gap, disconnect the battery before reaching in."
    ]
    said += harm(outdoors.ball, found.exit_speed.value)
    return tuple(said)
