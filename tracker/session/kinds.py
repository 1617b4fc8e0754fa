"""The kinds of value that a field of a TOML table may hold, each with its own sentence.

A kind stands in the annotation of a field of `tracker.session.schema`. voluptuous asks it with what
was written; the fault that it raises names what is wrong and what to write instead.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from voluptuous import Invalid

from calibration.errors import InputError
from tracker.flight.ball import ball_named
from tracker.session.mistakes import feet_m, number_in

LONGEST_TEXT = 2000
"""Characters of a name or of notes: a page. More is no name and would fill every message."""

MOST_SHOWN = 1e9
"""Number from which none is taken for one in another unit; common practice, no source."""

MOST_LISTED = 12
"""Names that a sentence lists at most; a matter of looks."""


class Fault(Invalid):
    """What is wrong with a value.

    Attributes
    ----------
    context : dict
        `what` is wrong and, as `remedy`, what to write instead; what was written, as
        `tracker.session.units` wants it, which knows the field and so its unit.
    """

    def __init__(self, what: str, remedy: str = "", **value: Any) -> None:
        super().__init__(what)
        self.context = {"what": what, "remedy": remedy, **value}


class Kind:
    """A kind of value; `check` returns the value or raises a `Fault`.

    Attributes
    ----------
    wanted : str
        What to write where the field is missing.
    part : Kind or None
        Of a list whose members are checked one by one, so that each has its own fault.
    """

    wanted = ""
    part: "Kind | None" = None

    def check(self, value: Any) -> Any:
        """Return the value as it is handed on."""
        raise NotImplementedError


@dataclass(frozen=True)
class Between(Kind):
    """A number from `low` to `high`."""

    low: float
    high: float = math.inf

    @property
    def wanted(self) -> str:  # type: ignore[override]
        """What to write where the field is missing."""
        return f"give a number {self.span}"

    @property
    def span(self) -> str:
        """The range in words."""
        if math.isinf(self.high):
            return f"of at least {self.low:g}"
        return f"from {self.low:g} to {self.high:g}"

    def check(self, value: Any) -> float:
        """Return the number."""
        if isinstance(value, bool) or not isinstance(value, int | float):
            if not isinstance(value, str):
                raise Fault(f"{shown(value)} is not a number")
            raise Fault(f"{shown(value)} is not a number", _number_remedy(value), text=value)
        # A whole number may have more digits than a float has room for: compared, not converted.
        if not self.low <= value <= self.high or not math.isfinite(value):
            span = self.span.removeprefix("from ").removeprefix("of ")
            beyond = {"beyond": value} if abs(value) < MOST_SHOWN else {}
            limits = {"low": self.low, "high": self.high}
            raise Fault(f"{shown(value)} is out of range", f"give {span}", **beyond, **limits)
        return float(value)


@dataclass(frozen=True)
class Numbers(Kind):
    """One number for each word of `meaning`, each from `low` to `high`."""

    meaning: str
    low: float
    high: float

    @property
    def wanted(self) -> str:  # type: ignore[override]
        """What to write where the field is missing."""
        return f"give [{self.meaning}]"

    @property
    def part(self) -> Between:  # type: ignore[override]
        """The kind of each number."""
        return Between(self.low, self.high)

    @property
    def count(self) -> int:
        """How many numbers there are."""
        return len(self.meaning.split(", "))

    def check(self, value: Any) -> list[Any]:
        """Return the list, whose numbers are checked one by one."""
        if not isinstance(value, list) or len(value) != self.count:
            held = isinstance(value, list)
            count = f" ({len(value)} of them)" if held else ""
            remedy = self.wanted
            if held and len(value) == 2 * self.count and all(type(part) is int for part in value):
                halves = zip(value[::2], value[1::2], strict=True)
                points = ", ".join(f"{whole}.{part}" for whole, part in halves)
                remedy = f"write [{points}], with a point as the decimal mark"
            elif held and len(value) > self.count:
                remedy += ", with a point as the decimal mark"
            raise Fault(f"{shown(value)} is not {self.count} numbers{count}", remedy)
        return value


@dataclass(frozen=True)
class Square(Kind):
    """`count` rows of `count` numbers."""

    count: int

    @property
    def wanted(self) -> str:  # type: ignore[override]
        """What to write where the field is missing."""
        return f"give {self.count} rows of {self.count} numbers"

    def check(self, value: Any) -> list[list[float]]:
        """Return the rows."""
        whole = isinstance(value, list) and len(value) == self.count
        if not whole or any(not isinstance(row, list) or len(row) != self.count for row in value):
            raise Fault(f"is not {self.count} rows of {self.count} numbers")
        one = Between(-1e12, 1e12)
        return [[one.check(part) for part in row] for row in value]


@dataclass(frozen=True)
class Rows(Kind):
    """At least `least` rows, each with one number for each word of `meaning`."""

    meaning: str
    least: int
    low: float
    high: float

    @property
    def wanted(self) -> str:  # type: ignore[override]
        """What to write where the field is missing."""
        return f"give {self.least} or more of [{self.meaning}]"

    def check(self, value: Any) -> list[list[float]]:
        """Return the rows."""
        count = len(self.meaning.split(", "))
        if not isinstance(value, list) or len(value) < self.least:
            raise Fault(f"is not {self.least} or more rows", self.wanted)
        if any(not isinstance(row, list) or len(row) != count for row in value):
            raise Fault(f"has a row that is not {count} numbers", self.wanted)
        one = Between(self.low, self.high)
        return [[one.check(part) for part in row] for row in value]


@dataclass(frozen=True)
class Text(Kind):
    """A text; one that is `needed` must not be empty."""

    needed: bool = False
    wanted = 'give a text, as in "this"'

    def check(self, value: Any) -> str:
        """Return the text."""
        if not isinstance(value, str):
            raise Fault(f"{shown(value)} is not a text", 'put it in quotes: "..."')
        if self.needed and not value.strip():
            raise Fault("is empty", "fill it in")
        if len(value) > LONGEST_TEXT:
            raise Fault(f"{shown(value)} has {len(value)} characters", "write it shorter")
        return value


@dataclass(frozen=True)
class OneOf(Kind):
    """One of a few words."""

    words: tuple[str, ...]

    def check(self, value: Any) -> str:
        """Return the word."""
        if value not in self.words:
            known = ", ".join(f'"{word}"' for word in self.words)
            raise Fault(f"{shown(value)} is none of the words", f"write one of {known}")
        return str(value)


@dataclass(frozen=True)
class BallName(Kind):
    """A row of the ball table, or "custom"."""

    def check(self, value: Any) -> str:
        """Return the name as it was written."""
        name = Text().check(value)
        if name.strip().lower() in ("", "custom"):
            return name
        try:
            ball_named(name)
        except InputError as error:
            raise Fault(error.what, error.remedy) from None
        return name


@dataclass(frozen=True)
class Flag(Kind):
    """True or false."""

    def check(self, value: Any) -> bool:
        """Return the flag."""
        if not isinstance(value, bool):
            raise Fault(f"{shown(value)} is neither true nor false", "write true or false")
        return value


@dataclass(frozen=True)
class Day(Kind):
    """A date."""

    def check(self, value: Any) -> date:
        """Return the date."""
        if isinstance(value, datetime) or not isinstance(value, date):
            raise Fault(f"{shown(value)} is not a date", "write it as 2026-05-17, no quotes")
        return value


def _number_remedy(text: str) -> str:
    """Return what to write in place of a number in quotes."""
    length = feet_m(text)
    if length is not None:
        return f"that is {length:.4g} m; write it in the unit of the field's name, without quotes"
    found = number_in(text)
    if found is None or found.text == text.strip():
        return "write it without quotes"
    if found.unit:
        return "write the number alone, in the unit of the field's name, without quotes"
    return f"write {found.text}, without quotes"


def shown(value: object) -> str:
    """Return a value as it would stand in the file, short."""
    if isinstance(value, bool):
        return str(value).lower()
    try:
        text = f'"{value}"' if isinstance(value, str) else str(value)
    except ValueError:  # more digits than Python writes, as a hexadecimal number may have
        return "a number of thousands of digits"
    return shortened(text)


def shortened(text: str) -> str:
    """Return a text that is short enough for a sentence."""
    return text if len(text) <= 40 else text[:37] + "..."


def listed(names: Sequence[str]) -> str:
    """Return names one after another, each short, and of many how many more there are."""
    first = ", ".join(shortened(name) for name in names[:MOST_LISTED])
    more = len(names) - MOST_LISTED
    return f"{first} and {more} more" if more > 0 else first
