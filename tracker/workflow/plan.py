"""``lobmeter plan``: the next experiment for one or several sessions."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from calibration.errors import InputError
from tracker.comparison.balls import ball_sentences
from tracker.comparison.built import Setup
from tracker.comparison.candidates import between, candidates, cost_sentences
from tracker.comparison.compare import Comparison, compare
from tracker.comparison.knowledge import PREDICTED, Knowledge
from tracker.comparison.planning import (
    SHOTS_TO_START,
    Candidate,
    Plan,
    plan,
    plan_sentences,
    teaches_most,
    worth_building,
)
from tracker.comparison.words import WORDINGS
from tracker.launcher.sweep import Sweep, parse_sweep
from tracker.workflow.compare import check_quantity, check_worth
from tracker.workflow.gathering import gather
from tracker.workflow.outings import Outings

TO_BUILD = (
    "What to build next: turn its numbers on the page Launcher, or name a range of one, as in "
    "lobmeter plan --sweep wheel.diameter_mm=80:220."
)
TO_DESCRIBE = (
    "What to build next: describe the launcher, with [setup.wheel] and [setup.motor] or on the "
    "page Launcher, and the model predicts others."
)

#: Share of the scatter of shots below which a gain is nothing to shoot for (our choice).
LEAST_GAIN = 0.01


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
    return plan_outings(gather(folders, filmed=False), quantity, worth, sweep)


def plan_outings(outings: Outings, quantity: str, worth: float | None, sweep: str = "") -> Planned:
    """Return the plan for outings that were read; see `plan_sessions`."""
    if sweep and quantity not in PREDICTED:
        raise InputError(
            f"the model does not predict {quantity}",
            where="--of",
            remedy=f"with --sweep use {' or '.join(PREDICTED)}",
        )
    if not outings.setups:
        raise InputError(
            "there is no [[setup]]", where="session.toml", remedy="describe one for each build"
        )
    known = outings.known
    expected = {name: one.estimate for name, one in known.expected(quantity).items()}
    comparison = compare([setup.shots for setup in outings.setups], quantity, expected)
    made = plan(comparison, worth, _swept(known, quantity, parse_sweep(sweep)) if sweep else ())
    if made.settled and not sweep and quantity in PREDICTED:
        # Nothing is left to shoot: what is left is to build.
        wheels = between(known)
        found = () if wheels is None else _swept(known, quantity, wheels)
        made = replace(made, promises=plan(comparison, worth, found).promises)
    said = plan_sentences(made, comparison, worth)
    if made.settled and not sweep and not worth_building(made):
        said.append(TO_BUILD if known.setups else TO_DESCRIBE)
    said += ball_sentences(outings.setups, quantity)
    said += cost_sentences(made, known.predictions(), known.setups)
    said += teaching(comparison)
    return Planned(made, comparison, tuple(said), outings.notes)


def teaching(comparison: Comparison) -> list[str]:
    """Return a sentence on where the next shots teach most; none where they hardly would."""
    scatters = [one.sample.sd for one in comparison.summaries if one.used > 1 and one.sample]
    found = teaches_most(comparison, max(scatters)) if scatters else None
    if found is None or found[1] < LEAST_GAIN * max(scatters):
        return []
    unit = WORDINGS[comparison.quantity].unit
    return [
        f'The next {SHOTS_TO_START} shots teach most with "{found[0]}": what they show is expected '
        f"to be worth {found[1]:.2g} {unit}."
    ]


def _swept(known: Knowledge, quantity: str, sweep: Sweep) -> list[Candidate]:
    """Return the machines along a sweep of the setup with the most shots, the best of several."""
    if not known.setups:
        raise InputError(
            "no setup says enough of its machine",
            where=f"--sweep {sweep.key}",
            remedy="give one setup [setup.wheel] and [setup.motor]",
        )

    def known_best(setup: Setup) -> tuple[int, float]:
        mean = setup.mean(quantity)
        return len(setup.shots.shots), -math.inf if mean is None else mean.value

    base = max(known.setups, key=known_best)
    return candidates(known, base, sweep, quantity)
