"""One validator for everything a person writes: values against a schema, in our sentences.

Every fault is gathered, each a sentence with file, line, table, field and, for a misspelt name, the
nearest one that is listed.
"""

from collections.abc import Callable, Mapping, Sequence
from functools import cache, partial
from typing import Any

from voluptuous import (
    DictInvalid,
    Invalid,
    Marker,
    MultipleInvalid,
    Optional,
    Required,
    RequiredFieldInvalid,
)
from voluptuous import Schema as Validator

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
    try:
        return _filled(schema, _validator(schema)(document.values))  # type: ignore[arg-type]
    except MultipleInvalid as found:
        for error in found.errors:
            faults.add(*_said(schema, document.values, error))
        return None


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


@cache
def _validator(schema: type[TableSchema]) -> Validator:
    """Return what walks a table."""
    return Validator(_mapping(schema))


def _mapping(schema: type[TableSchema]) -> dict[Marker, Any]:
    """Return the fields of a table as voluptuous has them; those that are not listed are faults."""
    return {
        (Required if entry.needed else Optional)(name): _checking(entry)
        for name, entry in schema.entries().items()
    }


def _checking(entry: Entry) -> Any:
    """Return what voluptuous asks of a field."""
    if entry.table is not None:
        table = _mapping(entry.table)
        return partial(_each, Validator(table)) if entry.many else table
    assert entry.kind is not None
    return entry.kind.check if entry.kind.part is None else partial(_parts, entry.kind)


def _parts(kind: Kind, value: Any) -> tuple[Any, ...]:
    """Return the members of a list, each of which was checked."""
    assert kind.part is not None
    return tuple(_each(kind.part.check, kind.check(value)))


def _each(check: Callable[[Any], Any], listed: Any) -> list[Any]:
    """Return what a check makes of each in a list; the library's own ends at the first at fault."""
    if not isinstance(listed, list):
        raise DictInvalid("")
    found, faults = [], list[Invalid]()
    for index, one in enumerate(listed):
        try:
            found.append(check(one))
        except Invalid as error:
            error.prepend([index])
            faults += error.errors if isinstance(error, MultipleInvalid) else [error]
    if faults:
        raise MultipleInvalid(faults)
    return found


def _filled(schema: type[Schema], found: Mapping[str, Any]) -> Schema:
    """Return a table with the values that were found right, tables in it too."""
    entries = schema.entries()
    return schema.of({name: _whole(entries[name], value) for name, value in found.items()})


def _whole(entry: Entry, value: Any) -> Any:
    """Return the value of a field."""
    table = entry.table
    if table is None:
        return value
    return [_filled(table, one) for one in value] if entry.many else _filled(table, value)


def _said(
    schema: type[TableSchema], values: Mapping[str, Any], error: Invalid
) -> tuple[Place, str, str]:
    """Return the place of a fault, what is wrong and what to write."""
    place: Place = tuple(step if isinstance(step, int) else str(step) for step in error.path)
    if isinstance(error, Fault):
        return place, error.context["what"], better_remedy(_field(place), error.context)
    *above, last = place
    table, value = schema, None if isinstance(error, RequiredFieldInvalid) else values
    for step in above:
        table = table if isinstance(step, int) else table.entries()[step].table or table
    if isinstance(error, RequiredFieldInvalid):
        kind = table.entries()[str(last)].kind
        return place, "is missing", "" if kind is None else wanted(str(last), kind)
    for step in place:
        value = value[step]  # type: ignore[index]
    if not isinstance(error, DictInvalid):
        return _unlisted(place, table, value)
    name = ".".join(step for step in place if isinstance(step, str))
    if isinstance(last, int) or table.entries()[last].many:
        remedy = f"write [[{name}]], with two brackets, above each"
        return place, f"is not a list of [[{name}]] tables", remedy
    return place, f"{shown(value)} is not a table", f"open it with a line [{name}]"


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
