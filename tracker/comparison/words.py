"""A comparison in sentences, the answer first."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tracker.comparison.compare import Comparison, Contrast, Verdict
from tracker.comparison.evenings import Evenings
from tracker.comparison.setups import Summary
from tracker.statistics.components import Estimate


@dataclass(frozen=True)
class Wording:
    """How one quantity is spoken of."""

    does: str
    more: str
    unit: str
    noun: str


MOST_PAIRS = 6
"""Pairs that are all written out; of more only those with the best setup, so that the answer stays
on the screen."""

ENOUGH, FEWEST = 5, 4
"""Shots of a setup that are asked for, and below which a wide interval comes from their number:
Student's factor over the root of their count is 9.0 for two, 2.5 for three, 1.6 for four, 1.2 for
five (any table of Student's distribution)."""

MOST_RANGES = 4
"""Evenings whose ranges are all written out."""

WORDINGS = {
    "carry_m": Wording("carries", "farther than", "m", "carry"),
    "exit_speed_mps": Wording("shoots", "faster than", "m/s", "exit speed"),
    "launch_angle_deg": Wording("shoots", "steeper than", "°", "launch angle"),
    "azimuth_deg": Wording("shoots", "farther left than", "°", "azimuth"),
    "apex_m": Wording("shoots", "higher than", "m", "apex"),
    "flight_time_s": Wording("stays up", "longer than", "s", "flight time"),
    "landing_along_m": Wording("lands", "farther out than", "m", "landing point along"),
    "landing_across_m": Wording("lands", "farther left than", "m", "landing point across"),
}
"""Quantities that can be compared, by their column in shots.csv."""


def rounded(value: float, u: float) -> str:
    """Return a value as far as two digits of its uncertainty go."""
    return f"{value:.{decimals(u)}f}"


def decimals(u: float) -> int:
    """Return how many decimals two digits of an uncertainty need, none below zero."""
    if not math.isfinite(u) or u <= 0.0:
        return 2
    return max(0, 1 - math.floor(math.log10(u)))


def spread(value: float, half_width: float, unit: str) -> str:
    """Return ``"6.1 m ± 1.4 m"``."""
    return f"{rounded(value, half_width)} {unit} ± {rounded(half_width, half_width)} {unit}"


def sentences(comparison: Comparison) -> list[str]:
    """Return the comparison in words: differences, then agreement, then what limits them."""
    return [
        *difference_sentences(comparison),
        *apart_sentences(comparison),
        *few_sentences(comparison),
        *agreement_sentences(comparison),
        *remark_sentences(comparison),
    ]


def difference_sentences(comparison: Comparison) -> list[str]:
    """Return which setups differ and by how much, and what their ± means.

    The lead over the next best comes first: it is what "by how much" asks for.
    """
    wording = WORDINGS[comparison.quantity]
    shown, rest = _of_the_best(comparison)
    said = [
        _clear(c, wording) if c.pair.significant else _open(c, wording, comparison) for c in shown
    ]
    if rest:
        real = sum(c.pair.significant for c in rest)
        said.append(f"Of the other {len(rest)} pairs {real} differ significantly.")
    if len(comparison.contrasts) > 1:
        said.append(
            f"Each ± holds for all {len(comparison.contrasts)} pairs together with "
            f"{100 * comparison.level:g} % confidence (Tamhane, 1979)."
        )
    elif comparison.contrasts:
        said.append(f"The ± is the {100 * comparison.level:g} % interval of the difference.")
    return said


def apart_sentences(comparison: Comparison) -> list[str]:
    """Return that differences are called real though evenings alone might make them.

    Nothing is known of what an evening changes where no setup was shot on two. Simulated, two alike
    setups of an evening each that differ by 1.5 % differ significantly in a third of the cases.
    """
    by_name = {summary.name: summary.evenings for summary in comparison.summaries}
    names = [
        name
        for c in comparison.contrasts
        if c.pair.significant and _never_together(by_name[c.better], by_name[c.other])
        for name in (c.better, c.other)
    ]
    if not names:
        return []
    called = [f'"{name}"' for name in dict.fromkeys(names)]
    who = " and ".join(called) if len(called) < MOST_RANGES else f"{len(called)} setups"
    return [
        f"{who} were shot on different evenings, and no setup on two of them: what wind and "
        "battery change from one evening to the next is not in the ±; shoot them on one evening "
        "before you build on the difference."
    ]


def _never_together(first: Evenings, second: Evenings) -> bool:
    return first.u == second.u == 0.0 and first.weights.common(second.weights) == 0.0


def few_sentences(comparison: Comparison) -> list[str]:
    """Return whose ± is wide because there are few shots, and how many more to shoot.

    An interval is wide for that where the scatter of the shots outweighs what they share: its
    degrees of freedom are then no more than those of the scatter of so few.
    """
    few: dict[int, list[str]] = {}
    for summary in comparison.summaries:
        if summary.mean is not None and summary.used < FEWEST and summary.mean.dof < FEWEST - 1:
            few.setdefault(summary.used, []).append(f'"{summary.name}"')
    return [
        f"The ± of {' and '.join(names)} is so wide because of {_number(count)} shots only: shoot "
        f"{_number(ENOUGH - count)} more{' of each' if len(names) > 1 else ''}."
        for count, names in sorted(few.items())
    ]


def agreement_sentences(comparison: Comparison) -> list[str]:
    """Return how the measured means agree with the predicted ones."""
    return [_verdict(v, WORDINGS[comparison.quantity]) for v in comparison.verdicts]


def remark_sentences(comparison: Comparison, figures: bool = True) -> list[str]:
    """Return what limits the answer, setup by setup.

    Parameters
    ----------
    comparison : Comparison
    figures : bool
        False where the figures of single shots stand beside it, as in a table.
    """
    wording = WORDINGS[comparison.quantity]
    return [
        words
        for summary in comparison.summaries
        for words in _about(summary, wording, comparison.expected.get(summary.name), figures)
    ]


def _of_the_best(comparison: Comparison) -> tuple[list[Contrast], list[Contrast]]:
    """Return the pairs that are written out, and the others: all of few, else those of the best.

    Those of the best come first, the least lead before the others; then what differs, the most
    first, and what does not.
    """
    if not comparison.contrasts:
        return [], []
    means = {s.name: s.sample.mean for s in comparison.summaries if s.sample is not None}
    best = max(means, key=lambda name: means[name])
    mine = [c for c in comparison.contrasts if best in (c.better, c.other)]
    rest = [c for c in comparison.contrasts if c not in mine]
    mine.sort(key=lambda c: c.pair.difference)
    rest.sort(key=lambda c: (not c.pair.significant, -c.pair.difference))
    return (mine, rest) if len(mine) + len(rest) > MOST_PAIRS else ([*mine, *rest], [])


def still_sentences(measured: Comparison, still: Comparison) -> list[str]:
    """Return how the setups compare in still standard air, beside the carries as measured."""
    wording = WORDINGS[measured.quantity]
    parts = [
        f'"{calm.name}" {spread(calm.mean.value, calm.mean.expanded(), wording.unit)} '
        f"({rounded(raw.mean.value, raw.mean.expanded())} {wording.unit} as measured)"
        for raw, calm in zip(measured.summaries, still.summaries, strict=True)
        if raw.mean is not None and calm.mean is not None
    ]
    if not parts:
        return []
    clear = [c for c in still.contrasts if c.pair.significant]
    verdict = ""
    if clear:
        most = max(clear, key=lambda c: c.pair.difference)
        gap = spread(most.pair.difference, most.pair.half_width, wording.unit)
        verdict = f' There "{most.better}" {wording.does} {gap} {wording.more} "{most.other}".'
    return [f"In still standard air: {', '.join(parts)}.{verdict}"]


def wind_sentence(uneven: tuple[float, float], moved_m: float) -> str:
    """Return why carries in still air come before those that were measured.

    Parameters
    ----------
    uneven : (float, float)
        By how much the winds of the evenings differ, and its standard uncertainty, m/s.
    moved_m : float
        By how much the winds' uncertainty changes a carry in still air.
    """
    gap, u = uneven
    return (
        f"Still air comes first because the wind along the line was not the same: the evenings "
        f"differ by up to {gap:.1f} m/s ± {u:.1f} m/s. How well it is known moves a carry in still "
        f"air by up to {moved_m:.1f} m, which no ± counts. What "
        "follows is of the carries as measured, each in the wind of its evening."
    )


def _clear(contrast: Contrast, wording: Wording) -> str:
    pair = contrast.pair
    return (
        f'"{contrast.better}" {wording.does} '
        f"{spread(pair.difference, pair.half_width, wording.unit)} {wording.more} "
        f'"{contrast.other}".'
    )


def _open(contrast: Contrast, wording: Wording, comparison: Comparison) -> str:
    pair = contrast.pair
    counts = {comparison.summary(name).used for name in (contrast.better, contrast.other)}
    shots = (
        f"{_number(counts.pop())} shots"
        if len(counts) == 1
        else f"{min(counts)} and {max(counts)} shots"
    )
    start = (
        f'Between "{contrast.better}" and "{contrast.other}" {shots} can\'t tell: '
        f"{spread(pair.difference, pair.half_width, wording.unit)}"
    )
    if contrast.more_shots is not None:
        return f"{start}; {contrast.more_shots} more each would, if that is the difference."
    if contrast.residue_u > 0.3 * pair.u:
        return f"{start}; more shots alone would not, the calibrations differ by as much."
    return f"{start}; if they differ at all, it is by too little to show on a field."


def _verdict(verdict: Verdict, wording: Wording) -> str:
    agrees = "agrees with" if verdict.e_number.agrees else "does not agree with"
    off, expanded = verdict.difference.value, verdict.difference.expanded()
    where = "more" if off > 0.0 else "less"
    return (
        f'"{verdict.name}": the measured {wording.noun} {agrees} the predicted one: '
        f"{spread(verdict.measured.value, verdict.measured.expanded(), wording.unit)} against "
        f"{spread(verdict.predicted.value, verdict.predicted.expanded(), wording.unit)}, "
        f"{rounded(abs(off), expanded)} {wording.unit} {where}; "
        f"E_n = {verdict.e_number.score:+.2f} (ISO/IEC 17043: up to 1 in size is satisfactory)."
    )


def _about(
    summary: Summary, wording: Wording, expected: Estimate | None, figures: bool
) -> list[str]:
    said = []
    name = f'"{summary.name}"'
    if summary.used == 0:
        unused = ", ".join(f"{count} {why}" for why, count in summary.unused_why.items())
        known = "nothing is known of it yet"
        if expected is not None:
            figure = spread(expected.value, expected.expanded(), wording.unit)
            known = f"the model expects {figure}"
        shots = (
            f"no shot whose {wording.noun} counts ({unused})" if summary.rejected else "no shots"
        )
        said.append(f"{name} has {shots}: {known}.")
    elif summary.used == 1 and summary.sample is not None:
        figure = f", {summary.sample.mean:.1f} {wording.unit}" if figures else ""
        said.append(
            f"{name} has one shot{figure}: one shot shows no scatter, so it is compared with "
            "nothing; shoot at least one more, better four."
        )
    if summary.outlier is not None:
        out = summary.outlier
        said.append(
            f"Shot {out.shot} of {out.clip} is an outlier of {name}: {out.value:.1f} "
            f"{wording.unit}, "
            f"{out.statistic:.2f} standard deviations from the mean where {out.critical:.2f} is "
            f"the limit (Grubbs, 5 %). It is kept; without it the mean would be "
            f"{out.mean_without:.1f} {wording.unit}."
        )
    if summary.used and summary.rejected:
        said.append(
            f"{summary.rejected} of the shots of {name} "
            f"{'does' if summary.rejected == 1 else 'do'} not count: rejected, without this "
            "figure, or to be checked for a reason that spoils it."
        )
    if summary.sample is not None and summary.used > 1 and summary.sample.sd == 0.0:
        said.append(
            f"All {summary.used} shots of {name} have the same {wording.noun} to the last digit: "
            "shots scatter, so these look copied; measure the session again."
        )
    if summary.without_u:
        said.append(
            f"{summary.without_u} of the shots of {name} state an uncertainty of the "
            f"{wording.noun} that is zero, negative or no number: it is left out; measure the "
            "session again."
        )
    if summary.evenings.ranges:
        said.append(
            f"The evenings of {name} differ by more than its shots do "
            f"({_spans(summary.evenings.ranges, wording.unit)}): wind, or the battery? Its ± "
            "counts that."
        )
    if summary.doubtful:
        said.append(_doubtful(summary, name, wording.noun))
    return said


def _doubtful(summary: Summary, name: str, noun: str) -> str:
    """Return that shots count although they are to be checked, and for which figure."""
    it = f"for the {noun} it counts" if summary.doubtful == 1 else f"for the {noun} they count"
    if summary.doubtful < summary.used:
        are = "is" if summary.doubtful == 1 else "are"
        return f"{summary.doubtful} of the shots of {name} {are} to be checked; {it}."
    if summary.used == 1:
        return f"The shot of {name} is to be checked; {it}."
    return f"All {summary.used} shots of {name} are to be checked; {it}."


def _spans(ranges: Sequence[tuple[float, float]], unit: str) -> str:
    """Return the ranges of evenings; of more than a few the lowest and the highest."""
    if len(ranges) > MOST_RANGES:
        low, high = (_spans([one], unit) for one in (min(ranges), max(ranges)))
        return f"{low} on the lowest and {high} on the highest of {len(ranges)}"
    return " and ".join(f"{low:.1f} to {high:.1f}" for low, high in ranges) + f" {unit}"


def _number(count: int) -> str:
    words = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
    return words[count] if count < len(words) else str(count)
