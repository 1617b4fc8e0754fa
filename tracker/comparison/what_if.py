"""A setup with some of its numbers changed: what to expect of it, and along one of them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tracker.comparison.built import Setup
from tracker.comparison.knowledge import Knowledge
from tracker.comparison.many import mean_carries, mean_speeds
from tracker.comparison.target import span_of
from tracker.launcher.cautions import cautions, troubles
from tracker.launcher.machine import Machine
from tracker.launcher.prediction import Prediction
from tracker.launcher.safety import safety
from tracker.launcher.sweep import DIAMETER_POWERS, changed, stated
from tracker.statistics.components import Estimate

POINTS = 15
"""Values along a curve; enough for a smooth line."""


@dataclass(frozen=True)
class Seen:
    """A setup that was shot: its name, its place along a curve, its mean."""

    name: str
    at: float
    mean: Estimate


@dataclass(frozen=True)
class Curve:
    """What to expect along one number of a setup.

    Attributes
    ----------
    key, quantity : str
    values : tuple of float
    expected : tuple of Estimate or None
        None where the ball does not get out.
    seen : tuple of Seen
        The setups that were shot within its ends.
    """

    key: str
    quantity: str
    values: tuple[float, ...]
    expected: tuple[Estimate | None, ...]
    seen: tuple[Seen, ...]


@dataclass(frozen=True)
class Outlook:
    """What to expect of a machine, with what it asks.

    Attributes
    ----------
    prediction : Prediction
    own : bool
        Whether nothing is changed and its own shots count.
    safety : str
    cautions : tuple of str
        What may keep it from shooting, and what is dangerous about it.
    """

    prediction: Prediction
    own: bool
    safety: str
    cautions: tuple[str, ...]


def machine_with(base: Setup, changes: Mapping[str, float]) -> Machine:
    """Return the machine of a setup with numbers changed."""
    assert base.machine is not None
    machine = base.machine
    for key, value in changes.items():
        if value != stated(machine, key):
            machine = changed(machine, key, value)
    return machine


def tables_with(
    base: Setup, tables: Mapping[str, Mapping[str, float | str]], changes: Mapping[str, float]
) -> dict[str, dict[str, float | str]]:
    """Return the tables of a setup with numbers changed, and what changes with them."""
    machine = machine_with(base, changes)
    found = {name: dict(table) for name, table in tables.items()}
    for key in (*changes, *DIAMETER_POWERS):
        table, name = key.split(".")
        value = machine.number(key)
        if value is not None and (key in changes or name in found.get(table, {})):
            found.setdefault(table, {})[name] = float(f"{value:.4g}")
    return found


def outlook(known: Knowledge, base: Setup, changes: Mapping[str, float]) -> Outlook:
    """Return what to expect of a setup with numbers changed; of the setup itself without any."""
    machine = machine_with(base, changes)
    present = known.predictions()[base.name]
    own = machine is base.machine
    found = present if own else known.machines(base, [machine])[0]
    said = (
        *troubles(base.name, found),
        *cautions([(base.name, found, base.outdoors)]),
    )
    return Outlook(found, own, safety(machine, found, None if own else present), said)


def curve(known: Knowledge, base: Setup, changes: Mapping[str, float], key: str) -> Curve | None:
    """Return what to expect along a number, the other changes made; None without such a number."""
    span = span_of(base, key)
    if span is None:
        return None
    low, _, high = span
    values = tuple(float(value) for value in np.linspace(low, high, POINTS))
    machines = [machine_with(base, {**changes, key: value}) for value in values]
    means, u = mean_speeds(known, machines)
    quantity = "exit_speed_mps"
    if base.outdoors.release is not None:
        quantity = "carry_m"
        means, u = mean_carries(known, base, means, u)
    expected = tuple(
        Estimate(float(mean), float(one)) if np.isfinite(mean) else None
        for mean, one in zip(means, u, strict=True)
    )
    return Curve(key, quantity, values, expected, _seen(known.setups, key, quantity, (low, high)))


def _seen(
    setups: Sequence[Setup], key: str, quantity: str, ends: tuple[float, float]
) -> tuple[Seen, ...]:
    found = []
    for setup in setups:
        at = None if setup.machine is None else stated(setup.machine, key)
        mean = setup.mean(quantity)
        if at is not None and mean is not None and ends[0] <= at <= ends[1]:
            found.append(Seen(setup.name, at, mean))
    return tuple(found)
