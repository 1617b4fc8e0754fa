"""Tables of predictions and comparisons for the terminal."""

from collections.abc import Mapping, Sequence

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
from tracker.report.rounding import MISSING, with_uncertainty
from tracker.report.terminal import RULED
from tracker.statistics.components import Estimate


def _table(*headings: str) -> Table:
    table = Table(box=RULED, pad_edge=False, padding=(0, 1, 0, 0))
    for place, heading in enumerate(headings):
        table.add_column(heading, justify="right" if place else "left", no_wrap=place > 0)
    return table


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
    for name, one in predictions:
        spin = Estimate(one.spin.value / RPM, one.spin.u / RPM)
        cells = [
            _cell(one.exit_speed),
            _cell(spin) if abs(spin.value) > 0.5 or spin.u > 0.5 else "0",
            _cell(one.carry),
            *(_cell(cost) for cost in _columns(one.costs)),
        ]
        for table, headings in zip(tables, groups, strict=True):
            table.add_row(escape(name), *cells[: len(headings)])
            cells = cells[len(headings) :]
    return tables


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
    for name, one in found.items():
        shares = [
            Estimate(100.0 * each.value, 100.0 * each.u) for each in (one.hundredth, one.last)
        ]
        hundredth = _cell(shares[0]) if one.shots.value >= HUNDREDTH else MISSING
        table.add_row(
            escape(name), _cell(one.shots), hundredth, _cell(shares[1]), _cell(one.last_ready_s)
        )
    return table


def measured_sentence(speed: Estimate | None, carry: Estimate | None) -> str | None:
    """Return what was measured of a setup, to be read beside its prediction."""
    known = [
        f"{_cell(one)} {unit}" for one, unit in ((speed, "m/s"), (carry, "m")) if one is not None
    ]
    return f"Measured: {', '.join(known)}." if known else None


def sweep_table(key: str, values: Sequence[float], predictions: Sequence[Prediction]) -> Table:
    """Return what to expect along a sweep."""
    table = _table(key, "exit speed, m/s", "carry, m", "spin-up, s", "wheels, J")
    for value, one in zip(values, predictions, strict=True):
        table.add_row(
            f"{value:.4g}",
            _cell(one.exit_speed),
            _cell(one.carry),
            _cell(None if one.costs is None else one.costs.spin_up_s),
            f"{float(one.launch.stored_j):.0f}",
        )
    return table


def left_out_table(left_out: Sequence[LeftOut]) -> Table:
    """Return each setup's measured value beside the one predicted from the others."""
    table = _table("setup", "measured", "predicted", "error")
    for name, *cells in left_out_rows(left_out):
        table.add_row(escape(name), *cells)
    return table


def left_out_rows(left_out: Sequence[LeftOut]) -> list[tuple[str, str, str, str]]:
    """Return name, measured and predicted value, and error of each setup."""
    return [
        (one.name, _cell(one.measured), _cell(one.predicted), _cell(one.error)) for one in left_out
    ]


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
    table = _table("setup", "best", f'beats "{chances.present}"{by}')
    for name in chances.names:
        table.add_row(escape(name), *chance_words(name, chances))
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
            half = one.mean.expanded(comparison.level)
            mean = f"{rounded(one.mean.value, half)} ±{rounded(half, half)}"
            sd = one.sample.sd
            low, high = (rounded(end, sd) for end in one.scatter)
            scatter = f"{rounded(sd, sd)} ({low} to {high})"
            ends = one.next_shot.interval(comparison.level)
            following = " to ".join(rounded(end, ends[1] - ends[0]) for end in ends)
    return [mean, scatter, following]


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
            one.name,
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
