"""The fields of a launcher's setup in words, for axes and forms."""

import re

from tracker.launcher.fields import number_at

UNIT_WORDS = {
    "n_per_mm": "N/mm", "percent": "%", "gm2": "g m²", "rpm": "rpm", "mnm": "mN m", "mps": "m/s",
    "ohm": "Ω", "mm": "mm", "ah": "A h", "g": "g", "a": "A", "v": "V", "w": "W", "s": "s",
}  # fmt: skip
"""How the unit at the end of a field's name is written."""


def unit_of(key: str) -> str:
    """Return the unit of a number of a setup as it is written; empty where it has none."""
    return next((word for end, word in UNIT_WORDS.items() if key.endswith(f"_{end}")), "")


def meaning_of(key: str) -> str:
    """Return what a number of a setup is, in a few words: ``"outer diameter of the wheels"``."""
    number = number_at(key)
    if number is None:
        return key
    return re.split(r"[;(:]", number.meaning)[0].strip().rstrip(",")


def axis_label(key: str) -> str:
    """Return a number of a setup in words with its unit: ``"outer diameter of the wheels, mm"``."""
    unit = unit_of(key)
    return f"{meaning_of(key)}, {unit}" if unit else meaning_of(key)
