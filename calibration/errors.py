"""Errors that a person causes and can correct, each with the place that it comes from."""

import os
import re
import shlex
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path, PurePath
from typing import Self


@dataclass(frozen=True)
class MarkerField:
    """A marker of a site, or one of its fields.

    Attributes
    ----------
    marker : str
        The marker's name.
    field : str
        Empty where the fault concerns the whole marker.
    """

    marker: str
    field: str = ""

    def __str__(self) -> str:
        return f'marker "{self.marker}"' + (f", {self.field}" if self.field else "")


@dataclass(frozen=True)
class CameraField:
    """The camera of a site, or one of its fields; empty for the whole camera."""

    field: str = ""

    def __str__(self) -> str:
        return "camera" + (f", {self.field}" if self.field else "")


Place = MarkerField | CameraField
"""What a fault concerns, as data: whoever knows the file adds its name and line."""


class InputError(Exception):
    """An input is wrong; the commands print it as a sentence and exit with 2.

    Parameters
    ----------
    what : str
        What is wrong, as a clause without a full stop.
    where : str or Place
        File and field, for instance ``"session.toml, [[marker]] 3, pixel"``, or the marker or
        the camera's field where no file is known.
    remedy : str
        What to do about it, as a clause without a full stop.

    Attributes
    ----------
    place : Place or None
        None where `where` is a text.
    """

    def __init__(self, what: str, *, where: str | Place = "", remedy: str = "") -> None:
        self.what = what
        self.place = None if isinstance(where, str) else where
        self.where = str(where)
        self.remedy = remedy
        super().__init__(what)

    @property
    def parts(self) -> tuple["InputError", ...]:
        """The single errors: this one, or those that it gathers."""
        return (self,)

    def at(self, where: str | Place) -> Self:
        """Return the same error of the same type with another place."""
        return type(self)(self.what, where=where, remedy=self.remedy)

    def sentences(self) -> list[str]:
        """Return one sentence for each thing that is wrong."""
        head = f"{self.where}: " if self.where else ""
        tail = f"; {self.remedy}" if self.remedy else ""
        said = f"{head}{self.what}{tail}"
        return [said if said.endswith("?") else f"{said}."]

    def __str__(self) -> str:
        return "\n".join(self.sentences())


class Contradiction(InputError):
    """Observations contradict each other, and a likely mistake explains it.

    Parameters
    ----------
    what, where, remedy
        As in `InputError`.
    names : tuple of str
        The markers that it concerns; "camera position", "field of view" or "lens" for those.
    """

    def __init__(
        self,
        what: str,
        *,
        where: str | Place = "",
        remedy: str = "",
        names: tuple[str, ...] = (),
    ) -> None:
        super().__init__(what, where=where, remedy=remedy)
        self.names = names

    def at(self, where: str | Place) -> Self:
        """Return the same error with another place."""
        return type(self)(self.what, where=where, remedy=self.remedy, names=self.names)


class Undetermined(InputError):
    """What was measured is right and too little to determine what is asked."""


class InputErrors(InputError):
    """All faults of one input, reported together."""

    def __init__(self, errors: Iterable[InputError]) -> None:
        self.errors = tuple(errors)
        if not self.errors:
            raise ValueError("InputErrors needs at least one error")
        super().__init__("; ".join(error.what for error in self.errors))

    @property
    def parts(self) -> tuple[InputError, ...]:
        """The gathered errors, in order."""
        return tuple(part for error in self.errors for part in error.parts)

    def at(self, where: str | Place) -> Self:
        """Return the same errors, each with another place."""
        return type(self)(error.at(where) for error in self.errors)

    def sentences(self) -> list[str]:
        """Return the sentences of all gathered errors, in order."""
        return [sentence for error in self.errors for sentence in error.sentences()]


NEAR = 0.6
"""Least share of common letters at which a name is taken for a misspelling of another (the ratio
of difflib's documentation, 'a close match')."""

NEAR_FILE = 0.85
"""The same of a file's name, since a camera's names differ by a digit or two and are not misspelt,
and of fields whose names begin alike."""


def nearest(name: str, listed: Iterable[str], least: float = NEAR) -> str | None:
    """Return the listed name that a misspelt one most likely means, None where none is near."""
    from difflib import SequenceMatcher

    scores = [
        (SequenceMatcher(None, name, other).ratio(), -abs(len(name) - len(other)), other)
        for other in listed
    ]
    best = max(scores, default=(0.0, 0, ""))
    return best[2] if best[0] >= least else None


def meant(path: Path, else_do: str) -> str:
    """Return what to do about a file or folder that is missing.

    Parameters
    ----------
    path : Path
    else_do : str
        Where nothing beside it has a name that is nearly the same.
    """
    try:
        beside = sorted(each.name for each in path.parent.iterdir())
    except OSError:
        return else_do
    whole = [name for name in beside if _cut_at_a_blank(path.name, name)]
    if whole:
        as_in = ", such as" if len(whole) > 1 else ":"
        return f"a name with blanks is written in quotes{as_in} {typed(path.with_name(whole[0]))}"
    near = next((name for name in beside if Path(name).stem == path.name), None)
    if near is None:
        alike = {
            name.casefold(): name
            for name in beside
            if Path(name).suffix.casefold() == path.suffix.casefold()
        }
        near = alike.get(nearest(path.name.casefold(), alike, NEAR_FILE) or "")
    return f"did you mean {path.with_name(near)}? Else {else_do}" if near else else_do


def _cut_at_a_blank(word: str, name: str) -> bool:
    """Return whether a word is what a shell makes of a name without quotes: a part at its end."""
    return name.startswith(f"{word} ") or name.endswith(f" {word}")


def typed(path: PurePath | str) -> str:
    """Return a path as it is typed in a shell: in quotes where it has spaces or the like."""
    text = str(path)
    if os.name == "nt":
        return f'"{text}"' if re.search(r"[\s&()^;,%]", text) else text
    return text if re.fullmatch(r"[\w@%+=:,./~-]+", text) else shlex.quote(text)
