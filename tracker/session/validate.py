"""One validator for everything a person writes: values against a schema, in our sentences.

Every fault is gathered, each a sentence with file, line, table, field and, for a misspelt name, the
nearest one that is listed.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from calibration.errors import InputError, nearest
from tracker.session.document import Document, Faults
from tracker.session.kinds import Between, Fault, Kind, shown
from tracker.session.lines import Place
from tracker.session.mistakes import WrittenNumber, converted
from tracker.session.table import Entry, Schema, TableSchema
from tracker.session.units import better_remedy, unit_of

LONG_LIST = 15
"""In a list of more names than this, those of standard uncertainties are left out."""


def validated(schema: type[Schema], document: Document, faults: Faults) -> Schema | None:
    """Return the values of a file as its schema has them, None where one is at fault.

    Parameters
    ----------
    schema : type
    document : Document
    faults : Faults
        Where the faults go.
    """
    before = len(faults.found)
    found = _table(schema, document.values, (), faults)
    return found if len(faults.found) == before else None


def checked(schema: type[TableSchema], name: str, value: object, where: str) -> Any:
    """Return the value of an option that stands for a field.

    Parameters
    ----------
    schema : type
        Of the table that the field belongs to.
    name : str
        The field.
    value : object
    where : str
        The option, for the fault.

    Raises
    ------
    InputError
        Where the value is not one of the field.
    """
    kind = schema.entries()[name].kind
    assert kind is not None
    try:
        return kind.check(value)
    except Fault as error:
        remedy = better_remedy(name, error.context)
        raise InputError(error.context["what"], where=where, remedy=remedy) from None


def _table(schema: type[Schema], values: Mapping[str, Any], place: Place, faults: Faults) -> Schema:
    """Return a table as its schema has it, without what is at fault."""
    entries = schema.entries()
    written = {}
    for name, entry in entries.items():
        if name in values:
            written[name] = _value(entry, values[name], (*place, name), faults)
        elif entry.needed:
            remedy = "" if entry.kind is None else wanted(name, entry.kind)
            faults.add((*place, name), "is missing", remedy)
    for name in values:
        if name not in entries:
            faults.add(*_unlisted((*place, name), schema, values[name]))
    return schema.of(written)


def _value(entry: Entry, value: Any, place: Place, faults: Faults) -> Any:
    """Return what a field holds, None where that is at fault."""
    if entry.kind is not None:
        return _checked(entry.kind, value, place, faults)
    assert entry.table is not None
    name = ".".join(step for step in place if isinstance(step, str))
    if not entry.many:
        if isinstance(value, dict):
            return _table(entry.table, value, place, faults)
        faults.add(place, f"{shown(value)} is not a table", f"open it with a line [{name}]")
        return None
    what = f"is not a list of [[{name}]] tables"
    remedy = f"write [[{name}]], with two brackets, above each"
    if not isinstance(value, list):
        faults.add(place, what, remedy)
        return None
    found = []
    for index, one in enumerate(value):
        if isinstance(one, dict):
            found.append(_table(entry.table, one, (*place, index), faults))
        else:
            faults.add((*place, index), what, remedy)
    return found


def _checked(kind: Kind, value: Any, place: Place, faults: Faults) -> Any:
    """Return a value, or a list of them, of a kind; None where it is at fault."""
    try:
        found = kind.check(value)
    except Fault as error:
        remedy = better_remedy(_field(place), error.context)
        faults.add(place, error.context["what"], remedy)
        return None
    if kind.part is None:
        return found
    return tuple(
        _checked(kind.part, one, (*place, index), faults) for index, one in enumerate(found)
    )


def wanted(name: str, kind: Kind) -> str:
    """Return what to write where a field is missing, with its unit."""
    unit = unit_of(name) if isinstance(kind, Between) else ""
    return f"{kind.wanted} {unit}".rstrip()


def _field(place: Place) -> str:
    """Return the name of the field at a place; that of its list for one number of it."""
    return next(step for step in reversed(place) if isinstance(step, str))


def _unlisted(place: Place, table: type[TableSchema], value: object) -> tuple[Place, str, str]:
    """Return what to write in place of a name that is not listed."""
    name, listed = str(place[-1]), list(table.entries())
    near = nearest(name, listed)
    if near is not None:
        same = near.rsplit("_", 1)[0] == name.rsplit("_", 1)[0] and near != name
        if same and type(value) in (int, float):
            other = converted(near, WrittenNumber(str(value), name.rsplit("_", 1)[-1]))
            if other is not None:
                return place, "is not a listed field", f"write {near} = {other}"
    above = [step for step in place[:-1] if isinstance(step, str)]
    written = {each: _as_written(table, each, above) for each in listed}
    guess = "listed are"
    if near is not None:
        unit = unit_of(near)
        said = f" It is in {unit}." if unit and not unit_of(name) else ""
        guess = f"did you mean {written[near]}?{said} Listed are"
    if len(listed) > LONG_LIST:
        listed = [each for each in listed if each.replace("_u_", "_").removesuffix("_u") == each]
    return place, "is not a listed field", f"{guess} {', '.join(written[each] for each in listed)}"


def _as_written(table: type[TableSchema], name: str, above: Sequence[str]) -> str:
    """Return a field as it is written: a table in its brackets, with the tables it lies in."""
    entry = table.entries()[name]
    if entry.table is None:
        return name
    whole = ".".join((*above, name))
    return f"[[{whole}]]" if entry.many else f"[{whole}]"


def tables_of(values: Mapping[str, Any], name: str) -> list[tuple[int, Mapping[str, Any]]]:
    """Return the well-formed tables of a list with their numbers, whatever is wrong inside."""
    listed = values.get(name)
    if not isinstance(listed, list):
        return []
    return [(index, one) for index, one in enumerate(listed) if isinstance(one, dict)]
