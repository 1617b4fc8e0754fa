"""Why a row is not `good`, or why a candidate was rejected: a code with its numbers."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from tracker.records.catalogue import CATALOGUE
from tracker.records.codes import Figure, ReasonCode
from tracker.records.entry import Entry


@dataclass(frozen=True)
class Reason:
    """One reason for a row's quality or for a rejection.

    Attributes
    ----------
    code : ReasonCode
    numbers : mapping of str to float
        The values that the code's clause states, in the units that their names say. A value
        ``x`` that has a standard uncertainty comes with ``x_u``.
    words : str
        What a person wrote, for a code that stands for a decision.
    """

    code: ReasonCode
    numbers: Mapping[str, float] = field(default_factory=dict)
    words: str = ""

    @property
    def entry(self) -> Entry:
        """The catalogue's entry of its code."""
        return CATALOGUE[self.code]

    @property
    def clause(self) -> str:
        """The reason in words, without capital and full stop."""
        values = {
            name: _Value(value, self.numbers.get(f"{name}_u"))
            for name, value in self.numbers.items()
        }
        clause = self.entry.clause.format(**values)
        return f"{clause}: {self.words.rstrip('.')}" if self.words else clause

    @classmethod
    def read(cls, kept: Mapping[str, Any]) -> "Reason":
        """Return a reason from its code, numbers and words, as results and logbook hold it.

        Raises
        ------
        ValueError
            Where this version has no such code, or a number of its clause is missing.
        """
        reason = cls(ReasonCode(kept["code"]), kept["numbers"], kept.get("words", ""))
        try:
            _ = reason.clause
        except (KeyError, TypeError, AttributeError):
            raise ValueError(f"{reason.code} lacks what its clause states") from None
        return reason

    def spoils(self, figure: Figure) -> bool:
        """Return whether it makes a figure doubtful."""
        return figure in self.entry.spoils


class Rejection(Exception):
    """A candidate is no shot, or cannot be measured.

    Attributes
    ----------
    reasons : tuple of Reason
    """

    def __init__(self, *reasons: Reason) -> None:
        super().__init__(sentence(reasons))
        self.reasons = reasons


def sentence(reasons: Iterable[Reason]) -> str:
    """Return reasons as one sentence; empty without any."""
    text = "; ".join(reason.clause for reason in reasons)
    if not text:
        return ""
    return f"{text[0].upper()}{text[1:]}{'' if text.endswith('?') else '.'}"


class _Value(float):
    """A number that the format ``pm`` writes with its standard uncertainty."""

    u: float | None

    def __new__(cls, value: float, u: float | None) -> "_Value":
        made = super().__new__(cls, value)
        made.u = u
        return made

    def __format__(self, spec: str) -> str:
        if spec != "pm":
            return format(float(self), spec)
        u = 0.0 if self.u is None else self.u
        digits = 0 if u >= 1.0 else 1
        return f"{float(self):.{digits}f} ± {max(u, 0.1):.{digits}f}"
