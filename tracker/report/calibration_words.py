"""A calibration on the terminal: its markers, its camera, and the verdict on both."""

import math

from rich.markup import escape
from rich.table import Table

from calibration.site import ALARM, Calibration, outlook
from tracker.report.rounding import MISSING, with_uncertainty
from tracker.report.terminal import RULED

NEARLY_ALL = 0.99
"""Share from which on it is stated as nearly every one; common practice, no source."""

REMEDIES = 3
"""Measurements that are named at most, so that a person reads them."""


def markers_table(calibration: Calibration) -> Table:
    """Return a row for each marker: its residual, how well it is checked, its test value.

    Parameters
    ----------
    calibration : Calibration
    """
    table = Table(box=RULED, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("marker\n")
    for heading, unit in (
        ("residual", "column, px"),
        ("", "row, px"),
        ("on ground", "cm"),
        ("redundancy", "column"),
        ("", "row"),
        ("w", ""),
    ):
        table.add_column(f"{heading}\n{unit}", justify="right", no_wrap=True)
    suspected = {suspect.name for suspect in calibration.suspects}
    for place, name in enumerate(calibration.markers):
        column, row = calibration.residuals_px[place]
        checked = calibration.redundancy[place]
        table.add_row(
            f"[red]{escape(name)}, suspect[/]" if name in suspected else escape(name),
            f"{column:+.2f}",
            f"{row:+.2f}",
            f"{100.0 * math.hypot(*calibration.ground_residuals_m[place]):.1f}",
            f"{checked[0]:.2f}",
            f"{checked[1]:.2f}",
            MISSING if math.isnan(calibration.w[place]) else f"{calibration.w[place]:.1f}",
        )
    return table


def marker_cells(calibration: Calibration) -> tuple[tuple[str, str, str, str], ...]:
    """Return each marker's name, its residual in columns and rows (px), and on the ground (cm)."""
    return tuple(
        (
            name,
            f"{calibration.residuals_px[place][0]:+.2f}",
            f"{calibration.residuals_px[place][1]:+.2f}",
            f"{100.0 * math.hypot(*calibration.ground_residuals_m[place]):.1f}",
        )
        for place, name in enumerate(calibration.markers)
    )


def camera_sentences(calibration: Calibration) -> list[str]:
    """Return where the camera stands, where it looks and what its lens does."""
    values = {
        figure.name: f"{with_uncertainty(figure.value, figure.u)}{_gap(figure.unit)}{figure.unit}"
        for figure in outlook(calibration.camera)
    }
    place = ", ".join(f"{name} {values[name]}" for name in ("along", "across", "up"))
    turns = ", ".join(f"{name} {values[name]}" for name in ("heading", "pitch", "roll"))
    return [
        f"Camera at {place}.",
        f"It looks by {turns}.",
        f"Field of view {values['field of view']}, focal length {values['focal length']}, "
        f"principal point {values['principal point, column']} and "
        f"{values['principal point, row']}.",
    ]


def verdict_sentence(calibration: Calibration) -> str:
    """Return whether the observations agree within their uncertainties."""
    if calibration.dof == 0:
        return "Nothing is left over to check the calibration: a mistake would not show."
    agrees = "agree" if calibration.p_value >= ALARM else "do not agree"
    freedom = "1 degree" if calibration.dof == 1 else f"{calibration.dof} degrees"
    return (
        f"The observations {agrees} within their uncertainties: {_scatter(calibration.p_value)} "
        f"(chi-square {calibration.chi_square:.1f}, {freedom} of freedom)."
    )


def _scatter(p_value: float) -> str:
    """Return in words how usual the residuals of right observations of these uncertainties are."""
    if p_value < ALARM:
        return f"fewer than {1000 * ALARM:.0f} of 1000 right sets leave residuals as large"
    if p_value > NEARLY_ALL:
        return "nearly every right set leaves residuals as large"
    if p_value < 1.0 - NEARLY_ALL:
        return f"{1000.0 * p_value:.0f} of 1000 right sets leave residuals as large"
    return f"{100.0 * p_value:.0f} of 100 right sets leave residuals as large"


def remedy_sentences(calibration: Calibration) -> list[str]:
    """Return further measurements that would help too, beside those that the weakness names."""
    weak = calibration.weakest
    return [
        f"{one.text}: {weak.quantity} to u = {one.u:.2g}{_gap(weak.unit)}{weak.unit}"
        for one in weak.remedies
        if one.u < 0.9 * weak.u and one.text not in weak.text
    ][:REMEDIES]


def next_step(calibration: Calibration) -> str:
    """Return the measurement that helps most and what it gains, as a clause; empty without one."""
    weak = calibration.weakest
    unit = f"{_gap(weak.unit)}{weak.unit}"
    helping = [one for one in weak.remedies if one.u < 0.9 * weak.u]
    if not helping:
        return ""
    best = helping[0]
    gained = f"u = {weak.u:.2g}{unit} becomes {best.u:.2g}{unit}"
    return f"{best.text}: {weak.quantity}, {gained}"


def _gap(unit: str) -> str:
    return "" if unit in "%°" else " "
