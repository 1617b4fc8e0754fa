"""One table of a TOML file, asked for its fields one by one, every fault remembered."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from difflib import SequenceMatcher
from typing import Any

from calibration.errors import InputError, InputErrors
from tracker.session.lines import Place, line_of


@dataclass
class Faults:
    """The faults found so far in one file."""

    file: str
    places: dict[Place, int]
    found: list[tuple[int, InputError]] = field(default_factory=list)

    def add(self, place: Place, label: str, what: str, remedy: str = "") -> None:
        """Remember a fault at a place of the file, which `label` names to a person."""
        line = line_of(self.places, place)
        parts = [self.file, f"line {line}" if line else "", label]
        where = ", ".join(part for part in parts if part)
        self.found.append((line or 0, InputError(what, where=where, remedy=remedy)))

    def raise_any(self) -> None:
        """Raise the faults in the order of their lines, if there are any."""
        if self.found:
            ordered = sorted(self.found, key=lambda fault: fault[0])
            raise InputErrors(error for _, error in ordered)


class Table:
    """A table that is read field by field and then closed.

    Every reading method takes the field's name, returns its value or the default, and
    remembers a fault where the value is not what it should be. `close` finds the fields
    that nobody asked for.

    Parameters
    ----------
    values : mapping
        The table as tomllib read it.
    place : tuple
        The way to the table in the file.
    label : str
        The table's name to a person, for instance ``[[marker]] 2 "20 m cone"``.
    faults : Faults
        Where faults go.
    """

    def __init__(self, values: Mapping[str, Any], place: Place, label: str, faults: Faults) -> None:
        self.values = values
        self.place = place
        self.label = label
        self.faults = faults
        self.listed: list[str] = []

    def fault(self, name: str, what: str, remedy: str = "") -> None:
        """Remember a fault of a field, or of the whole table where `name` is empty."""
        label = ", ".join(part for part in (self.label, name) if part)
        self.faults.add((*self.place, name) if name else self.place, label, what, remedy)

    def has(self, name: str) -> bool:
        """Return whether the field was filled in."""
        return name in self.values

    def text(self, name: str, default: str | None = "") -> str:
        """Return a text; one that is needed has the default ``None`` and must not be empty."""
        value = self._take(name, needed=default is None, kind='a text, as in "this"')
        if value is None:
            return default or ""
        if not isinstance(value, str):
            self.fault(name, f"{_shown(value)} is not a text", 'put it in quotes: "..."')
            return default or ""
        if default is None and not value.strip():
            self.fault(name, "is empty", "fill it in")
        return value

    def number(self, name: str, low: float, high: float) -> float | None:
        """Return a number from `low` to `high`, or None."""
        value = self._take(name)
        return None if value is None else self._number(name, value, low, high)

    def number_or(self, name: str, low: float, high: float, default: float) -> float:
        """Return a number from `low` to `high`, or the default where it was left out."""
        value = self.number(name, low, high)
        return default if value is None else value

    def needed_number(self, name: str, low: float, high: float) -> float:
        """Return a number that must be there; NaN stands for one that is at fault."""
        value = self._take(name, needed=True, kind=f"a number from {low:g} to {high:g}")
        found = None if value is None else self._number(name, value, low, high)
        return math.nan if found is None else found

    def numbers(
        self, name: str, meaning: str, span: tuple[float, float], needed: bool = False
    ) -> tuple[float, ...] | None:
        """Return as many numbers as `meaning` has words, each within `span`, or None."""
        words = meaning.split(", ")
        shape = f"[{meaning}]"
        value = self._take(name, needed=needed, kind=shape)
        if value is None:
            return None
        if not isinstance(value, list) or len(value) != len(words):
            count = f" ({len(value)} of them)" if isinstance(value, list) else ""
            self.fault(name, f"{_shown(value)} is not {len(words)} numbers{count}", f"give {shape}")
            return None
        found = [self._number(name, part, *span) for part in value]
        return None if None in found else tuple(part for part in found if part is not None)

    def rows(self, name: str, count: int) -> list[list[float]] | None:
        """Return a square of numbers that must be there, as rows; None where it is at fault."""
        value = self._take(name, needed=True, kind=f"{count} rows of {count} numbers")
        if value is None:
            return None
        whole = isinstance(value, list) and len(value) == count
        if not whole or any(not isinstance(row, list) or len(row) != count for row in value):
            self.fault(name, f"is not {count} rows of {count} numbers")
            return None
        found = [[self._number(name, part, -1e12, 1e12) for part in row] for row in value]
        if any(part is None for row in found for part in row):
            return None
        return [[part for part in row if part is not None] for row in found]

    def flag(self, name: str, default: bool) -> bool:
        """Return true or false."""
        value = self._take(name)
        if value is None:
            return default
        if not isinstance(value, bool):
            self.fault(name, f"{_shown(value)} is neither true nor false", "write true or false")
            return default
        return value

    def day(self, name: str) -> date | None:
        """Return a date."""
        value = self._take(name)
        if value is None:
            return None
        if isinstance(value, datetime) or not isinstance(value, date):
            self.fault(name, f"{_shown(value)} is not a date", "write it as 2026-05-17, no quotes")
            return None
        return value

    def table(self, name: str) -> "Table":
        """Return a table inside this one, empty where it was left out."""
        value = self._take(name)
        label = f"[{name}]"
        if value is not None and not isinstance(value, dict):
            self.fault(name, f"{_shown(value)} is not a table", f"open it with a line {label}")
            value = None
        return Table(value or {}, (*self.place, name), label, self.faults)

    def tables(self, name: str, title: str) -> list["Table"]:
        """Return the tables of an array of tables; `title` is the field that names each."""
        value = self._take(name)
        steps = [step for step in (*self.place, name) if isinstance(step, str)]
        bare = f"[[{'.'.join(steps)}]]"
        if value is None:
            return []
        if not isinstance(value, list) or not all(isinstance(one, dict) for one in value):
            self.fault(name, f"is not a list of {bare} tables", f"open each with a line {bare}")
            return []
        before = f"{self.label}, " if self.label else ""
        found = []
        for index, one in enumerate(value):
            label = before + _numbered(bare, index, one.get(title))
            found.append(Table(one, (*self.place, name, index), label, self.faults))
        return found

    def parts(self) -> dict[str, dict[str, float | str]]:
        """Return the tables inside this one that no other method reads, with free fields."""
        found: dict[str, dict[str, float | str]] = {}
        for name, value in self.values.items():
            if name in self.listed or not isinstance(value, dict):
                continue
            self.listed.append(name)
            kept: dict[str, float | str] = {}
            for key, part in value.items():
                number = isinstance(part, int | float) and not isinstance(part, bool)
                if (number and math.isfinite(part)) or isinstance(part, str):
                    kept[key] = part
                    continue
                self.faults.add(
                    (*self.place, name, key),
                    f"{self.label}, {name}.{key}",
                    f"{_shown(part)} is neither a number nor a text",
                )
            found[name] = kept
        return found

    def close(self) -> None:
        """Find the fields that are not listed."""
        for name in self.values:
            if name in self.listed:
                continue
            near = _nearest(name, self.listed)
            guess = f"did you mean {near}? Listed are" if near else "listed are"
            self.fault(name, "is not a listed field", f"{guess} {', '.join(self.listed)}")

    def _take(self, name: str, needed: bool = False, kind: str = "") -> Any:
        self.listed.append(name)
        if needed and name not in self.values:
            self.fault(name, "is missing", f"give {kind}")
        return self.values.get(name)

    def _number(self, name: str, value: Any, low: float, high: float) -> float | None:
        if isinstance(value, bool) or not isinstance(value, int | float):
            remedy = "write it without quotes" if isinstance(value, str) else ""
            self.fault(name, f"{_shown(value)} is not a number", remedy)
            return None
        if not math.isfinite(value) or not low <= value <= high:
            self.fault(name, f"{value} is out of range", f"give {low:g} to {high:g}")
            return None
        return float(value)


def _nearest(name: str, listed: list[str]) -> str | None:
    """Return the listed field that a misspelt name most likely means, if any is near."""
    scores = [
        (SequenceMatcher(None, name, other).ratio(), -abs(len(name) - len(other)), other)
        for other in listed
    ]
    best = max(scores, default=(0.0, 0, ""))
    return best[2] if best[0] >= 0.6 else None


def _numbered(bare: str, index: int, title: Any) -> str:
    """Return how a person finds one table among many of the same kind."""
    return f"{bare} {index + 1}" + (f' "{title}"' if isinstance(title, str) else "")


def _shown(value: Any) -> str:
    """Return a value as it would stand in the file, short."""
    if isinstance(value, bool):
        return str(value).lower()
    shown = f'"{value}"' if isinstance(value, str) else str(value)
    return shown if len(shown) <= 40 else shown[:37] + "..."
