"""The words of a report: the answer first, then each setup's figures and each shot's."""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from tracker.comparison.compare import Comparison
from tracker.comparison.setups import SetupShots, Summary, summarise, u_column
from tracker.comparison.words import (
    WORDINGS,
    agreement_sentences,
    difference_sentences,
    few_sentences,
    remark_sentences,
    rounded,
    spread,
)
from tracker.records import Quality, ReasonCode
from tracker.report.budget_table import CAUSES, NEGLIGIBLE, UNTAPED
from tracker.report.document.facts import ReportFacts, ShotFigures
from tracker.report.rounding import MISSING, figure_rows, whole_percents
from tracker.report.terminal import QUANTITIES

COMPARED = ("carry_m", "exit_speed_mps", "launch_angle_deg", "apex_m", "flight_time_s")
"""Figures of a setup that stand side by side."""

BUDGETED = (("exit_speed_mps", "exit speed"), ("carry_m", "carry"))
"""Figures whose uncertainty is taken apart."""

MOST_CAUSES = 6
"""Causes that are shown of a figure's uncertainty; the others are small."""

REST = "all others together"


@dataclass(frozen=True)
class Words:
    """A comparison in sentences, apart by what they are about."""

    answer: tuple[str, ...]
    agreement: tuple[str, ...]
    remarks: tuple[str, ...]


@dataclass(frozen=True)
class SetupRow:
    """One setup in a table: its place among the setups, and its cells."""

    place: int
    name: str
    shots: str
    cells: tuple[str, ...]


@dataclass(frozen=True)
class Causes:
    """What a figure's variance comes from, as shares, and what would lessen the largest."""

    figure: str
    parts: tuple[tuple[str, float], ...]
    remedy: str


def words_of(comparison: Comparison) -> Words:
    """Return a comparison's sentences: the differences, the predictions, and what limits both."""
    return Words(
        (*difference_sentences(comparison), *few_sentences(comparison)),
        tuple(agreement_sentences(comparison)),
        tuple(remark_sentences(comparison, figures=False)),
    )


def unpredicted(comparison: Comparison) -> str:
    """Return why no measured mean has a prediction beside it, with what to do."""
    if all(summary.mean is None for summary in comparison.summaries):
        why = "no setup has two shots that count"
    elif comparison.expected:
        why = "the setups with two shots or more do not state wheels and motor in session.toml"
    else:
        tables = "[setup.wheel] and [setup.motor] of session.toml"
        why = f"the setups do not state how they are built, in {tables}"
    return f"Nothing is predicted: {why}."


def headlines(comparisons: Sequence[Comparison], setups: Sequence[SetupShots]) -> list[str]:
    """Return the answer: a sentence for each comparison, or the figures of single shots.

    Parameters
    ----------
    comparisons : sequence of Comparison
    setups : sequence of SetupShots
        Those that they were made from.
    """
    summaries = [summary for each in comparisons for summary in each.summaries]
    if any(each.mean is not None for each in summaries) or not any(each.used for each in summaries):
        return list(dict.fromkeys(headline(each) for each in comparisons))
    said = [_single_shots(each.quantity, setups) for each in comparisons]
    # Of one figure there may be a shot that counts and of another none.
    return [*(each for each in said if each), *dict.fromkeys(map(headline, comparisons))]


def _single_shots(quantity: str, setups: Sequence[SetupShots]) -> str:
    """Return a figure of each setup's only shot, to twice its standard uncertainty; "" for none."""
    wording = WORDINGS[quantity]
    found = {
        setup.name: spread(value, 2.0 * u, wording.unit)
        if 0.0 < u < math.inf
        else f"{value:.1f} {wording.unit}"
        for setup in setups
        for value, u in zip(setup.figures(quantity), setup.column(u_column(quantity)), strict=True)
        if math.isfinite(value)
    }
    if len(found) < 2:
        return "".join(f"{_capital(wording.noun)} {each}, of one shot." for each in found.values())
    listed = ", ".join(f'{each} of "{name}"' for name, each in found.items())
    return f"{_capital(wording.noun)} {listed}, one shot each."


def _capital(noun: str) -> str:
    return f"{noun[:1].upper()}{noun[1:]}"


def headline(comparison: Comparison) -> str:
    """Return the answer in one sentence.

    The setup that is ahead of all others is named; where none is, that is said; a single setup
    has its mean.
    """
    wording = WORDINGS[comparison.quantity]
    means = [each for each in comparison.summaries if each.mean is not None]
    if not means:
        count = sum(summary.used for summary in comparison.summaries)
        unused: Counter[str] = Counter()
        for each in comparison.summaries:
            unused.update(each.unused_why)
        if count == 0 and unused:
            why = ", ".join(f"{number} {why}" for why, number in unused.items())
            return f"No shot has a {wording.noun} that counts: {why}."
        if count == 0:
            return "No shot was measured."
        return "There are too few shots of any setup for a mean: shoot at least two, better five."
    best = max(means, key=lambda each: -float("inf") if each.mean is None else each.mean.value)
    if len(means) == 1:
        return f'"{best.name}": {wording.noun} {_mean(best, comparison)}, mean of {_shots(best)}.'
    ahead = [each for each in comparison.contrasts if each.better == best.name]
    if len(ahead) == len(means) - 1 and all(each.pair.significant for each in ahead):
        return (
            f'"{best.name}" has the greatest {wording.noun}: {_mean(best, comparison)}, mean of '
            f"{_shots(best)}."
        )
    return f"No setup is clearly ahead of all others in {wording.noun}."


def setup_rows(setups: Sequence[SetupShots], level: float) -> list[SetupRow]:
    """Return the mean of each figure of each setup with its interval."""
    columns = []
    for quantity in COMPARED:
        found = [summarise(setup, quantity, level) for setup in setups]
        halves = [each.mean.expanded(level) for each in found if each.mean is not None]
        columns.append([_mean_cell(each, level, min(halves, default=0.0)) for each in found])
    rows = []
    for place, (setup, *cells) in enumerate(zip(setups, *columns, strict=True)):
        scatter = summarise(setup, COMPARED[0], level).scatter
        cells.append(MISSING if scatter is None else f"{scatter[0]:.2g} to {scatter[1]:.2g}")
        rows.append(SetupRow(place, setup.name, _count(setup), tuple(cells)))
    return rows


def _mean_cell(summary: Summary, level: float, finest: float) -> str:
    """Return a setup's mean with its interval, as far as the finest of the column goes."""
    if summary.mean is not None:
        half = summary.mean.expanded(level)
        return f"{rounded(summary.mean.value, finest)} ± {rounded(half, finest)}"
    return MISSING if summary.sample is None else f"{summary.sample.mean:.1f}"


def shot_cells(rows: Sequence[ShotFigures]) -> list[tuple[str, ...]]:
    """Return the figures of each shot with their uncertainties, aligned by column."""
    return figure_rows([row.shot for row in rows], [one[2:] for one in QUANTITIES])


def causes_of(facts: ReportFacts) -> list[Causes]:
    """Return what the variance of each budgeted figure comes from, over all shots that count."""
    found = []
    counted = [row for row in facts.shots if row.shot.quality is not Quality.REJECTED]
    untaped = any(
        reason.code is ReasonCode.TAPE_ONE_DISTANCE
        for row in counted
        for reason in row.shot.reasons
    )
    cures = {source: cure for source, (_, cure) in CAUSES.items()} | (UNTAPED if untaped else {})
    for name, heading in BUDGETED:
        totals: dict[str, float] = {}
        for row in counted:
            for source, u in row.budget.get(name, {}).items():
                totals[source] = totals.get(source, 0.0) + u * u
        whole = sum(totals.values())
        if whole <= 0.0:
            continue
        ranked = sorted(totals.items(), key=lambda each: -each[1])[:MOST_CAUSES]
        named = [
            (CAUSES[source][0] if source in CAUSES else source, variance / whole)
            for source, variance in ranked
            if variance / whole >= NEGLIGIBLE
        ]
        named.append((REST, max(0.0, 1.0 - sum(share for _, share in named))))
        rounded = whole_percents([share for _, share in named])
        parts = tuple(
            (label, share)
            for (label, _), share in zip(named, rounded, strict=True)
            if share > 0.0 or label != REST
        )
        found.append(Causes(heading, parts, cures.get(ranked[0][0], "")))
    return found


def _mean(summary: Summary, comparison: Comparison) -> str:
    assert summary.mean is not None
    unit = WORDINGS[comparison.quantity].unit
    return spread(summary.mean.value, summary.mean.expanded(comparison.level), unit)


def _shots(summary: Summary) -> str:
    return "1 shot" if summary.used == 1 else f"{summary.used} shots"


def _count(setup: SetupShots) -> str:
    """Return how many shots there are, and how many of them are not good."""
    parts = [str(len(setup.shots))]
    for quality, words in ((Quality.CHECK, "to be checked"), (Quality.REJECTED, "rejected")):
        count = sum(shot.quality is quality for shot in setup.shots)
        if count:
            parts.append(f"{count} {words}")
    return ", ".join(parts)
