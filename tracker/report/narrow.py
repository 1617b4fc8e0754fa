"""Tables on a console that is too narrow for them, and figures that stay with their unit."""

import re
from collections.abc import Iterable

from rich.console import Console, RenderableType
from rich.measure import Measurement
from rich.table import Table
from rich.text import Text

JOINED = "\ue000"
"""Stands for a space at which no line breaks; of the private use area, so no text has it."""

LEAST_WORD = 12
"""Columns that a cell of words keeps at least, before a table is given up for lines."""

_UNITS = "%|m|s|m/s|°|px|cm|mm|rpm|J|J/m²|W|V|h|min|A h|shots?|frames"
_JOINTS = re.compile(rf"(?<=\d) (?=(?:{_UNITS})(?![\w/]))|(?<=±) (?=\d)|(?<=\d) (?=±)")


def joined(text: str, by: str = JOINED) -> str:
    """Return a text in which a number, its unit and its uncertainty are not parted by a line."""
    return _JOINTS.sub(by, text)


def parted(text: str) -> str:
    """Return a text with plain spaces again."""
    return text.replace(JOINED, " ")


def fitted(console: Console, table: Table) -> RenderableType:
    """Return a table, or where the console is too narrow its cells, one a line.

    A table that is squeezed loses the words that tell its rows apart.
    """
    return (
        table if _least_width(console, table) <= console.width else Text("\n").join(_lines(table))
    )


def _least_width(console: Console, table: Table) -> int:
    """Return the width below which a table loses words."""
    total = 0
    for column in table.columns:
        widths = [Measurement.get(console, console.options, cell) for cell in _cells(column)]
        whole = max(one.maximum for one in widths)
        least = max(one.minimum for one in widths)
        total += whole if column.no_wrap else min(least, LEAST_WORD)
        total += table.padding[1] + table.padding[3]
    return total + 1


def _lines(table: Table) -> Iterable[Text]:
    """Return a line for each cell that holds something, and an empty one after each row."""
    columns = [[_text(cell) for cell in _cells(column)] for column in table.columns]
    heads = [", ".join(column[0].plain.split("\n")).strip(", ") for column in columns]
    for row in zip(*(column[1:] for column in columns), strict=True):
        for head, cell in zip(heads, row, strict=True):
            if cell.plain.strip():
                yield Text.assemble(f"{head}: " if head else "", cell)
        yield Text("")


def _cells(column: object) -> list[RenderableType]:
    """Return the heading and the cells of a column."""
    return [column.header, *column.cells]  # type: ignore[attr-defined]


def _text(cell: RenderableType) -> Text:
    return cell if isinstance(cell, Text) else Text.from_markup(str(cell))
