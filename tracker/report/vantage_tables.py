"""A place to film from, in tables."""

import math
from collections.abc import Mapping, Sequence

from rich.table import Table

from tracker.report.rounding import MISSING, with_uncertainty
from tracker.report.terminal import RULED
from tracker.vantage import Change, Forecast

FIGURES = (
    ("exit speed", "m/s", "exit_speed_mps"),
    ("launch angle", "°", "launch_angle_deg"),
    ("azimuth", "°", "azimuth_deg"),
    ("carry", "m", "carry_m"),
    ("apex", "m", "apex_m"),
)
"""Name, unit and column of the figures that are predicted."""

WORTH_DOING = 0.98
"""A change that leaves more of the uncertainty than this share is not listed (common practice, no
source)."""

NORMAL_95 = 1.96
"""Half width of the 95 % interval of a normal value, standard deviations."""


def forecast_table(forecast: Forecast) -> Table:
    """Return the expected figures and the uncertainty of a single shot."""
    table = _table("one shot\n", *(f"{name}\n{unit}" for name, unit, _ in FIGURES))
    table.add_row(
        "expected ± u",
        *(with_uncertainty(forecast.values[key], forecast.u[key]) for _, _, key in FIGURES),
    )
    table.add_row(
        "95 % within", *(f"±{two_digits(NORMAL_95 * forecast.u[key])}" for *_, key in FIGURES)
    )
    return table


def moments_table(forecast: Forecast) -> Table:
    """Return the ball as the camera will show it at release, apex and landing."""
    table = _table(
        "\n\n", "column\n\npx", "row\n\npx", "ball\n\npx", "a frame\n\npx", "streak\n\npx",
        "placed\nto\npx", "over\nnoise\n", "to the\nedge\npx", "any\nshot\npx",
    )  # fmt: skip
    for one in forecast.moments:
        if not one.margin_px > 0.0:
            table.add_row(one.name, *[MISSING] * 7, "out", "out")
            continue
        table.add_row(
            one.name,
            f"{one.pixel[0]:.0f}",
            f"{one.pixel[1]:.0f}",
            f"{one.diameter_px:.1f}",
            f"{one.step_px:.1f}",
            f"{one.streak_px:.1f}",
            f"{one.place_u_px:.2f}",
            f"{one.snr:.0f}",
            f"{one.margin_px:.0f}",
            f"{one.worst_margin_px:.0f}" if one.worst_margin_px > 0.0 else "out",
        )
    return table


def changes_table(changes: Sequence[Change], quantity: str, before: Mapping[str, float]) -> Table:
    """Return the changes that are worth doing, with the uncertainties after each."""
    table = _table("", *(f"{name}\n{unit}" for name, unit, _ in FIGURES), "less\n")
    table.add_row("as it is", *(two_digits(before[key]) for *_, key in FIGURES), "")
    for one in worth_doing(changes, quantity, before):
        less = 100.0 * (1.0 - one.u[quantity] / before[quantity])
        text = one.text + (" (a shot leaves the view)" if one.loses_view else "")
        table.add_row(text, *(two_digits(one.u[key]) for *_, key in FIGURES), f"{less:.0f} %")
    return table


def worth_doing(
    changes: Sequence[Change], quantity: str, before: Mapping[str, float]
) -> list[Change]:
    """Return the changes that lessen the uncertainty of a figure, in their order."""
    return [one for one in changes if one.u[quantity] < WORTH_DOING * before[quantity]]


def two_digits(u: float) -> str:
    """Return an uncertainty with two significant digits, so that small differences show."""
    if not 0.0 < u < math.inf:
        return MISSING
    return f"{u:.{max(0, 1 - math.floor(math.log10(u)))}f}"


def _table(*headings: str) -> Table:
    table = Table(box=RULED, pad_edge=False, padding=(0, 1, 0, 0))
    for place, heading in enumerate(headings):
        table.add_column(heading, justify="right" if place else "left", no_wrap=place > 0)
    return table
