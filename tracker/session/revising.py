"""Changing fields of ``session.toml`` in place: a person's comments, order and blank lines stay."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

import tomlkit
from tomlkit.items import AoT, Array, Item, Table

from tracker.session.lines import Place

Value = str | float | bool | date | list[float] | dict[str, Any] | None
"""What a field can be given: a text, a number, a flag, a day, numbers, a whole table, or None to
remove it."""


@dataclass(frozen=True)
class FieldChange:
    """One field or table that gets another value.

    Attributes
    ----------
    place : tuple of str and int
        Tables and field from the top: ``("release", "height_m")``, ``("marker", 2, "pixel")``. The
        number that follows the last table of a list adds one.
    value : text, number, flag, day, list of numbers, mapping or None
        None removes the field or table.
    """

    place: Place
    value: Value


def revised(text: str, changes: Iterable[FieldChange]) -> str:
    """Return the text of a TOML file with changed fields.

    Parameters
    ----------
    text : str
        TOML.
    changes : iterable of FieldChange
        Made one after another.

    Raises
    ------
    LookupError
        Where a place names a table that a list does not have.
    """
    document = tomlkit.parse(text)
    for change in changes:
        _apply(document, list(change.place), change.value)
    return tomlkit.dumps(document)


def _apply(holder: Any, steps: list[str | int], value: Value) -> None:
    """Go down to the table that holds the last step, and change it there."""
    *above, last = steps
    for step, following in zip(above, steps[1:], strict=True):
        if isinstance(step, str) and step not in holder:
            if value is None:
                return
            holder[step] = tomlkit.aot() if isinstance(following, int) else tomlkit.table()
        elif isinstance(step, int) and step == len(holder):
            holder.append(tomlkit.table())
        if isinstance(following, int):
            unfold(holder, step)
        holder = holder[step]
    if value is None:
        _remove(holder, last)
    elif isinstance(last, int) and last == len(holder):
        holder.append(_item(value))
    elif isinstance(last, str) and isinstance(holder.get(last), Item):
        _replace(holder, last, value)
    else:
        holder[last] = _item(value)


def unfold(holder: Any, name: str | int) -> None:
    """Write a list of tables in braces as one of tables with headings, behind all else.

    Nothing can be put into a list in braces, or into its tables, that has a table in it.
    """
    listed = holder[name]
    if isinstance(listed, Array):
        tables = tomlkit.aot()
        for each in listed.unwrap():
            tables.append(_item(each))
        del holder[name]
        holder.append(name, tables)


def _replace(table: Any, name: str, value: Value) -> None:
    """Replace a field's value; the comment behind it stays."""
    item, earlier = _item(value), table[name]
    if not isinstance(earlier, Table | AoT):
        item.trivia.comment_ws = earlier.trivia.comment_ws
        item.trivia.comment = earlier.trivia.comment
    table[name] = item


def _remove(holder: Any, last: str | int) -> None:
    if isinstance(last, int) or last in holder:
        del holder[last]


def _item(value: Value) -> Item:
    if isinstance(value, list):
        array: Array = tomlkit.array()
        array.extend(value)
        return array
    if isinstance(value, dict):
        table = tomlkit.table()
        for name, inner in value.items():
            table.append(name, _item(inner))
        return table
    return tomlkit.item(value)
