"""A TOML file as a person wrote it: its values, and where each of them stands."""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from calibration.errors import InputError, InputErrors
from tracker.session.lines import Place, line_of, lines_of_keys, repeated
from tracker.session.mistakes import mistake, valid

LONGEST_TITLE = 80
"""Characters of a name in a message: a line."""

TITLES = {"marker": "name", "setup": "name", "clip": "file", "decision": "clip"}
"""By the name of a list of tables, the field that names each table to a person."""

MOST_SLIPS = 50
"""No more slips of one file are listed: it is then no TOML at all."""


@dataclass(frozen=True)
class Document:
    """A TOML file that was read.

    Attributes
    ----------
    file : str
        Its name.
    values : mapping
        As tomllib reads it.
    lines : dict
        Line of every key, by its place.
    """

    file: str
    values: Mapping[str, Any]
    lines: dict[Place, int]

    def where(self, place: Place) -> str:
        """Return file, line, table and field of a place, as a person finds them."""
        line = line_of(self.lines, place)
        parts = [self.file, f"line {line}" if line else "", *self._labels(place)]
        return ", ".join(part for part in parts if part)

    def table(self, place: Place) -> str:
        """Return the file and the table at a place."""
        return ", ".join([self.file, *self._labels(place)])

    def line(self, place: Place) -> int:
        """Return the line of a place or of what is around it; 0 where there is none."""
        return line_of(self.lines, place) or 0

    def _labels(self, place: Place) -> list[str]:
        """Return the tables that lead to a place, and its field."""
        labels: list[str] = []
        names: list[str] = []
        value: Any = self.values
        steps = list(place)
        while steps:
            step = steps.pop(0)
            inner = _member(value, step)
            if isinstance(step, str):
                names.append(step)
            if isinstance(inner, list) and steps and inner and isinstance(inner[0], dict):
                index = int(steps.pop(0))
                value = _member(inner, index)
                labels.append(_numbered(".".join(names), index, value))
                continue
            value = inner
            if isinstance(inner, dict) or (steps and isinstance(steps[0], str)):
                labels.append(f"[{'.'.join(names)}]")
            elif isinstance(step, str):
                labels.append(step)
        return labels


@dataclass
class Faults:
    """The faults found so far in one file."""

    document: Document
    found: list[tuple[int, InputError]] = field(default_factory=list)

    def add(self, place: Place, what: str, remedy: str = "") -> None:
        """Remember a fault at a place of the file."""
        where = self.document.where(place)
        self.found.append((self.document.line(place), InputError(what, where=where, remedy=remedy)))

    def raise_any(self) -> None:
        """Raise the faults in the order of their lines, if there are any."""
        if self.found:
            ordered = sorted(self.found, key=lambda one: one[0])
            raise InputErrors(error for _, error in ordered)


def read_document(path: Path) -> Document:
    """Return a parsed TOML file with the line of every key.

    Raises
    ------
    InputError
        Where the file cannot be read or is not UTF-8.
    InputErrors
        With every line that is not TOML and what to write there.
    """
    return parse_document(read_text(path).replace("\r\n", "\n"), path.name)


def read_text(path: Path) -> str:
    """Return the text of a file as it is, without a mark of its byte order.

    Raises
    ------
    InputError
        Where the file cannot be read or is not UTF-8.
    """
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise InputError(
            "is not UTF-8 text",
            where=f"{path.name}, line {line}",
            remedy="save it as UTF-8 in your editor",
        ) from None
    except OSError as error:
        reason = (error.strerror or "unknown").lower()
        raise InputError(f"cannot be read ({reason})", where=str(path)) from None


def parse_document(text: str, file: str) -> Document:
    """Return a TOML text parsed, with the line of every key.

    Raises
    ------
    InputErrors
        With every line that is not TOML and what to write there.
    """
    faults: list[InputError] = []
    left = text
    while len(faults) < MOST_SLIPS:
        try:
            values = tomllib.loads(left)
        except tomllib.TOMLDecodeError as error:
            line, known, fault = _syntax(str(error), left, file)
            faults.append(fault)
            if not known:
                break
            lines = left.split("\n")
            lines[line - 1] = ""
            left = "\n".join(lines)
            continue
        except ValueError:
            # Python reads whole numbers of up to 4,300 digits.
            faults.append(InputError("holds a number of thousands of digits", where=file))
            break
        except RecursionError:
            faults.append(InputError("is nested too deeply", where=file))
            break
        if not faults:
            return Document(file, values, lines_of_keys(text))
        break
    raise InputErrors(faults)


def _syntax(message: str, text: str, file: str) -> tuple[int, bool, InputError]:
    """Return the line of tomllib's complaint, whether the slip is known, and the sentence."""
    found = re.match(r"(.*) \(at (?:line (\d+), column (\d+)|end of document)\)", message)
    if found is None:
        return 1, False, InputError(f"is not TOML ({message})", where=file)
    line = int(found[2]) if found[2] else text.count("\n") + 1
    twice = _twice(found[1], text, line, file)
    if twice is not None:
        return twice
    lines = text.split("\n")
    # tomllib complains of the line after one whose bracket or quote is not closed.
    for number in (line, line - 1):
        slip = mistake(lines[number - 1]) if number else None
        if slip is not None:
            name, what, remedy = slip
            where = ", ".join(part for part in (file, f"line {number}", name) if part)
            return number, bool(name), InputError(what, where=where, remedy=remedy)
    shown = lines[line - 1].strip()
    what = found[1][:1].lower() + found[1][1:]
    where = f"{file}, line {line}" + (f", column {found[3]}" if found[3] else "")
    quoted = f": {shown[:60]}" if shown else ""
    return line, False, InputError(f"is not TOML ({what}){quoted}", where=where, remedy="mend it")


def _twice(message: str, text: str, line: int, file: str) -> tuple[int, bool, InputError] | None:
    """Return a fault of a field or table that stands twice, None where the complaint is other."""
    if not message.startswith(("Cannot overwrite", "Cannot declare", "Cannot mutate")):
        return None
    again = repeated("\n".join(text.split("\n")[:line]))
    if again is None:
        return None
    what = f"stands twice, first in line {again.first}"
    place = f"{file}, line {again.again}"
    if not again.is_table:
        whole = valid(text.split("\n")[again.again - 1])
        fault = InputError(what, where=f"{place}, {again.name}", remedy="keep one of the two")
        return again.again, whole, fault
    remedy = "put the fields of both under one heading"
    if again.name.rsplit(".", 1)[-1] in TITLES:
        remedy = f"write [[{again.name}]], with two brackets, above each of them"
    fault = InputError(what, where=f"{place}, [{again.name}]", remedy=remedy)
    return again.again, False, fault


def _member(value: Any, step: str | int) -> Any:
    if isinstance(value, dict):
        return value.get(step)
    if isinstance(value, list) and isinstance(step, int) and step < len(value):
        return value[step]
    return None


def _numbered(name: str, index: int, table: Any) -> str:
    """Return how a person finds one table among many of the same kind."""
    title = (
        table.get(TITLES.get(name.rsplit(".", 1)[-1], "name")) if isinstance(table, dict) else None
    )
    if not isinstance(title, str):
        return f"[[{name}]] {index + 1}"
    short = title if len(title) <= LONGEST_TITLE else title[: LONGEST_TITLE - 3] + "..."
    return f'[[{name}]] {index + 1} "{short}"'
