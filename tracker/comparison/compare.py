"""Setups compared in pairs, and measured means compared with predicted ones."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from tracker.comparison.evenings import evening_effect, evening_residue
from tracker.comparison.setups import SetupShots, Summary, evening_groups, summarise
from tracker.statistics.agreement import Agreement, e_number
from tracker.statistics.components import Estimate, difference
from tracker.statistics.pairwise import Pair, pair_level, simultaneous
from tracker.statistics.power import planned_scatter, power_of_two

MOST_MORE = 200
"""Further shots in each setup beyond which no plan is made (common practice, no source)."""

POWER = 0.8
"""Chance of a significant difference that a plan aims at (Cohen, 1988)."""


@dataclass(frozen=True)
class Contrast:
    """The difference of two setups.

    Attributes
    ----------
    better, other : str
        The one with the greater mean first.
    pair : Pair
        Their difference, better less other, with an interval that holds for all pairs together.
    residue_u : float
        Part of its standard uncertainty that further shots do not lessen.
    more_shots : int or None
        Further shots in each that would make it significant with a chance of 80 %, if the true
        difference is the measured one. None where it is significant already, or no number would.
    """

    better: str
    other: str
    pair: Pair
    residue_u: float
    more_shots: int | None


@dataclass(frozen=True)
class Verdict:
    """A setup's measured mean against its prediction.

    Attributes
    ----------
    name : str
    measured, predicted : Estimate
    difference : Estimate
        Measured less predicted.
    e_number : Agreement
    """

    name: str
    measured: Estimate
    predicted: Estimate
    difference: Estimate
    e_number: Agreement


@dataclass(frozen=True)
class Comparison:
    """One quantity of several setups: summaries, differences, agreement with predictions.

    Attributes
    ----------
    quantity : str
        Its column in shots.csv.
    level : float
    summaries : tuple of Summary
        In the order given.
    contrasts : tuple of Contrast
        All pairs of setups with two shots or more.
    verdicts : tuple of Verdict
    expected : mapping of str to Estimate
        Prediction of each setup that has no measured mean.
    """

    quantity: str
    level: float
    summaries: tuple[Summary, ...]
    contrasts: tuple[Contrast, ...]
    verdicts: tuple[Verdict, ...]
    expected: Mapping[str, Estimate] = field(default_factory=dict)

    def summary(self, name: str) -> Summary:
        """Return the summary of that setup."""
        return next(summary for summary in self.summaries if summary.name == name)


def compare(
    setups: Sequence[SetupShots],
    quantity: str = "carry_m",
    predictions: Mapping[str, Estimate] | None = None,
    level: float = 0.95,
    remarks: bool = True,
) -> Comparison:
    """Compare setups with each other and with their predictions.

    Parameters
    ----------
    setups : sequence of SetupShots
    quantity : str
        A column of shots.csv.
    predictions : mapping of str to Estimate, optional
        Predicted mean of a setup, by its name.
    level : float
        Confidence of every interval; for the contrasts that of all together.
    remarks : bool
        False leaves out where the shots land, and which evenings differ.

    Notes
    -----
    Pairs by Tamhane's T2 (`tracker.statistics.pairwise`), with the shared error of the
    calibrations added as far as it does not cancel: under one calibration an error of one percent
    leaves one percent of the difference.
    """
    effect = evening_effect([evening_groups(setup, quantity) for setup in setups])
    summaries = tuple(summarise(setup, quantity, level, effect, remarks) for setup in setups)
    repeated = [summary for summary in summaries if summary.mean is not None]
    contrasts = [
        _contrast(first, second, len(repeated), level)
        for place, first in enumerate(repeated)
        for second in repeated[place + 1 :]
    ]
    verdicts = [
        _verdict(summary.name, summary.mean, predictions[summary.name], level)
        for summary in repeated
        if predictions and summary.mean is not None and summary.name in predictions
    ]
    unshot = {
        summary.name: predictions[summary.name]
        for summary in summaries
        if predictions and summary.mean is None and summary.name in predictions
    }
    return Comparison(quantity, level, summaries, tuple(contrasts), tuple(verdicts), unshot)


def shared_correlation(first: Summary, second: Summary) -> float:
    """Return the correlation of two setups' shared errors: 1 under one calibration, 0 under two."""
    one, other = first.weights, second.weights
    return one.common(other) / (one.spread * other.spread)


def residue(first: Summary, second: Summary) -> float:
    """Return the standard uncertainty that calibrations and evenings leave in a difference."""
    a, b = first.shared_u, second.shared_u
    square = a * a + b * b - 2.0 * shared_correlation(first, second) * a * b
    return math.hypot(math.sqrt(max(0.0, square)), evening_residue(first.evenings, second.evenings))


def _contrast(first: Summary, second: Summary, groups: int, level: float) -> Contrast:
    assert first.sample is not None and second.sample is not None
    if second.sample.mean > first.sample.mean:
        first, second = second, first
    one, other = first.sample, second.sample
    assert one is not None and other is not None
    left = residue(first, second)
    found = difference(one, other, (left, 0.0), 0.0)
    pair = simultaneous(found.value, found.u, found.dof, groups, level)
    more = None
    if not pair.significant:
        scatters, counts = (one.sd, other.sd), (one.count, other.count)
        more = shots_more(pair.difference, scatters, counts, groups, left, level)
        more = None if more is None else max(more, 1)
    return Contrast(first.name, second.name, pair, left, more)


def shots_more(
    gap: float,
    scatters: tuple[float, float],
    counts: tuple[int, int],
    groups: int,
    residue_u: float,
    level: float = 0.95,
) -> int | None:
    """Return how many further shots in each setup would show a difference with 80 % chance.

    Parameters
    ----------
    gap : float
        True difference.
    scatters, counts : tuple of two
        Standard deviation and number of the shots so far.
    groups : int
        Setups compared together.
    residue_u : float
        Standard uncertainty that further shots do not lessen.
    level : float

    Returns
    -------
    int or None
        None where not even `MOST_MORE` would.
    """
    if gap == 0.0 or min(counts) < 2:
        return None

    confidence = pair_level(groups, level)
    planned = (planned_scatter(scatters[0], counts[0]), planned_scatter(scatters[1], counts[1]))

    def enough(more: int) -> bool:
        grown = (counts[0] + more, counts[1] + more)
        return power_of_two(gap, planned, grown, confidence, residue_u) >= POWER

    if enough(0):
        return 0
    if not enough(MOST_MORE):
        return None
    low, high = 0, MOST_MORE
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def _verdict(name: str, measured: Estimate, predicted: Estimate, level: float) -> Verdict:
    off = Estimate(measured.value - predicted.value, math.hypot(measured.u, predicted.u))
    score = e_number(
        measured.value, measured.expanded(level), predicted.value, predicted.expanded(level)
    )
    return Verdict(name, measured, predicted, off, score)
