"""Predictions along one sweep or over two, and their pictures."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from tracker.comparison.built import Setup
from tracker.comparison.grid import Grid
from tracker.comparison.knowledge import Knowledge
from tracker.comparison.ranges import best_along
from tracker.launcher.prediction import Prediction
from tracker.launcher.sweep import Sweep, stated
from tracker.report.field_words import axis_label, meaning_of, unit_of
from tracker.results.files import put_in_place
from tracker.workflow.inputs import results_of
from tracker.workflow.outings import Outings

if TYPE_CHECKING:
    from tracker.report.sweep_picture import Measured


@dataclass(frozen=True)
class SweepPrediction:
    """Predictions along a sweep of one setup, and their picture."""

    base: str
    sweep: Sweep
    predictions: tuple[Prediction, ...]
    picture: Path
    sentence: str


def swept(outings: Outings, base: Setup, sweep: Sweep, knowledge: Knowledge) -> SweepPrediction:
    """Predict along a sweep and draw it into the results of the first session."""
    from tracker.report.sweep_picture import sweep_picture

    found = knowledge.along(base, sweep)
    label = f"{axis_label(sweep.key)}; the rest as in {base.name}"
    drawn = sweep_picture(label, sweep.values, found, _measured_along(outings, sweep))
    folder = results_of(outings.sessions[0])
    picture = folder / f"sweep-{_plain(sweep.key)}.png"
    put_in_place(folder, {picture.name: drawn})
    said = best_along(sweep, found, unit_of(sweep.key), meaning_of(sweep.key))
    return SweepPrediction(base.name, sweep, found, picture, f'"{base.name}": {said}')


@dataclass(frozen=True)
class MapPrediction:
    """Predictions over two sweeps of one setup, and their picture."""

    grid: Grid
    picture: Path


def mapped(outings: Outings, grid: Grid, wanted: float | None) -> MapPrediction:
    """Draw a map into the results of the first session, the line of a `wanted` carry heavily."""
    from tracker.report.map_picture import map_picture

    folder = results_of(outings.sessions[0])
    names = "-".join(_plain(sweep.key) for sweep in (grid.across, grid.up))
    picture = folder / f"map-{names}.png"
    put_in_place(folder, {picture.name: map_picture(grid, wanted)})
    return MapPrediction(grid, picture)


def _plain(key: str) -> str:
    """Return a field as part of a file's name."""
    return key.replace(".", "-").replace("_", "-")


def _measured_along(outings: Outings, sweep: Sweep) -> "list[Measured]":
    """Return the measured setups within the range of a sweep."""
    from tracker.report.sweep_picture import Measured

    found = []
    for setup in outings.setups:
        at = None if setup.machine is None else stated(setup.machine, sweep.key)
        if at is None or not sweep.values[0] <= at <= sweep.values[-1]:
            continue
        speed, carry = setup.mean("exit_speed_mps"), setup.mean("carry_m")
        if speed is not None or carry is not None:
            found.append(Measured(setup.name, at, speed, carry))
    return found
