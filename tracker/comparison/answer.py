"""The answer to the question which setup is best, with its chances."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.comparison.compare import Comparison
from tracker.comparison.setups import Summary
from tracker.comparison.words import WORDINGS, spread
from tracker.statistics.components import Estimate

Array = NDArray[np.float64]

CLEAR = 0.95
"""Chance from which on a setup is called the best without more ado (common practice, no source)."""

FEW = 0.01
"""Chances below are left out of the sentence."""


@dataclass(frozen=True)
class Expected:
    """What is expected of a setup without a measured mean.

    Attributes
    ----------
    estimate : Estimate
    scores : ndarray, shape (K,)
        Equally likely standard scores; those of several setups belong together.
    """

    estimate: Estimate
    scores: Array


@dataclass(frozen=True)
class Chances:
    """Chances of every setup, shot or not.

    Attributes
    ----------
    names : tuple of str
    best : tuple of float
        Chance that its true mean is the greatest.
    present : str
        The setup with the greatest measured mean; empty where none was shot.
    beats : tuple of float
        Chance that its true mean exceeds that of the present best by `worth`.
    worth : float
    means : tuple of Estimate
    shot : tuple of bool
    best_shot : tuple of float
        Chance that its true mean is the greatest of the setups that were shot; 0 for the others.
    """

    names: tuple[str, ...]
    best: tuple[float, ...]
    present: str
    beats: tuple[float, ...]
    worth: float
    means: tuple[Estimate, ...]
    shot: tuple[bool, ...]
    best_shot: tuple[float, ...]


def chances(
    comparison: Comparison, expected: Mapping[str, Expected], worth: float = 0.0
) -> Chances | None:
    """Return the chances of the setups, None where nothing is known of any.

    Parameters
    ----------
    comparison : Comparison
    expected : mapping of str to Expected
        For setups without a measured mean.
    worth : float
        Difference that matters.

    Notes
    -----
    By draws: Student's distribution for the scatter of a setup's shots, one error of each outing
    for all its setups in proportion to their means, the model's draws for the others.
    """
    known: dict[str, tuple[Estimate, Array, bool]] = {}
    count = len(next(iter(expected.values())).scores) if expected else 300
    rng = np.random.default_rng(14)
    outings: dict[str, Array] = {}
    for summary in comparison.summaries:
        if summary.mean is not None:
            known[summary.name] = (summary.mean, _drawn(summary, outings, count, rng), True)
        elif summary.name in expected:
            one = expected[summary.name]
            known[summary.name] = (
                one.estimate,
                one.estimate.value + one.estimate.u * one.scores,
                False,
            )
    if not known:
        return None
    names = tuple(known)
    draws = np.column_stack([drawn for _, drawn, _ in known.values()])
    shot = tuple(shot for *_, shot in known.values())
    means = tuple(mean for mean, *_ in known.values())
    best = _shares_of_best(draws)
    tried = np.where(shot, draws, -np.inf)
    measured = [i for i, was in enumerate(shot) if was]
    present = max(measured, key=lambda i: means[i].value) if measured else None
    beats = tuple(0.0 for _ in names)
    if present is not None:
        beats = tuple(
            float((draws[:, i] > draws[:, present] + worth).mean()) for i in range(len(names))
        )
    return Chances(
        names,
        best,
        "" if present is None else names[present],
        beats,
        worth,
        means,
        shot,
        _shares_of_best(tried) if measured else tuple(0.0 for _ in names),
    )


def _shares_of_best(draws: Array) -> tuple[float, ...]:
    """Return of each column in which share of the rows it is the greatest."""
    count, width = draws.shape
    return tuple(float(n) / count for n in np.bincount(draws.argmax(axis=1), minlength=width))


def _drawn(
    summary: Summary, outings: dict[str, Array], count: int, rng: np.random.Generator
) -> Array:
    """Return draws of the true mean of a setup that was shot."""
    sample = summary.sample
    assert sample is not None
    fresh = [name for name in summary.weights if name not in outings]
    outings.update(zip(fresh, rng.normal(size=(len(fresh), count)), strict=True))
    weights = summary.weights.array * (summary.shared_u / summary.weights.spread)
    common = weights @ np.array([outings[name] for name in summary.weights])
    own = rng.standard_t(sample.dof, count) * sample.u
    return np.asarray(sample.mean + own + common + rng.normal(size=count) * summary.evenings.mean_u)


def answer(
    found: Chances, comparison: Comparison, untested: Mapping[str, str] | None = None
) -> list[str]:
    """Return the answer in words: which setup, how sure, and every setup's chance.

    Parameters
    ----------
    found : Chances
    comparison : Comparison
    untested : mapping of str to str, optional
        Of a setup that was not shot, in words how far it lies beyond those that were.
    """
    wording = WORDINGS[comparison.quantity]
    pick = max(range(len(found.names)), key=lambda i: found.best[i])
    name, mean = found.names[pick], found.means[pick]
    figure = spread(mean.value, mean.expanded(), wording.unit)
    said = []
    if len(found.names) == 1:
        kind = "measured" if found.shot[pick] else "expected"
        return [f'"{name}": {figure} {kind}; there is no other setup to compare it with.']
    if not found.present:
        said.append(_model_alone(comparison))
    if found.shot[pick]:
        rivals = [i for i, shot in enumerate(found.shot) if not shot and found.best[i] >= FEW]
        sure, among = (
            (found.best_shot[pick], " of what was shot") if rivals else (found.best[pick], "")
        )
        likely = "" if sure >= CLEAR else "most likely "
        said.append(
            f'"{name}" is {likely}the best{among}: {figure}, with a chance of {percent(sure)}.'
        )
        said += [_by_the_model(found, i) for i in rivals]
    else:
        beaten = (
            f"; {percent(found.beats[pick])} likely to beat "
            f'"{found.present}"' + (f" by {found.worth:g} {wording.unit}" if found.worth else "")
            if found.present
            else ""
        )
        said.append(f'Build "{name}": {figure} expected{beaten}.')
        far = (untested or {}).get(name, "")
        if far:
            said.append(f"That is an extrapolation: {far}, where the model is not tested.")
    said.append(f"Chance to be the best: {_list(found.names, found.best)}.")
    others = [i for i, other in enumerate(found.names) if other != found.present]
    if found.present and found.worth > 0.0:
        said.append(
            f'Chance to beat "{found.present}" by {found.worth:g} {wording.unit}: '
            + _list([found.names[i] for i in others], [found.beats[i] for i in others])
            + "."
        )
    return said


def _by_the_model(found: Chances, place: int) -> str:
    """Return what the model gives a setup without a measured mean."""
    return (
        f'"{found.names[place]}" has no measured mean; the model alone gives it a chance of '
        f"{percent(found.best[place])} to be the best of all: shoot it before you believe that."
    )


def _model_alone(comparison: Comparison) -> str:
    """Say that nothing was measured yet, and what to do about it."""
    unused = sum(summary.rejected for summary in comparison.summaries)
    todo = "shoot each twice or more, better five times"
    if unused:
        many = f"the {unused} shots" if unused > 1 else "the shot"
        todo = f"look at {many} that could not be used: lobmeter review SESSION"
    return f"No setup has two shots that count, so this is the model alone; {todo}."


def _list(names: Sequence[str], shares: Sequence[float]) -> str:
    order = sorted(range(len(names)), key=lambda i: -shares[i])
    shown = [f'"{names[i]}" {percent(shares[i])}' for i in order if shares[i] >= FEW]
    left = len(names) - len(shown)
    rest = [] if not left else [f"{'the other ' if shown else 'all '}{left} less than 1 %"]
    return ", ".join(shown + rest)


def chance_words(name: str, found: Chances) -> tuple[str, str]:
    """Return a setup's chances to be the best and to beat the present one, ``"-"`` for none."""
    if name not in found.names:
        return "-", "-"
    place = found.names.index(name)
    present = not found.present or name == found.present
    return percent(found.best[place]), "-" if present else percent(found.beats[place])


def percent(share: float) -> str:
    """Return a chance in words of figures: ``"93 %"``, ``"less than 1 %"``."""
    if share > 0.99:
        return "more than 99 %"
    return "less than 1 %" if share < FEW else f"{100.0 * share:.0f} %"
