"""``lobmeter plan``: the next experiment for one or several sessions."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from calibration.errors import InputError
from tracker.comparison.built import Setup
from tracker.comparison.compare import Comparison, compare
from tracker.comparison.knowledge import PREDICTED, Knowledge
from tracker.comparison.planning import Plan, plan, plan_sentences
from tracker.launcher.sweep import parse_sweep
from tracker.statistics.components import Estimate
from tracker.workflow.compare import check_quantity, check_worth
from tracker.workflow.outings import gather


@dataclass(frozen=True)
class Planned:
    """A plan, in words."""

    plan: Plan
    comparison: Comparison
    sentences: tuple[str, ...]
    notes: tuple[str, ...]


def plan_sessions(
    folders: Sequence[Path], quantity: str = "carry_m", worth: float | None = None, sweep: str = ""
) -> Planned:
    """Return which setups to shoot how often, and what to build next.

    Parameters
    ----------
    folders : sequence of Path
    quantity : str
        A column of shots.csv.
    worth : float, optional
        Least difference worth knowing, in its unit.
    sweep : str
        As in `predict`; machines that were not built yet.

    Raises
    ------
    InputError
        For faults of the sessions or of the options.
    """
    check_quantity(quantity)
    check_worth(worth)
    if sweep and quantity not in PREDICTED:
        raise InputError(
            f"the model does not predict {quantity}",
            where="--of",
            remedy=f"with --sweep use {' or '.join(PREDICTED)}",
        )
    outings = gather(folders)
    if not outings.setups:
        raise InputError(
            "there is no [[setup]]", where="session.toml", remedy="describe one for each build"
        )
    comparison = compare([setup.shots for setup in outings.setups], quantity)
    made = plan(comparison, worth, _swept(outings.setups, quantity, sweep) if sweep else ())
    return Planned(made, comparison, tuple(plan_sentences(made, comparison, worth)), outings.notes)


def _swept(setups: Sequence[Setup], quantity: str, text: str) -> list[tuple[str, Estimate]]:
    """Return the predictions along a sweep of the setup with the most shots."""
    sweep = parse_sweep(text)
    machines = [setup for setup in setups if setup.machine is not None]
    if not machines:
        raise InputError(
            "no setup says enough of its machine",
            where=f"--sweep {text}",
            remedy="give one setup [setup.wheel] and [setup.motor]",
        )
    knowledge = Knowledge(setups)
    base = max(machines, key=lambda setup: len(setup.shots.shots))
    found = []
    for value, made in zip(sweep.values, knowledge.along(base, sweep), strict=True):
        wanted = made.carry if quantity == "carry_m" else made.exit_speed
        if wanted is not None:
            found.append((f"{sweep.key} = {value:.4g}", wanted))
    return found
