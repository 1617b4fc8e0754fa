"""Agreement of two values with uncertainties."""

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Agreement:
    """A score and its limit."""

    score: float
    limit: float

    @property
    def agrees(self) -> bool:
        """True when the score lies within the limit."""
        return abs(self.score) <= self.limit


def e_number(value: float, expanded: float, other: float, other_expanded: float) -> Agreement:
    """Return the E_n number of two values with expanded (95 %) uncertainties.

    Source: ISO/IEC 17043 and ISO 13528: (x - X) / sqrt(U_x^2 + U_X^2); satisfactory up to 1.
    """
    spread = math.hypot(expanded, other_expanded)
    if spread == 0.0:
        raise ValueError("an E_n number needs an uncertainty")
    return Agreement((value - other) / spread, 1.0)
