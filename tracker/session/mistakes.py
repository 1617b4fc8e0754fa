"""Slips of the pen in a TOML text, each with what to write instead."""

import re
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

STRAIGHT = str.maketrans("\u201c\u201d\u201e\u00ab\u00bb\u2018\u2019\u201a", '"""""\'\'\'')
"""Typographic quotes, and the straight ones that TOML knows."""

LENGTHS_M = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "km": 1e3, "ft": 0.3048, "in": 0.0254}
"""Lengths in metres; foot and inch by the international yard of 1959 (exactly 0.9144 m)."""

LONGEST_SHOWN = 200
"""Characters of a value that a sentence still repeats; common practice, no source."""

TIMES_S = {"ms": 1e-3, "s": 1.0}
SPEEDS_MPS = {"m/s": 1.0, "km/h": 1 / 3.6, "mph": 0.44704}
"""Speeds in m/s; the mile is 1609.344 m."""

SUFFIXES = {"m": LENGTHS_M, "mm": LENGTHS_M, "s": TIMES_S, "mps": SPEEDS_MPS}
"""By the ending of a field's name, the units that can be converted into its own."""

OWN = {"m": "m", "mm": "mm", "s": "s", "mps": "m/s"}
"""By the ending of a field's name, its own unit."""

TEXTS = ("name", "file", "setup", "type", "notes", "lens", "kind", "arrangement")
"""Fields that hold a text, which may begin with a number."""

TABLES = {name: f"[{name}]" for name in ("ball", "air", "release", "camera", "planned")} | {
    name: f"[[{name}]]" for name in ("marker", "setup", "clip")
}
"""The tables of a session, as they are begun."""

_NUMBER = re.compile(r"([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+))\s*([^\d\s.,][^\d]*)?")
_FEET = re.compile(
    r"""(?P<feet>\d+(?:\.\d+)?)\s*(?:ft|feet|foot|')\s*
        (?:(?P<inches>\d+(?:\.\d+)?)\s*(?:in|inch|inches|"|'')?)?""",
    re.VERBOSE,
)
_PAIR = re.compile(r"""\s*([A-Za-z0-9_-]+|"[^"]*")\s*([=:]?)\s*(.*?)\s*""")
_DATE = re.compile(r"(\d{1,4})([./-])(\d{1,2})\2(\d{1,4})")
_WORDS = {
    "yes": "true",
    "on": "true",
    "true": "true",
    "no": "false",
    "off": "false",
    "false": "false",
}


@dataclass(frozen=True)
class WrittenNumber:
    """A number as a person wrote it.

    Attributes
    ----------
    text : str
        As TOML has it, with a point and without a unit.
    unit : str
        The unit that stood behind it.
    """

    text: str
    unit: str = ""


def number_in(text: str) -> WrittenNumber | None:
    """Return the number in a text such as ``0,80`` or ``80 cm``, or None."""
    found = _NUMBER.fullmatch(text.strip())
    if found is None:
        return None
    whole, point, part = found[1].replace(",", ".").partition(".")
    digits = whole if whole.strip("+-") else f"{whole}0"
    return WrittenNumber(f"{digits}.{part}" if point and part else digits, (found[2] or "").strip())


def feet_m(text: str) -> float | None:
    """Return a length in feet and inches, ``2 ft 7 in`` or ``2'7"``, in metres; None for others."""
    found = _FEET.fullmatch(text.strip())
    if found is None:
        return None
    return float(found["feet"]) * LENGTHS_M["ft"] + float(found["inches"] or 0) * LENGTHS_M["in"]


def mistake(line: str) -> tuple[str, str, str] | None:
    """Return what is wrong with a line of TOML that cannot be read.

    Parameters
    ----------
    line : str
        Without its end.

    Returns
    -------
    tuple of str or None
        The field, what is wrong and what to write; None where no known slip is in the line.
    """
    if valid(line):
        return None
    plain = line.split("#", 1)[0].rstrip()
    header = re.fullmatch(r"\s*(\[{1,2})\s*([^\[\]]*?)\s*(\]{0,2})", plain)
    if header is not None and len(header[2]) > LONGEST_SHOWN:
        return None
    if header is not None and len(header[1]) != len(header[3]):
        whole = f"{header[1]}{header[2]}{']' * len(header[1])}"
        return "", "the brackets of a table do not match", f"write {whole}"
    pair = _PAIR.fullmatch(plain)
    if pair is None or not plain.strip():
        return None
    field, sign, value = pair[1], pair[2], pair[3]
    if max(len(field), len(value)) > LONGEST_SHOWN or not value.isprintable():
        return None  # no person's slip; the place in the file says enough
    if field in TABLES and not sign and not value:
        return field, "the name of a table stands in brackets", f"write {TABLES[field]}"
    if sign != "=" and value:
        what = f'"{sign}" stands in place of "="' if sign else '"=" is missing'
        return field, what, f"write {field} = {value}"
    for slip in _SLIPS:
        found = slip(field, value)
        if found is not None:
            return field, found[0], f"write {field} = {found[1]}"
    return None


def valid(line: str) -> bool:
    """Return whether a line is TOML by itself."""
    try:
        tomllib.loads(line)
    except (ValueError, RecursionError):  # TOMLDecodeError is a ValueError, as is a number too long
        return False
    return True


def _quotes(field: str, value: str) -> tuple[str, str] | None:
    if value.translate(STRAIGHT) == value:
        return None
    inner = value.translate(STRAIGHT).strip("\"'")
    return "typographic quotes are no quotes of TOML", f'"{_slashes(inner)}"'


def _backslash(field: str, value: str) -> tuple[str, str] | None:
    if not re.fullmatch(r'"[^"]*\\[^"]*"', value):
        return None
    return "a backslash cannot stand in a path", _slashes(value)


def _unclosed(field: str, value: str) -> tuple[str, str] | None:
    if re.fullmatch(r'"[^"]*', value):
        return "the quotes are not closed", f'{value}"'
    return None


def _number(field: str, value: str) -> tuple[str, str] | None:
    ending = field.rsplit("_", 1)[-1]
    length = feet_m(value)
    if length is not None and SUFFIXES.get(ending) is LENGTHS_M:
        return f"{value} is in feet", f"{length / LENGTHS_M[OWN[ending]]:.4g}"
    found = number_in(value)
    if found is None or field in TEXTS or (found.text == value and not found.unit):
        return None
    if not found.unit and "," not in value:
        return f"{value} lacks a digit beside its decimal point", found.text
    if not found.unit:
        return f"{value} has a comma as its decimal mark", found.text
    return f"{value} has a unit behind the number", _converted(field, found)


def _converted(field: str, number: WrittenNumber) -> str:
    """Return the number in the unit that the field's name ends with, as it is where none fits."""
    own = converted(field, number)
    return number.text if own is None else own


def converted(field: str, number: WrittenNumber) -> str | None:
    """Return a number in the unit that a field's name ends with, None where the two do not fit."""
    ending = field.rsplit("_", 1)[-1]
    units = SUFFIXES.get(ending, {})
    factor = units.get(number.unit.lower().rstrip("."))
    if factor is None:
        return None
    if number.unit == OWN[ending]:
        return number.text
    return f"{float(number.text) * factor / units[OWN[ending]]:.6g}"


def _numbers(field: str, value: str) -> tuple[str, str] | None:
    inner = re.fullmatch(r"[\[(]?(.*?)[\])]?", value)
    if inner is None or (inner[1] == value and "," not in value and ";" not in value):
        return None
    if inner[1] != value and not re.search("[,;]", value):
        apart = inner[1].split()
        if len(apart) > 1 and all(valid(f"x = {part}") for part in apart):
            return f"{value} lacks its commas", f"[{', '.join(apart)}]"
    parts = [number_in(part) for part in re.split(r"\s*[;]\s*|,\s+", inner[1]) if part.strip()]
    if not parts or any(part is None for part in parts):
        return None
    written = ", ".join(_converted(field, part) for part in parts if part is not None)
    return f"{value} is no list of numbers", f"[{written}]"


def _word(field: str, value: str) -> tuple[str, str] | None:
    known = _WORDS.get(value.lower())
    return None if known is None else (f"{value} is no word of TOML", known)


def _date(field: str, value: str) -> tuple[str, str] | None:
    found = _DATE.fullmatch(value.strip("\"'"))
    if found is None:
        return None
    year_first = len(found[1]) == 4
    year, day = (found[1], found[4]) if year_first else (found[4], found[1])
    if len(year) != 4:
        return None
    orders = [(found[3], day)]
    if found[2] != "." and not year_first:
        # With points the day comes first wherever a date is written so; else it may not.
        orders.append((day, found[3]))
    days = sorted({each for order in orders for each in _day(year, *order)})
    if not days:
        return f"{value} is no date", "2026-05-17, year, month and day"
    return f"{value} is no date of TOML", f" or {field} = ".join(days)


def _day(year: str, month: str, day: str) -> list[str]:
    """Return the day as TOML has it; nothing where there is none."""
    try:
        return [date(int(year), int(month), int(day)).isoformat()]
    except ValueError:
        return []


def _bare_text(field: str, value: str) -> tuple[str, str] | None:
    if not value:
        return "has no value", '"..." or a number, or leave the line out'
    if field in TEXTS and re.fullmatch(r"[^\"'\[\]{}=]+", value) is not None:
        return f"{value} stands without quotes", f'"{_slashes(value)}"'
    if re.fullmatch(r"[^\W\d_][^\"'\[\]{}=]*|[./\\~][^\"'\[\]{}=]*", value) is None:
        return None
    return f"{value} stands without quotes", f'"{_slashes(value)}"'


def _slashes(path: str) -> str:
    return re.sub(r"\\+", "/", path)


_SLIPS: tuple[Callable[[str, str], tuple[str, str] | None], ...] = (
    _quotes,
    _backslash,
    _unclosed,
    _date,
    _number,
    _numbers,
    _word,
    _bare_text,
)
