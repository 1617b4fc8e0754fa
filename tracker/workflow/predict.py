"""``lobmeter predict``: what to expect of the machines of one or several sessions."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from calibration.errors import InputError
from tracker.comparison.built import Setup
from tracker.comparison.knowledge import Knowledge, LeftOut
from tracker.launcher.cautions import cautions, troubles
from tracker.launcher.identified import sentences
from tracker.launcher.prediction import Prediction
from tracker.launcher.sweep import Sweep, parse_sweep
from tracker.report.sweep_picture import Measured, axis_label, sweep_picture
from tracker.results import folder_of
from tracker.results.files import put_in_place
from tracker.statistics.components import Estimate
from tracker.workflow.outings import Outings, gather


@dataclass(frozen=True)
class SetupPrediction:
    """One machine and what to expect of it.

    Attributes
    ----------
    name : str
    prediction : Prediction
    measured_speed, measured_carry : Estimate or None
        Mean of its shots where it has two or more.
    troubles : tuple of str
        What may keep it from shooting.
    """

    name: str
    prediction: Prediction
    measured_speed: Estimate | None
    measured_carry: Estimate | None
    troubles: tuple[str, ...]


@dataclass(frozen=True)
class SweepPrediction:
    """Predictions along a sweep of one setup, and their picture."""

    base: str
    sweep: Sweep
    predictions: tuple[Prediction, ...]
    picture: Path


@dataclass(frozen=True)
class Predictions:
    """Everything that `predict` reports.

    Attributes
    ----------
    setups : tuple of SetupPrediction
    learned : tuple of str
        What the shots say of the model, in sentences.
    left_out : tuple of LeftOut
        Each measured setup's exit speed predicted from the others.
    cautions : tuple of str
        For all of them.
    notes : tuple of str
    sweep : SweepPrediction or None
    """

    setups: tuple[SetupPrediction, ...]
    learned: tuple[str, ...]
    left_out: tuple[LeftOut, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    sweep: SweepPrediction | None = None


def predict_sessions(
    folders: Sequence[Path], setup: str = "", sweep: str = "", learning: bool = True
) -> Predictions:
    """Predict the setups of sessions, with the model corrected by their shots when `learning`.

    `setup` is the name of a single one, all when empty; `sweep` as `parse_sweep` reads it.

    Raises
    ------
    InputError
        For faults of the sessions, an unknown setup, a sweep that makes no sense.
    """
    outings = gather(folders, machines_needed=True)
    wanted = parse_sweep(sweep) if sweep else None
    chosen = _chosen(outings.setups, setup)
    knowledge = Knowledge(outings.setups, learning)
    found = knowledge.predictions()
    known = [one for one in chosen if one.name in found]
    said = sentences(knowledge.posterior()) if knowledge.setups else []
    return Predictions(
        tuple(_predicted(each, found[each.name]) for each in known),
        tuple(said),
        knowledge.left_out(),
        cautions([(each.name, found[each.name], each.outdoors) for each in known]),
        outings.notes,
        None if wanted is None else _along(outings, _base(chosen), wanted, knowledge),
    )


def _predicted(setup: Setup, found: Prediction) -> SetupPrediction:
    means = (setup.mean("exit_speed_mps"), setup.mean("carry_m"))
    return SetupPrediction(setup.name, found, *means, troubles(setup.name, found))


def _along(outings: Outings, base: Setup, sweep: Sweep, knowledge: Knowledge) -> SweepPrediction:
    """Predict along a sweep and draw it into the results of the first session."""
    found = knowledge.along(base, sweep)
    label = f"{axis_label(sweep.key)}; the rest as in {base.name}"
    drawn = sweep_picture(label, sweep.values, found, _measured_along(outings, sweep))
    folder = folder_of(outings.sessions[0].folder)
    picture = folder / f"sweep-{sweep.key.replace('.', '-').replace('_', '-')}.png"
    put_in_place(folder, {picture.name: drawn})
    return SweepPrediction(base.name, sweep, found, picture)


def _chosen(setups: Sequence[Setup], name: str) -> list[Setup]:
    if not setups:
        raise InputError(
            "there is no [[setup]]",
            where="session.toml",
            remedy="describe the launcher in a [[setup]] with [setup.wheel] and [setup.motor]",
        )
    found = [setup for setup in setups if name in ("", setup.name)]
    if not found:
        known = ", ".join(f'"{setup.name}"' for setup in setups)
        raise InputError(
            f'"{name}" is the name of no setup', where="--setup", remedy=f"use one of {known}"
        )
    return found


def _base(chosen: Sequence[Setup]) -> Setup:
    """Return the setup that a sweep starts from: the only one, else the best measured."""
    means = {setup.name: setup.mean("carry_m") for setup in chosen}
    return max(chosen, key=lambda setup: m.value if (m := means[setup.name]) is not None else -1.0)


def _measured_along(outings: Outings, sweep: Sweep) -> list[Measured]:
    """Return the measured setups within the range of a sweep."""
    found = []
    for setup in outings.setups:
        at = None if setup.machine is None else setup.machine.number(sweep.key)
        if at is None or not sweep.values[0] <= at <= sweep.values[-1]:
            continue
        speed, carry = setup.mean("exit_speed_mps"), setup.mean("carry_m")
        if speed is not None or carry is not None:
            found.append(Measured(setup.name, at, speed, carry))
    return found
