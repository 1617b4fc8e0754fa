"""A table of a TOML file: its fields, told by the annotations of a class, and what was written.

`tracker.session.validate` makes of them what voluptuous walks.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from inspect import get_annotations
from typing import Any, Self, TypeVar, get_args

from tracker.session.kinds import Kind


class TableSchema:
    """One table; a field that is not listed is a fault.

    A subclass annotates each field with its `Kind`, with the schema of a table, or with a sequence
    of one; a field with a default may be left out.
    """

    _added: Mapping[str, "Entry"] = {}

    @classmethod
    @cache
    def entries(cls) -> Mapping[str, "Entry"]:
        """Return what each field may hold, in the order in which the fields stand."""
        known: dict[str, Entry] = {}
        for each in reversed(cls.__mro__):
            for name, annotation in get_annotations(each).items():
                if not name.startswith("_"):
                    known[name] = _entry(annotation, needed=not hasattr(cls, name))
            known.update(vars(each).get("_added", {}))
        return known

    @classmethod
    def of(cls, written: Mapping[str, Any]) -> Self:
        """Return a table with the fields that were written; the others have their defaults."""
        table = cls()
        vars(table).update(written)
        return table

    def given(self) -> dict[str, Any]:
        """Return the fields that were written."""
        return dict(vars(self))


@dataclass(frozen=True)
class Entry:
    """What a field may hold: a value of a kind, or a table, or many tables.

    Attributes
    ----------
    kind : Kind or None
    table : type or None
    many : bool
    needed : bool
    """

    kind: Kind | None = None
    table: type[TableSchema] | None = None
    many: bool = False
    needed: bool = False


Schema = TypeVar("Schema", bound=TableSchema)


def extended(schema: type[Schema], entries: Mapping[str, Entry]) -> type[Schema]:
    """Return a schema with more fields, or with others in place of its own."""
    return type(schema.__name__, (schema,), {"_added": entries})


def _entry(annotation: Any, needed: bool) -> Entry:
    """Return what an annotation says, as in ``Annotated[float | None, Between(0.0, 1.0)]``."""
    if isinstance(annotation, type) and issubclass(annotation, TableSchema):
        return Entry(table=annotation, needed=needed)
    kinds = [one for one in getattr(annotation, "__metadata__", ()) if isinstance(one, Kind)]
    if kinds:
        return Entry(kind=kinds[0], needed=needed)
    # None of ``X | None`` tells nothing; of ``Sequence[X]`` the rest is the table.
    found = next(_entry(part, needed) for part in get_args(annotation) if part is not type(None))
    return Entry(found.kind, found.table, many=found.table is not None, needed=needed)
