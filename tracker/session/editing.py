"""Changing ``review.toml`` in place: comments, order and blank lines of a person stay."""

from collections.abc import Mapping

import tomlkit
from tomlkit.items import AoT, Table

from tracker.session.review import Decision
from tracker.session.revising import unfold
from tracker.session.stated import AddedShot

HEAD = """\
# Decisions about the measured shots of this session. lobmeter review writes them, and you may.
# A shot is recognised by its clip and its time of release; measuring again keeps every decision.
"""


def with_decision(text: str, decision: Decision, replacing: int | None) -> str:
    """Return the text of ``review.toml`` with a decision.

    Parameters
    ----------
    text : str
        TOML, or nothing.
    decision : Decision
    replacing : int or None
        Number of the ``[[decision]]`` that it replaces, from 0; None adds one.
    """
    return _with(text, "decision", decision.given(), replacing)


def without_decision(text: str, number: int) -> str:
    """Return the text of ``review.toml`` without the ``[[decision]]`` of that number, from 0."""
    return _without(text, "decision", number)


def with_added(text: str, added: AddedShot) -> str:
    """Return the text of ``review.toml`` with one more added shot."""
    return _with(text, "added", added.given(), None)


def without_added(text: str, number: int) -> str:
    """Return the text of ``review.toml`` without the ``[[added]]`` of that number, from 0."""
    return _without(text, "added", number)


def _with(text: str, name: str, values: Mapping[str, object], replacing: int | None) -> str:
    document = tomlkit.parse(text or HEAD)
    if name not in document:
        document.append(name, tomlkit.aot())
    unfold(document, name)
    tables = document[name]
    assert isinstance(tables, AoT)
    if replacing is None:
        table = tomlkit.table()
        _fill(table, values)
        if text:
            table.trivia.indent = "\n"
        tables.append(table)
    else:
        _fill(tables[replacing], values)
    return tomlkit.dumps(document)


def _without(text: str, name: str, number: int) -> str:
    document = tomlkit.parse(text)
    unfold(document, name)
    tables = document[name]
    assert isinstance(tables, AoT)
    del tables[number]
    if not len(tables):
        del document[name]
    return tomlkit.dumps(document).rstrip("\n") + "\n"


def _fill(table: Table, values: Mapping[str, object]) -> None:
    for name, value in values.items():
        if value is not None:
            table[name] = value
        elif name in table:
            del table[name]
