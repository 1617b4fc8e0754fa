"""The next experiment: who should shoot how often, or which machine to build next."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tracker.comparison.compare import Comparison, residue, shots_more
from tracker.comparison.setups import Summary
from tracker.comparison.words import WORDINGS, rounded
from tracker.statistics.components import Estimate
from tracker.statistics.improvement import expected_improvement

LEAST_GAIN = 0.01
"""Gain over the predicted value that is worth building for (common practice, no source)."""

SHOTS_TO_START = 5
"""Shots for a setup that has none: enough for a first scatter (common practice, no source)."""


@dataclass(frozen=True)
class Step:
    """Shots to add to a setup, and why."""

    name: str
    shots: int
    why: str


@dataclass(frozen=True)
class Candidate:
    """A machine of a sweep that may be built next.

    Attributes
    ----------
    label : str
    predicted : Estimate
    beyond : str
        How far it lies beyond anything shot, in words; empty inside.
    safety : str
        What it asks before it is built.
    """

    label: str
    predicted: Estimate
    beyond: str = ""
    safety: str = ""


@dataclass(frozen=True)
class Promise:
    """What a setup that was not shot yet may bring.

    Attributes
    ----------
    label : str
        Place in the sweep, ``"wheel.diameter_mm = 160"``.
    predicted : Estimate
    gain : float
        By how much it is expected to beat the best measured mean, its chance to fail counted
        as no gain.
    beyond : str
        How far it lies beyond anything shot, in words; empty inside.
    safety : str
        What it asks before it is built.
    """

    label: str
    predicted: Estimate
    gain: float
    beyond: str = ""
    safety: str = ""


@dataclass(frozen=True)
class Plan:
    """What to do next.

    Attributes
    ----------
    steps : tuple of Step
    settled : bool
        True when the question needs no further shot.
    unreachable : tuple of str
        Pairs whose difference no sensible number of shots would show.
    promises : tuple of Promise
        Most promising first.
    """

    steps: tuple[Step, ...]
    settled: bool
    unreachable: tuple[str, ...]
    promises: tuple[Promise, ...]


def plan(
    comparison: Comparison,
    worth: float | None = None,
    sweep: Sequence[Candidate] = (),
) -> Plan:
    """Return the next experiment.

    Parameters
    ----------
    comparison : Comparison
    worth : float, optional
        Least difference worth knowing, in the quantity's unit. Without it the differences are
        taken for what they look like.
    sweep : sequence of Candidate
        Machines that were not shot yet.

    Notes
    -----
    The question is which setup is best: only pairs with the best mean need settling. Power 80 %
    from the scatter seen (noncentral t; J. Cohen, 1988).
    """
    repeated = [s for s in comparison.summaries if s.sample is not None and s.used > 1]
    steps, unreachable = _steps(comparison, repeated, worth)
    ordered = tuple(steps[s.name] for s in comparison.summaries if s.name in steps)
    settled = not ordered and not unreachable and len(repeated) > 0
    return Plan(ordered, settled, unreachable, _promises(repeated, sweep))


def _steps(
    comparison: Comparison, repeated: Sequence[Summary], worth: float | None
) -> tuple[dict[str, Step], tuple[str, ...]]:
    """Return the shots to add by setup, and the pairs that no number of shots would settle."""
    steps: dict[str, Step] = {}
    for summary in comparison.summaries:
        if summary.used < 2:
            lacking = SHOTS_TO_START - summary.used
            state = "no shot" if summary.used == 0 else "one shot"
            steps[summary.name] = Step(summary.name, lacking, f"it has {state}, so no scatter")
    if len(repeated) < 2:
        return steps, ()
    unreachable = []
    best = max(repeated, key=_mean)
    for contrast in comparison.contrasts:
        if best.name not in (contrast.better, contrast.other) or contrast.pair.significant:
            continue
        rival = comparison.summary(contrast.other)
        more = contrast.more_shots if worth is None else _more(best, rival, worth, comparison)
        if more is None:
            unreachable.append(f'"{best.name}" and "{rival.name}"')
            continue
        for one, other in ((best, rival), (rival, best)) if more else ():
            if one.name not in steps or steps[one.name].shots < more:
                steps[one.name] = Step(one.name, more, f'to tell it from "{other.name}"')
    return steps, tuple(unreachable)


def _promises(repeated: Sequence[Summary], sweep: Sequence[Candidate]) -> tuple[Promise, ...]:
    """Return the machines of a sweep by their expected gain on the best measured mean."""
    floor = max(
        (s.mean for s in repeated if s.mean is not None),
        key=lambda m: m.value,
        default=Estimate(0.0, 0.0),
    )
    found = [
        Promise(
            one.label,
            one.predicted,
            expected_improvement(one.predicted, floor),
            one.beyond,
            one.safety,
        )
        for one in sweep
    ]
    return tuple(sorted(found, key=lambda p: -p.gain))


def plan_sentences(made: Plan, comparison: Comparison, worth: float | None = None) -> list[str]:
    """Return the plan in words."""
    unit = WORDINGS[comparison.quantity].unit
    said = []
    if made.settled:
        said.append(_settled(comparison, worth, unit))
    for step in made.steps:
        shots = "1 more shot" if step.shots == 1 else f"{step.shots} more shots"
        said.append(f'"{step.name}": {shots}, {step.why}.')
    if any("to tell" in step.why for step in made.steps):
        what = (
            "if the differences are what they look like"
            if worth is None
            else f"if they differ by {worth:g} {unit}"
        )
        said.append(f"They show the difference with a chance of 80 %, {what}.")
    for pair in made.unreachable:
        said.append(
            f"No sensible number of shots separates {pair}: choose by other things than "
            f"{WORDINGS[comparison.quantity].noun}"
            + ("." if worth is not None else ", or say which difference is worth knowing.")
        )
    return said + _promised(made, unit)


def _promised(made: Plan, unit: str) -> list[str]:
    """Return which machine of a sweep to build, inside what was shot and beyond it."""
    if not made.promises:
        return []
    inside = next((one for one in made.promises if not one.beyond), None)
    outside = next((one for one in made.promises if one.beyond), None)
    said = []
    if inside is not None and _worthwhile(inside):
        said.append(f"Build {inside.label} next: {_gain(inside, unit)}. {inside.safety}".strip())
    elif inside is not None:
        said.append("Nothing inside what was shot is expected to gain.")
    least = 0.0 if inside is None else inside.gain
    if outside is not None and _worthwhile(outside) and outside.gain > least:
        said.append(
            f"{outside.label} lies {outside.beyond}, where the model is not tested: "
            f"{_gain(outside, unit)}. {outside.safety}".strip()
        )
    return said or ["Nothing in the sweep is expected to gain on the best so far."]


def worth_building(made: Plan) -> bool:
    """Return whether a machine that was not shot yet is expected to gain."""
    return any(_worthwhile(one) for one in made.promises)


def _worthwhile(one: Promise) -> bool:
    return one.gain > LEAST_GAIN * max(abs(one.predicted.value), 1e-9)


def _gain(one: Promise, unit: str) -> str:
    return (
        f"it is expected to gain {one.gain:.1f} {unit} on the best so far ("
        f"{rounded(one.predicted.value, one.predicted.u)} {unit} predicted, standard "
        f"uncertainty {rounded(one.predicted.u, one.predicted.u)} {unit})"
    )


def teaches_most(comparison: Comparison, scatter: float) -> tuple[str, float] | None:
    """Return where further shots raise the expected best most, and by how much.

    Parameters
    ----------
    comparison : Comparison
        With what is expected of setups that were not shot.
    scatter : float
        Standard deviation from shot to shot of a setup without shots of its own.

    Notes
    -----
    The knowledge gradient: P. I. Frazier, W. B. Powell and S. Dayanik, SIAM Journal on Control and
    Optimization 47, 2410 (2008).
    """
    known: dict[str, tuple[Estimate, float]] = {
        name: (one, scatter) for name, one in comparison.expected.items()
    }
    for summary in comparison.summaries:
        if summary.mean is not None and summary.sample is not None:
            known[summary.name] = (summary.mean, max(summary.sample.sd, 1e-9))
    found = []
    for name, (one, sd) in known.items():
        rest = [other.value for label, (other, _) in known.items() if label != name]
        if not rest or one.u <= 0.0:
            continue
        moved = one.u**2 / math.sqrt(one.u**2 + sd**2 / SHOTS_TO_START)
        ahead = one.value - max(rest)
        gain = expected_improvement(Estimate(ahead, moved), Estimate(0.0, 0.0)) - max(ahead, 0.0)
        found.append((gain, name))
    if not found:
        return None
    gain, name = max(found)
    return name, gain


def _settled(comparison: Comparison, worth: float | None, unit: str) -> str:
    repeated = [s for s in comparison.summaries if s.sample is not None and s.used > 1]
    best = max(repeated, key=_mean)
    if len(repeated) == 1:
        return f'"{best.name}" is the only setup with shots: there is nothing to compare it with.'
    if worth is None or all(c.pair.significant for c in comparison.contrasts):
        return (
            f'"{best.name}" is the best, clearly ahead of every other: no shot is needed for that.'
        )
    return f'No shot is needed: whatever differs from "{best.name}" by {worth:g} {unit} would show.'


def _mean(summary: Summary) -> float:
    assert summary.sample is not None
    return summary.sample.mean


def _more(best: Summary, rival: Summary, worth: float, comparison: Comparison) -> int | None:
    """Return the further shots in each that show a difference worth knowing."""
    assert best.sample is not None and rival.sample is not None
    scatters = (best.sample.sd, rival.sample.sd)
    counts = (best.sample.count, rival.sample.count)
    groups = sum(s.mean is not None for s in comparison.summaries)
    left = residue(best, rival)
    return shots_more(worth, scatters, counts, groups, left, comparison.level)
