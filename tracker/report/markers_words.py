"""Proposed markers on the terminal: a table, what is doubtful, and the lines to paste."""

import json
import math
from collections.abc import Sequence

from rich.markup import escape
from rich.table import Table

from calibration.markers import Proposal
from calibration.site import ALARM, Calibration
from tracker.report.calibration_words import verdict_sentence
from tracker.report.rounding import MISSING
from tracker.report.terminal import RULED
from tracker.session import MarkerEntry

SIGMAS = 3.3
"""Beyond this a pick and a proposal are not the same place (two-sided, one in a thousand)."""


def proposals_table(markers: Sequence[MarkerEntry], proposals: Sequence[Proposal]) -> Table:
    """Return a row for each marker: where it seems to be, and how far that is from its pick.

    Parameters
    ----------
    markers : sequence of MarkerEntry
    proposals : sequence of Proposal
    """
    table = Table(box=RULED, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("marker\n")
    for heading, unit in (
        ("proposed", "column, px"),
        ("", "row, px"),
        ("u", "px"),
        ("from pick", "px"),
        ("score", ""),
    ):
        table.add_column(f"{heading}\n{unit}", justify="right", no_wrap=True)
    found = {proposal.name: proposal for proposal in proposals}
    for marker in markers:
        proposal = found.get(marker.name)
        if proposal is None:
            table.add_row(escape(marker.name), "not found", *[MISSING] * 4)
            continue
        away = distance_px(marker, proposal)
        table.add_row(
            escape(marker.name),
            f"{proposal.pixel[0]:.2f}",
            f"{proposal.pixel[1]:.2f}",
            f"{proposal.pixel_u:.2f}",
            "not picked" if away is None else f"{away:.2f}",
            f"{proposal.contrast:.0f}",
        )
    return table


def warnings(
    calibration: Calibration | None, markers: Sequence[MarkerEntry], proposals: Sequence[Proposal]
) -> list[str]:
    """Return what makes proposals doubtful: other places, or picks that lie far from them."""
    clauses = []
    if calibration is not None and calibration.p_value < ALARM:
        clauses.append(verdict_sentence(calibration))
    clauses += [
        f'"{proposal.name}" is doubtful: {proposal.doubt}'
        for proposal in proposals
        if proposal.doubt
    ]
    found = {proposal.name: proposal for proposal in proposals}
    for marker in markers:
        proposal = found.get(marker.name)
        away = None if proposal is None else distance_px(marker, proposal)
        if proposal is None or away is None:
            continue
        if away > SIGMAS * math.hypot(proposal.pixel_u, marker.pixel_u):
            clauses.append(
                f'"{marker.name}" is proposed {away:.1f} px from where it was picked, more than '
                "both uncertainties explain: one of the two is wrong"
            )
    return clauses


def proposals_toml(proposals: Sequence[Proposal]) -> str:
    """Return the lines for ``session.toml``, each marker's name as a comment before them.

    Those of a doubtful proposal are comments too, so that nobody pastes them unread.
    """
    return "\n\n".join(_lines(proposal) for proposal in proposals)


def _lines(proposal: Proposal) -> str:
    name = f"# {json.dumps(proposal.name, ensure_ascii=False)}"
    sign = f"# doubtful, {proposal.doubt}: " if proposal.doubt else ""
    return (
        f"{name}\n"
        f"{sign}pixel = [{proposal.pixel[0]:.2f}, {proposal.pixel[1]:.2f}]\n"
        f"{sign}pixel_u = {proposal.pixel_u:.2f}"
    )


def distance_px(marker: MarkerEntry, proposal: Proposal) -> float | None:
    """Return how far a proposal lies from the marker's pick, None where there is no pick."""
    if marker.pixel is None:
        return None
    return math.dist(marker.pixel, (float(proposal.pixel[0]), float(proposal.pixel[1])))
