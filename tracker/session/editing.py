"""Changing ``review.toml`` in place: comments, order and blank lines of a person stay."""

import tomlkit
from tomlkit.items import AoT, Table

from tracker.session.review import Decision

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
    document = tomlkit.parse(text or HEAD)
    if "decision" not in document:
        document.append("decision", tomlkit.aot())
    tables = document["decision"]
    assert isinstance(tables, AoT)
    if replacing is None:
        table = tomlkit.table()
        _fill(table, decision)
        tables.append(table)
    else:
        _fill(tables[replacing], decision)
    return tomlkit.dumps(document)


def without_decision(text: str, number: int) -> str:
    """Return the text of ``review.toml`` without the ``[[decision]]`` of that number, from 0."""
    document = tomlkit.parse(text)
    tables = document["decision"]
    assert isinstance(tables, AoT)
    del tables[number]
    if not len(tables):
        del document["decision"]
    return tomlkit.dumps(document)


def _fill(table: Table, decision: Decision) -> None:
    values = {
        "clip": decision.clip,
        "release_s": decision.release_s,
        "verdict": None if decision.verdict is None else decision.verdict.value,
        "setup": decision.setup,
        "reason": decision.reason or None,
    }
    for name, value in values.items():
        if value is not None:
            table[name] = value
        elif name in table:
            del table[name]
