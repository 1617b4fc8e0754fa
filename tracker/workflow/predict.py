"""``lobmeter predict``: what to expect of the machines of one or several sessions."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from calibration.errors import InputError
from tracker.comparison.built import Setup
from tracker.comparison.grid import grid_of
from tracker.comparison.knowledge import Knowledge, LeftOut
from tracker.comparison.target import settings_for, target_sentences
from tracker.launcher.cautions import cautions, troubles
from tracker.launcher.discharge import Discharge
from tracker.launcher.identified import sentences
from tracker.launcher.prediction import Prediction
from tracker.launcher.sweep import Sweep, parse_sweep
from tracker.session.kinds import listed
from tracker.statistics.components import Estimate
from tracker.workflow.gathering import gather
from tracker.workflow.sweeping import MapPrediction, SweepPrediction, mapped, swept

MOST_M = 500.0
"""Greatest carry that is searched for, m: nothing of this kind throws farther."""


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
    discharges : mapping of str to Discharge
        Shots on one charge of every setup whose battery is known.
    sweep : SweepPrediction or None
    map : MapPrediction or None
    settings : tuple of str
        Which settings give the wanted carry.
    """

    setups: tuple[SetupPrediction, ...]
    learned: tuple[str, ...]
    left_out: tuple[LeftOut, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    discharges: Mapping[str, Discharge] = field(default_factory=dict)
    sweep: SweepPrediction | None = None
    map: MapPrediction | None = None
    settings: tuple[str, ...] = ()


def predict_sessions(
    folders: Sequence[Path],
    setup: str = "",
    sweeps: Sequence[str] = (),
    learning: bool = True,
    to_hit: float | None = None,
) -> Predictions:
    """Predict the setups of sessions, with the model corrected by their shots when `learning`.

    `setup` is the name of a single one, all when empty; `sweeps` are one range, or two for a map,
    as `parse_sweep` reads them; `to_hit` a carry in m whose settings are wanted.

    Raises
    ------
    InputError
        For faults of the sessions, an unknown setup, a sweep that makes no sense.
    """
    outings = gather(folders, machines_needed=True, filmed=False)
    ranges = _ranges(sweeps)
    chosen = _chosen(outings.setups, setup)
    knowledge = Knowledge(outings.setups, learning)
    found = knowledge.predictions()
    known = [one for one in chosen if one.name in found]
    said = sentences(knowledge.posterior()) if knowledge.setups else []
    settings = () if to_hit is None else _settings(knowledge, _base(chosen), to_hit)
    drains = knowledge.discharges()
    return Predictions(
        tuple(_predicted(each, found[each.name]) for each in known),
        tuple(said),
        knowledge.left_out(),
        cautions([(each.name, found[each.name], each.outdoors) for each in known]),
        outings.notes,
        {each.name: drains[each.name] for each in known if each.name in drains},
        swept(outings, _base(chosen), ranges[0], knowledge) if len(ranges) == 1 else None,
        mapped(outings, grid_of(knowledge, _base(chosen), ranges[0], ranges[1]), to_hit)
        if len(ranges) == 2
        else None,
        settings,
    )


def _ranges(sweeps: Sequence[str]) -> list[Sweep]:
    """Return the one or two ranges that were asked for."""
    if len(sweeps) > 2:
        raise InputError(
            f"{len(sweeps)} ranges at once", where="--sweep", remedy="give one, or two for a map"
        )
    found = [parse_sweep(text) for text in sweeps]
    if len(found) == 2 and found[0].key == found[1].key:
        raise InputError(
            f"{found[0].key} twice", where="--sweep", remedy="give two different fields for a map"
        )
    return found


def check_target(to_hit_m: float, where: str = "--to-hit") -> None:
    """Raise InputError for a carry that nothing has."""
    if not 0.0 < to_hit_m < MOST_M:
        raise InputError(
            f"{to_hit_m:g} m is no carry",
            where=where,
            remedy=f"give metres between 0 and {MOST_M:g}",
        )


def _settings(knowledge: Knowledge, base: Setup, to_hit: float) -> tuple[str, ...]:
    check_target(to_hit)
    return tuple(target_sentences(base, to_hit, settings_for(knowledge, base, to_hit)))


def _predicted(setup: Setup, found: Prediction) -> SetupPrediction:
    means = (setup.mean("exit_speed_mps"), setup.mean("carry_m"))
    return SetupPrediction(setup.name, found, *means, troubles(setup.name, found))


def _chosen(setups: Sequence[Setup], name: str) -> list[Setup]:
    if not setups:
        raise InputError(
            "there is no [[setup]]",
            where="session.toml",
            remedy="describe the launcher in a [[setup]] with [setup.wheel] and [setup.motor]",
        )
    found = [setup for setup in setups if name in ("", setup.name)]
    if not found:
        known = listed([f'"{setup.name}"' for setup in setups])
        raise InputError(
            f'"{name}" is the name of no setup', where="--setup", remedy=f"use one of {known}"
        )
    return found


def _base(chosen: Sequence[Setup]) -> Setup:
    """Return the setup that a sweep starts from: the only one, else the best measured."""
    means = {setup.name: setup.mean("carry_m") for setup in chosen}
    return max(chosen, key=lambda setup: m.value if (m := means[setup.name]) is not None else -1.0)
