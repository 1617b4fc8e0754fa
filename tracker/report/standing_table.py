"""Setups in rows: mean or prediction, next shot, and their chances."""

from dataclasses import dataclass

from tracker.comparison.answer import Chances, chance_words
from tracker.comparison.compare import Comparison
from tracker.comparison.words import WORDINGS
from tracker.report.launcher_tables import summary_cells


@dataclass(frozen=True)
class TextTable:
    """A table of texts."""

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def standing_table(comparison: Comparison, chances: Chances | None) -> TextTable:
    """Return a row for each setup; ± is the 95 % interval."""
    unit = WORDINGS[comparison.quantity].unit
    several = chances is not None and len(chances.names) > 1
    head: tuple[str, ...] = (
        "setup",
        "shots",
        f"mean, {unit}",
        f"scatter, {unit}",
        f"next shot, {unit}",
    )
    if several and chances is not None:
        by = f" by {chances.worth:g} {unit}" if chances.worth else ""
        head += ("chance to be best",)
        head += (f"chance to beat “{chances.present}”{by}",) if chances.present else ()
    rows = []
    for one in comparison.summaries:
        cells = [one.name, str(one.used), *summary_cells(one, comparison)]
        if several and chances is not None:
            cells += chance_words(one.name, chances)
        rows.append(tuple(cells[: len(head)]))
    return TextTable("± and ranges hold with 95 %.", head, tuple(rows))
