"""The unit that a field's name ends with, and numbers that were meant in another one."""

from collections.abc import Mapping
from typing import Any

from tracker.session.mistakes import converted, feet_m, number_in

WORDS = {
    "m": "metres",
    "mm": "millimetres",
    "s": "seconds",
    "deg": "degrees",
    "c": "°C",
    "hpa": "hPa",
    "percent": "percent",
    "mps": "m/s",
    "g": "grams",
    "fps": "frames a second",
    "rpm": "turns a minute",
    "px": "pixels",
    "v": "volts",
    "a": "amperes",
    "w": "watts",
    "ah": "ampere hours",
    "ohm": "ohms",
    "mnm": "mN m",
    "gm2": "g m²",
    "per_mm": "N/mm",
}
"""By the ending of a field's name, its unit in words."""

OTHERS: dict[str, dict[str, tuple[float, float]]] = {
    "m": {"centimetres": (0.01, 0.0), "millimetres": (0.001, 0.0)},
    "mm": {"centimetres": (10.0, 0.0), "metres": (1000.0, 0.0)},
    "s": {"milliseconds": (0.001, 0.0)},
    "c": {"°F": (5 / 9, -160 / 9), "kelvin": (1.0, -273.15)},
    "hpa": {"inches of mercury": (33.8639, 0.0), "kPa": (10.0, 0.0), "pascals": (0.01, 0.0)},
    "mps": {"km/h": (1 / 3.6, 0.0)},
    "g": {"kilograms": (1000.0, 0.0)},
    "mnm": {"N m": (1000.0, 0.0)},
}
"""By the same ending, units that a number may have been meant in: factor and offset into its own.
An inch of mercury is 3386.39 Pa (NIST SP 811, appendix B.8)."""

SHUTTER_S = "shutter_s"
"""A field whose number phones show as the second's fraction: 250 is 1/250 s."""


def unit_of(name: str) -> str:
    """Return the unit of a field in words, "" where its name ends with none."""
    return WORDS.get(_ending(name), "")


def better_remedy(name: str, fault: Mapping[str, Any]) -> str:
    """Return what to write in place of a value, in the unit of its field.

    Parameters
    ----------
    name : str
        Of the field.
    fault : mapping
        Context of a `tracker.session.kinds.Fault`.
    """
    remedy = str(fault["remedy"])
    if "beyond" in fault:
        unit = unit_of(name)
        return f"{remedy} {unit}{_meant(name, fault)}" if unit else remedy
    if "text" in fault:
        return _rewritten(name, fault["text"]) or remedy
    return remedy


def _ending(name: str) -> str:
    return "per_mm" if name.endswith("per_mm") else name.rsplit("_", 1)[-1]


def _meant(name: str, fault: Mapping[str, Any]) -> str:
    """Return the number in the field's unit, had it been meant in another; "" where none fits."""
    low, value, high = fault["low"], float(fault["beyond"]), fault["high"]
    if name == SHUTTER_S and value > high and low <= 1.0 / value:
        return f"; for 1/{value:g} s write {1.0 / value:.3g}"
    for unit, (factor, offset) in OTHERS.get(_ending(name), {}).items():
        own = factor * value + offset
        if low <= own <= high:
            return f"; if it is in {unit}, write {own:.4g}"
    return ""


def _rewritten(name: str, text: str) -> str:
    """Return what to write for a number with its unit, in quotes; "" where that is not known."""
    length, ending = feet_m(text), _ending(name)
    if length is not None and ending in ("m", "mm"):
        return f"write {length * (1000.0 if ending == 'mm' else 1.0):.4g}, without quotes"
    found = number_in(text)
    own = None if found is None or not found.unit else converted(name, found)
    return "" if own is None else f"write {own}, without quotes"
