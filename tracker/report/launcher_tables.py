"""Tables of predictions and comparisons for the terminal."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from rich.markup import escape
from rich.table import Table

from tracker.comparison.answer import Chances, chance_words
from tracker.comparison.compare import Comparison
from tracker.comparison.knowledge import LeftOut
from tracker.comparison.setups import Summary
from tracker.comparison.words import WORDINGS, rounded
from tracker.launcher.discharge import HUNDREDTH, Discharge
from tracker.launcher.motor import RPM
from tracker.launcher.prediction import Costs, Prediction
from tracker.report.field_words import meaning_of, unit_of
from tracker.report.rounding import MISSING, aligned, with_uncertainty
from tracker.report.terminal import RULED
from tracker.statistics.components import Estimate


def _table(*headings: str) -> Table:
    table = Table(box=RULED, pad_edge=False, padding=(0, 1, 0, 0))
    for place, heading in enumerate(headings):
        # A name is folded, never cut: its end may be what tells it from another.
        table.add_column(
            heading, justify="right" if place else "left", no_wrap=place > 0, overflow="fold"
        )
    return table


def _rows(rows: Iterable[Sequence[Estimate | None]]) -> list[tuple[str, ...]]:
    """Return the cells of rows of estimates; those of one column have the same decimals."""
    columns = zip(*rows, strict=True)
    cells = [
        aligned((None, None) if one is None else (one.value, one.u) for one in column)
        for column in columns
    ]
    return list(zip(*cells, strict=True))


def _cell(estimate: Estimate | None) -> str:
    return MISSING if estimate is None else with_uncertainty(estimate.value, estimate.u)


WIDE = 100
"""Columns of a console that holds every prediction in one table; a narrower one gets two."""


def predictions_tables(
    predictions: Sequence[tuple[str, Prediction]], width: int = WIDE
) -> tuple[Table, ...]:
    """Return what to expect of each setup, in one table or in two that fit a narrow console.

    Parameters
    ----------
    predictions : sequence of (str, Prediction)
        Each setup's name and its prediction.
    width : int
        Columns of the console.
    """
    ball = ("exit speed\nm/s", "spin\nrpm", "carry\nm")
    motor = ("spin-up\ns", "ready in\ns", "a shot\nJ", "running\nW")
    groups = (ball + motor,) if width >= WIDE else (ball, motor)
    tables = tuple(_table("setup\n", *headings) for headings in groups)
    columns = _rows(
        [one.exit_speed, _spin(one), one.carry, *_columns(one.costs)] for _, one in predictions
    )
    for (name, one), found in zip(predictions, columns, strict=True):
        cells = list(found)
        if _spin(one) is None:
            cells[1] = "0"
        for table, headings in zip(tables, groups, strict=True):
            table.add_row(escape(name), *cells[: len(headings)])
            cells = cells[len(headings) :]
    return tables


def _spin(one: Prediction) -> Estimate | None:
    """Return the spin in turns a minute, None where it is none."""
    spin = Estimate(one.spin.value / RPM, one.spin.u / RPM)
    return spin if abs(spin.value) > 0.5 or spin.u > 0.5 else None


def _columns(costs: Costs | None) -> tuple[Estimate | None, ...]:
    if costs is None:
        return (None,) * 4
    return costs.spin_up_s, costs.recovery_s, costs.shot_j, costs.running_w


def discharges_table(found: Mapping[str, Discharge]) -> Table:
    """Return the shots on one charge, and how the exit speed falls."""
    table = _table(
        "setup\n", "shots\n", "100th shot\n% of first", "last shot\n% of first",
        "ready in, last\ns",
    )  # fmt: skip
    rows = _rows(
        [
            one.shots,
            _percent(one.hundredth) if one.shots.value >= HUNDREDTH else None,
            _percent(one.last),
            one.last_ready_s,
        ]
        for one in found.values()
    )
    for name, cells in zip(found, rows, strict=True):
        table.add_row(escape(name), *cells)
    return table


def _percent(share: Estimate) -> Estimate:
    return Estimate(100.0 * share.value, 100.0 * share.u)


def measured_sentence(speed: Estimate | None, carry: Estimate | None) -> str | None:
    """Return what was measured of a setup, to be read beside its prediction."""
    known = [
        f"{_cell(one)} {unit}" for one, unit in ((speed, "m/s"), (carry, "m")) if one is not None
    ]
    return f"Measured: {', '.join(known)}." if known else None


def sweep_table(key: str, values: Sequence[float], predictions: Sequence[Prediction]) -> Table:
    """Return what to expect along a sweep."""
    meaning, unit = meaning_of(key), unit_of(key)
    table = _table(f"{meaning}\n{unit}", "exit speed\nm/s", "carry\nm", "spin-up\ns", "wheels\nJ")
    rows = _rows(
        [one.exit_speed, one.carry, None if one.costs is None else one.costs.spin_up_s]
        for one in predictions
    )
    for value, one, cells in zip(values, predictions, rows, strict=True):
        table.add_row(f"{value:.4g}", *cells, f"{float(one.launch.stored_j):.0f}")
    return table


def left_out_table(left_out: Sequence[LeftOut]) -> Table:
    """Return each setup's measured value beside the one predicted from the others."""
    table = _table("setup", "measured", "predicted", "error")
    for name, *cells in left_out_rows(left_out):
        table.add_row(escape(name), *cells)
    return table


def left_out_rows(left_out: Sequence[LeftOut]) -> list[tuple[str, ...]]:
    """Return name, measured and predicted value, and error of each setup."""
    rows = _rows([one.measured, one.predicted, one.error] for one in left_out)
    return [(one.name, *cells) for one, cells in zip(left_out, rows, strict=True)]


def missed_sentences(left_out: Sequence[LeftOut]) -> list[str]:
    """Return which setups the others predict wrongly, beyond 95 %, and what to do; most are none.

    Parameters
    ----------
    left_out : sequence of LeftOut
    """
    return [
        f'The others miss "{one.name}": it shoots {abs(one.error.value):.1f} m/s '
        f"{'slower' if one.error.value > 0.0 else 'faster'} than they say, more than twice the "
        "±. Something in its build is not as stated, or the model lacks it: check its wheels, gap "
        "and voltage, and shoot before you trust a prediction for such a build."
        for one in left_out
        if abs(one.error.value) > EXPANDED * one.error.u
    ]


EXPANDED = 2.0
"""Standard uncertainties within which a prediction agrees (JCGM 100:2008, 6.3.3)."""

LONGEST_HEAD = 24
"""Characters of a setup's name that a heading repeats; common practice, no source."""


def summaries_table(comparison: Comparison) -> Table:
    """Return each setup's mean, or its prediction, with scatter and next shot."""
    unit = WORDINGS[comparison.quantity].unit
    table = _table(
        "setup\n", "shots\n", f"mean\n{unit}", f"scatter (95 %)\n{unit}", f"next shot\n{unit}"
    )
    for one in comparison.summaries:
        table.add_row(escape(one.name), str(one.used), *summary_cells(one, comparison))
    return table


def chances_table(chances: Chances, unit: str) -> Table:
    """Return the chance of every setup to be the best, and to beat the present one."""
    by = f" by {chances.worth:g} {unit}" if chances.worth else ""
    best = f'"{chances.present}"' if len(chances.present) <= LONGEST_HEAD else "the best so far"
    beaten = (f"beats {best}{by}",) if chances.present else ()
    table = _table("setup", "best", *beaten)
    for name in chances.names:
        table.add_row(escape(name), *chance_words(name, chances)[: 1 + len(beaten)])
    return table


def summary_cells(one: Summary, comparison: Comparison) -> list[str]:
    """Return mean, scatter and next shot of a setup; its prediction where it has no mean."""
    mean, scatter, following = MISSING, MISSING, MISSING
    if one.mean is None and one.name in comparison.expected:
        value = comparison.expected[one.name]
        half = value.expanded(comparison.level)
        mean = f"{rounded(value.value, half)} ±{rounded(half, half)} predicted"
    elif one.sample is not None:
        mean = rounded(one.sample.mean, 0.1)
        if one.mean is not None and one.next_shot is not None and one.scatter is not None:
            half, finest = one.mean.expanded(comparison.level), _finest(comparison)
            mean = f"{rounded(one.mean.value, finest.half)} ±{rounded(half, finest.half)}"
            sd, low, high = (rounded(each, finest.sd) for each in (one.sample.sd, *one.scatter))
            scatter = f"{sd} ({low} to {high})"
            ends = one.next_shot.interval(comparison.level)
            following = " to ".join(rounded(end, finest.width) for end in ends)
    return [mean, scatter, following]


@dataclass(frozen=True)
class _Finest:
    """The smallest of each column, as far as which the whole column is written."""

    half: float
    sd: float
    width: float


def _finest(comparison: Comparison) -> _Finest:
    """Return the smallest half width of a mean, standard deviation, and width of a next shot."""
    level = comparison.level
    halves = [each.mean.expanded(level) for each in comparison.summaries if each.mean is not None]
    sds = [each.sample.sd for each in comparison.summaries if each.sample and each.mean is not None]
    widths = [
        2.0 * each.next_shot.expanded(level)
        for each in comparison.summaries
        if each.next_shot is not None
    ]
    return _Finest(*(min(filter(None, each), default=0.0) for each in (halves, sds, widths)))


def landings_table(comparison: Comparison) -> Table:
    """Return where the shots of each setup come down and how they scatter there."""
    table = _table(
        "setup\n", "along\nm", "across\nm", "50 % region\nm", "95 % region\nm", "half within\nm",
        "widest apart\nm",
    )  # fmt: skip
    for one in comparison.summaries:
        landing = one.landing
        if landing is None:
            continue
        centre = landing.half.centre
        table.add_row(
            escape(one.name),
            f"{centre[0]:.1f}",
            f"{centre[1]:+.2f}",
            *(
                f"{2 * region.semi_axes[0]:.1f} x {2 * region.semi_axes[1]:.1f}"
                for region in (landing.half, landing.most)
            ),
            f"{landing.median_miss_m:.2f}",
            f"{landing.extreme_spread_m:.1f}",
        )
    return table
