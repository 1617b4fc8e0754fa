"""Names of fields, put into words for those who never read ``session.toml``."""

import re

from tracker.launcher.fields import NUMBERS
from tracker.report.field_words import meaning_of

_KEY = re.compile(
    "|".join(re.escape(one.key) for one in sorted(NUMBERS, key=lambda one: -len(one.key)))
)
_BESIDE = re.compile(rf" \((?:{_KEY.pattern})\)")
"""A field's name beside what it is."""


def in_words(sentence: str) -> str:
    """Return a sentence with each field's name, as ``grip.gap_mm``, replaced by what it is."""
    put = _KEY.sub(lambda found: meaning_of(found[0]), _BESIDE.sub("", sentence))
    return f"{put[:1].upper()}{put[1:]}"
