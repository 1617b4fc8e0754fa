"""One validator for everything a person writes: values against a schema, in our sentences.

pydantic walks the values and gathers every fault with its place; here each becomes a sentence
with file, line, table, field and, for a misspelt name, the nearest one that is listed.
"""

from collections.abc import Mapping, Sequence
from typing import Any, TypeVar, get_args, get_origin

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from calibration.errors import InputError, nearest
from tracker.session.document import Document, Faults
from tracker.session.kinds import Between, Kind, shown
from tracker.session.lines import Place
from tracker.session.mistakes import WrittenNumber, converted
from tracker.session.schema import TableSchema
from tracker.session.units import better_remedy, unit_of

Schema = TypeVar("Schema", bound=TableSchema)

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
        return schema.model_validate(document.values)
    except ValidationError as error:
        for each in error.errors(include_url=False):
            faults.add(*_sentence(schema, each))
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
    kind = next(one for one in schema.model_fields[name].metadata if isinstance(one, Kind))
    try:
        return kind.check(value)
    except Exception as error:
        context = getattr(error, "context", None)
        if context is None:
            raise
        remedy = better_remedy(name, context)
        raise InputError(context["what"], where=where, remedy=remedy) from None


def _sentence(schema: type[TableSchema], error: ErrorDetails) -> tuple[Place, str, str]:
    """Return place, what is wrong and remedy of one fault that pydantic found."""
    place: Place = error["loc"]
    kind = error["type"]
    if kind == "fault":
        return place, error["ctx"]["what"], better_remedy(_field(place), error["ctx"])
    if kind == "missing":
        table = _table_at(schema, place[:-1])
        kinds = [one for one in _metadata(table, place[-1]) if isinstance(one, Kind)]
        return place, "is missing", wanted(str(place[-1]), kinds[0]) if kinds else ""
    if kind == "extra_forbidden":
        return _unlisted(place, _table_at(schema, place[:-1]), error["input"])
    name = ".".join(step for step in place if isinstance(step, str))
    if kind == "list_type" or isinstance(place[-1], int):
        remedy = f"write [[{name}]], with two brackets, above each"
        return place, f"is not a list of [[{name}]] tables", remedy
    return place, f"{shown(error['input'])} is not a table", f"open it with a line [{name}]"


def wanted(name: str, kind: Kind) -> str:
    """Return what to write where a field is missing, with its unit."""
    unit = unit_of(name) if isinstance(kind, Between) else ""
    return f"{kind.wanted} {unit}".rstrip()


def _field(place: Place) -> str:
    """Return the name of the field at a place; that of its list for one number of it."""
    return next(step for step in reversed(place) if isinstance(step, str))


def _unlisted(place: Place, table: type[TableSchema], value: object) -> tuple[Place, str, str]:
    """Return what to write in place of a name that is not listed."""
    name, listed = str(place[-1]), list(table.model_fields)
    near = nearest(name, listed)
    if near is not None:
        other = converted(near, WrittenNumber(str(value), name.rsplit("_", 1)[-1]))
        same = near.rsplit("_", 1)[0] == name.rsplit("_", 1)[0] and near != name
        if same and other is not None and type(value) in (int, float):
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
    annotation = table.model_fields[name].annotation
    if _inner(annotation) is None:
        return name
    whole = ".".join((*above, name))
    return f"[[{whole}]]" if get_origin(annotation) is list else f"[{whole}]"


def _metadata(table: type[TableSchema], name: str | int) -> list[Any]:
    return table.model_fields[str(name)].metadata


def _table_at(schema: type[TableSchema], place: Place) -> type[TableSchema]:
    """Return the schema of the table at a place."""
    for step in place:
        if isinstance(step, str):
            inner = _inner(schema.model_fields[step].annotation)
            if inner is not None:
                schema = inner
    return schema


def _inner(annotation: Any) -> type[TableSchema] | None:
    """Return the schema within an annotation such as ``list[MarkerSchema]``."""
    if isinstance(annotation, type) and issubclass(annotation, TableSchema):
        return annotation
    found = (_inner(part) for part in get_args(annotation))
    return next((one for one in found if one is not None), None)


def tables_of(values: Mapping[str, Any], name: str) -> list[tuple[int, Mapping[str, Any]]]:
    """Return the well-formed tables of a list with their numbers, whatever is wrong inside."""
    listed = values.get(name)
    if not isinstance(listed, list):
        return []
    return [(index, one) for index, one in enumerate(listed) if isinstance(one, dict)]
