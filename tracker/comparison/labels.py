"""What sessions are called beside each other: as short as tells them apart."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class Filmed:
    """What names a session.

    Attributes
    ----------
    name : str
    filmed_on : date or None
    folder : str
    """

    name: str
    filmed_on: date | None
    folder: str


def session_labels(sessions: Sequence[Filmed]) -> list[str]:
    """Return a label for each session; no two are the same.

    Name and date; where several share these, the last part of the folder too, then the whole
    folder, then a number. Double quotes in a name become single ones: labels stand in quotes.
    """
    labels = [_named(each) for each in sessions]
    labels = _longer(labels, [_last_part(each) for each in sessions])
    labels = _longer(labels, [each.folder for each in sessions])
    seen: Counter[str] = Counter()
    for place, label in enumerate(labels):
        seen[label] += 1
        if seen[label] > 1:
            labels[place] = f"{label}, {seen[label]}"
    return labels


def _longer(labels: list[str], more: list[str]) -> list[str]:
    """Return labels of which those that several sessions share have a further part."""
    count = Counter(labels)
    return [
        f"{label}, {part}" if count[label] > 1 else label
        for label, part in zip(labels, more, strict=True)
    ]


def _named(one: Filmed) -> str:
    name = one.name.replace('"', "'")
    return name if one.filmed_on is None else f"{name}, {one.filmed_on}"


def _last_part(one: Filmed) -> str:
    return re.split(r"[\\/]", one.folder.rstrip("\\/"))[-1]
