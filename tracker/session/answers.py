"""What a person answers in plain words, with the units that tape measures have."""

import re
from collections.abc import Iterable

from calibration.errors import InputError
from tracker.session.mistakes import LENGTHS_M, SPEEDS_MPS, feet_m

_LENGTH = re.compile(r'([+-]?\d+(?:\.\d+)?)\s*([a-z"]*)')
_SPEED = re.compile(r"([+-]?\d+(?:\.\d+)?)\s*([a-z/]*)")
_NUMBER = re.compile(r"([+-]?\d+(?:\.\d+)?)\s*(?:°|deg|degrees)?")
_FRACTIONS = {"½": "1/2", "¼": "1/4", "¾": "3/4"}
_FRACTION = re.compile(r"(?<![\d./])(?:(\d+)\s+)?(\d+)/([1-9]\d*)(?![\d./])")
_UNITS = {
    **LENGTHS_M,
    "": 1.0,
    '"': LENGTHS_M["in"],
    "inch": LENGTHS_M["in"],
    "inches": LENGTHS_M["in"],
    "metre": 1.0,
    "metres": 1.0,
    "meter": 1.0,
    "meters": 1.0,
}


_SPEEDS = {**SPEEDS_MPS, "": 1.0, "kmh": SPEEDS_MPS["km/h"], "kph": SPEEDS_MPS["km/h"]}

TAPED_DECIMALS = 3
"""Places after the point of a taped length that is written, m: nobody tapes finer than 1 mm."""


def to_millimetre(lengths_m: Iterable[float]) -> list[float]:
    """Return lengths as they are written into a session: without the digits of a conversion."""
    return [round(float(each), TAPED_DECIMALS) for each in lengths_m]


def length_m(text: str) -> float:
    """Return a length in metres.

    Parameters
    ----------
    text : str
        ``0.8``, ``0,8``, ``80 cm``, ``2 ft 7 in``, ``2'7"``, ``31 in`` or ``10 1/2 in``; without a
        unit, metres.

    Raises
    ------
    InputError
        Where it is no length.
    """
    plain = _plain(text)
    sign = -1.0 if plain.startswith("-") else 1.0
    feet = feet_m(plain.lstrip("+-"))
    if feet is not None:
        return sign * feet
    found = _LENGTH.fullmatch(plain)
    if found is None or found[2] not in _UNITS:
        raise InputError(
            f'"{text.strip()}" is no length', remedy="write it as 0.8, as 80 cm or as 2 ft 7 in"
        )
    return float(found[1]) * _UNITS[found[2]]


def speed_mps(text: str) -> float:
    """Return a speed in m/s.

    Parameters
    ----------
    text : str
        ``1.5``, ``1,5``, ``12 km/h`` or ``8 mph``; without a unit, metres a second.

    Raises
    ------
    InputError
        Where it is no speed.
    """
    found = _SPEED.fullmatch(_plain(text))
    if found is None or found[2] not in _SPEEDS:
        raise InputError(
            f'"{text.strip()}" is no speed', remedy="write it as 1.5, as 12 km/h or as 8 mph"
        )
    return float(found[1]) * _SPEEDS[found[2]]


def number(text: str) -> float:
    """Return a number; a comma as its decimal mark and a degree sign are accepted.

    Raises
    ------
    InputError
        Where it is none.
    """
    found = _NUMBER.fullmatch(_plain(text))
    if found is None:
        raise InputError(f'"{text.strip()}" is no number', remedy="write it as 42 or as 42.5")
    return float(found[1])


def _plain(text: str) -> str:
    """Return an answer in lower case with points as decimal marks and straight quotes."""
    straight = text.strip().lower().translate(str.maketrans("\u2032\u2019\u2033\u201d", "''\"\""))
    for sign, fraction in _FRACTIONS.items():
        straight = re.sub(rf"\s*{sign}", f" {fraction}", straight)
    whole = _FRACTION.sub(_decimal, straight.strip())
    return re.sub(r"(?<=\d),(?=\d)", ".", whole)


def _decimal(found: re.Match[str]) -> str:
    """Return a number with a fraction, as on a tape in inches, as a decimal one."""
    whole, over, under = (int(part or 0) for part in found.groups())
    return f"{whole + over / under:.6f}".rstrip("0").rstrip(".")
