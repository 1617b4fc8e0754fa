"""What makes a shot's uncertainty, as a table and as a sentence."""

from collections.abc import Mapping, Sequence
from statistics import median

from rich.table import Table

from tracker.records import Budget
from tracker.report.rounding import MISSING
from tracker.report.terminal import NARROW, QUANTITIES, RULED, WIDE

CAUSES = {
    "pixels": (
        "the placing of the ball in the picture",
        "film from nearer or with more frames a second",
    ),
    "light": ("light from one side on the ball", "film with the sun behind the camera"),
    "camera": ("the camera's calibration", "tape and pick more, or pick closer"),
    "picking": ("the picking of the markers", "pick them again, enlarged, and pick more"),
    "taping": ("the taping of the markers", "tape them again, closer, and state their u_m"),
    "stand": ("the place and level of the camera", "tape the camera's position closer"),
    "lens": ("the lens", "calibrate the lens, or state the field of view"),
    "release": ("the place of the release", "tape the release point closer and state its u_m"),
    "readout": ("the time that the camera takes to read a frame", "state readout_s"),
    "wind": ("the wind", "measure the wind and state it with wind_u_mps"),
    "air": ("the density of the air", "state the temperature and the pressure"),
    "ball": (
        "the ball's drag",
        "weigh the ball and measure it, or take one of known drag",
    ),
    "spin": ("the spin of the ball", "see more of the flight, or throw with less spin"),
    "gravity": ("gravity at the place", "no measurement of a session lessens it"),
}
"""By source: what it is called in a sentence, and what would lessen it."""

UNTAPED = {
    "camera": "tape one distance down the firing line",
    "release": "measure how high the ball leaves the launcher, and tape one distance down the line",
}
"""By source what would lessen it where nothing was taped, in place of what a session has."""

COMMON = 0.25
"""Share of the variance from which the part that all shots have in common is stated; common
practice, no source."""

NEGLIGIBLE = 0.005
"""Share of the variance below which a source is not worth a row."""


def budget_table(budget: Budget, width: int) -> Table:
    """Return the standard uncertainties of one shot by source, the largest first.

    Parameters
    ----------
    budget : Budget
    width : int
        Columns of the console; a narrow one is shown the four quantities asked for most.
    """
    shown = [
        (heading, unit, name)
        for heading, unit, name, _ in QUANTITIES
        if (width >= WIDE or heading in NARROW) and name in budget.parts
    ]
    table = Table(box=RULED, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("from\n", no_wrap=True)
    for heading, unit, _ in shown:
        table.add_column(f"u of {heading}\n{unit}", justify="right")
    columns = [budget.parts[name] for _, _, name in shown]
    for source in _by_weight(columns):
        table.add_row(source, *(_two_digits(parts[source]) for parts in columns))
    table.add_section()
    table.add_row("together", *(_two_digits(_together(parts)) for parts in columns))
    table.add_row(
        "shared by all shots",
        *(_two_digits(budget.shared_u[name]) for _, _, name in shown),
    )
    return table


def budget_sentence(budget: Budget, remedies: Mapping[str, str] | None = None) -> str:
    """Return what limits the exit speed and the carry, and what to improve first.

    Parameters
    ----------
    budget : Budget
    remedies : mapping, optional
        By source a better remedy than the general one, as a clause.
    """
    cures = {source: cure for source, (_, cure) in CAUSES.items()} | dict(remedies or {})
    found: dict[str, list[str]] = {}
    for heading, name in (("exit speed", "exit_speed_mps"), ("carry", "carry_m")):
        if name in budget.parts:
            parts = budget.parts[name]
            worst = max(parts, key=parts.__getitem__)
            share = parts[worst] ** 2 / max(_together(parts) ** 2, 1e-300)
            found.setdefault(worst, []).append(f"the {heading} ({100 * share:.0f} %)")
    clauses = [
        f"{CAUSES[source][0]} makes most of the variance of {' and '.join(limited)}: "
        f"{cures[source]}"
        for source, limited in found.items()
    ]
    return "; ".join(clauses)


def shared_sentence(budgets: Sequence[Budget]) -> str | None:
    """Return what part of the shots' uncertainties is one error that all of them have.

    None where that is a small part, and where less than two shots have a budget.

    Parameters
    ----------
    budgets : sequence of Budget
        Of the shots of one session.
    """
    for name, called, unit, ways in (
        ("carry_m", "carry", "m", "long or too short"),
        ("exit_speed_mps", "exit speed", "m/s", "fast or too slow"),
    ):
        known = [each for each in budgets if name in each.parts and name in each.shared_u]
        if len(known) < 2:
            continue
        whole = median(_together(each.parts[name]) for each in known)
        shared = median(each.shared_u[name] for each in known)
        if shared**2 < COMMON * whole**2:
            return None
        return (
            f"Of the ±{_two_digits(whole)} {unit} of a {called}, {_two_digits(shared)} {unit} is "
            "one error that all shots of a session share, of the camera, the wind and the ball: it "
            f"makes all of them too {ways} together. Differences between setups filmed "
            "from one place are surer than these ± suggest; compare takes that into account."
        )
    return None


def _by_weight(columns: Sequence[Mapping[str, float]]) -> list[str]:
    """Return the sources that matter to any column, by the largest share that each has."""
    weight = {source: 0.0 for parts in columns for source in parts}
    for parts in columns:
        whole = max(_together(parts) ** 2, 1e-300)
        for source, u in parts.items():
            weight[source] = max(weight[source], u**2 / whole)
    kept = [source for source, share in weight.items() if share >= NEGLIGIBLE]
    return sorted(kept, key=lambda source: -weight[source])


def _together(parts: Mapping[str, float]) -> float:
    return float(sum(u**2 for u in parts.values()) ** 0.5)


def _two_digits(u: float) -> str:
    """Return an uncertainty with two significant digits, a zero at the end included."""
    if not u > 0.0:
        return MISSING
    power = int(f"{u:.1e}".partition("e")[2])
    return f"{u:.{max(0, 1 - power)}f}"
